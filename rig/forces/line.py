"""A line of a force balance: a value, or what it would take to compute it. Missing is never zero."""

from collections.abc import Callable
from dataclasses import dataclass

from rig.units import Dimension


@dataclass(frozen=True, slots=True)
class Line:
    """One value [SI of its dimension; None dimension: a pure number] with the formula it came from."""

    key: str
    name: str  # lower case, as it stands in another line's formula
    dimension: Dimension | None
    value: float | None
    needs: tuple[str, ...] = ()  # what is missing, in words, where value is None
    formula: str = ""  # "{} × {}": a place for each term, to be filled with names or with numbers
    terms: tuple["Line", ...] = ()
    note: str = ""  # where it comes from, or what is assumed
    spread: float | None = None  # expanded uncertainty, 95 %, of a measured value

    @property
    def known(self) -> bool:
        return self.value is not None

    @property
    def words(self) -> str:
        """The formula with the names of its terms."""
        return self.formula.format(*(term.name for term in self.terms))


def given(
    key: str,
    name: str,
    dimension: Dimension | None,
    value: float | None,
    note: str = "",
    need: str = "",
    spread: float | None = None,
) -> Line:
    """A value that is an input. `need`: how to ask for it where it is missing (default: its name)."""
    needs = () if value is not None else (need or name,)
    return Line(key, name, dimension, value, needs, note=note, spread=spread)


def derived(
    key: str,
    name: str,
    dimension: Dimension | None,
    formula: str,
    function: Callable[..., float],
    *terms: Line,
    note: str = "",
) -> Line:
    """A value computed from others; where any of them is missing, so is this, and for the same needs."""
    needs = tuple(dict.fromkeys(need for term in terms for need in term.needs))
    value = None if needs else float(function(*(term.value for term in terms)))
    return Line(key, name, dimension, value, needs, formula, terms, note)
