"""A force balance in words: values and formulas in people's units, margins, and what runs out first."""

from math import isinf

from rig.forces.balance import Balance
from rig.forces.knowns import FRICTION_NEED
from rig.forces.line import Line
from rig.forces.margins import Margin
from rig.forces.ranges import RangeChoice
from rig.profile.model import Action, Basis
from rig.report.words import decimals_for, plain, pressure_range_text
from rig.units import Dimension, UnitSet


def value_text(line: Line, units: UnitSet) -> str:
    """'621 lbf', or 'not computed'."""
    if line.value is None:
        return "not computed"
    if line.spread is not None and line.dimension is not None:
        value, spread = units.to(line.dimension, line.value), units.to(line.dimension, line.spread)
        decimals = decimals_for(spread, value)
        return f"{value:.{decimals}f} ± {spread:.{decimals}f} {units.symbol(line.dimension)}"
    return number_text(line.value, line.dimension, units)


def number_text(value: float, dimension: Dimension | None, units: UnitSet) -> str:
    """Up to four significant digits with the unit; a pure number without."""
    if dimension is None:
        return signed(value)
    return f"{signed(units.to(dimension, value))} {units.symbol(dimension)}"


def signed(value: float) -> str:
    """As `plain`, with a true minus sign and no 'minus zero'."""
    shown = plain(value)
    return shown.replace("-", "−") if float(shown) else "0"


def why_not(needs: tuple[str, ...]) -> str:
    """'not computed: needs seat bore and stem diameter'."""
    *first, last = needs
    return "not computed: needs " + (f"{', '.join(first)} and {last}" if first else last)


def numbers_text(line: Line, units: UnitSet) -> str:
    """The formula with its numbers; a negative one in brackets."""

    def shown(term: Line) -> str:
        if term.value is None:
            return term.name
        words = number_text(term.value, term.dimension, units)
        return f"({words})" if words.startswith("−") else words

    return line.formula.format(*(shown(term) for term in line.terms))


def factor_text(margin: Margin) -> str:
    if margin.factor is None:
        return "–"
    return "nothing needed" if isinf(margin.factor) else f"{margin.factor:.2f}".replace("-", "−")


def sum_text(margin: Margin, units: UnitSet) -> str:
    """'621 lbf ÷ 377 lbf': what is there over what it takes."""
    sides = (margin.available, margin.required)
    return " ÷ ".join(
        value_text(side, units) if side.value is None else number_text(side.value, side.dimension, units)
        for side in sides
    )


def short_text(margin: Margin, units: UnitSet) -> str:
    """What a margin below 1 means, in words: how much there is, how much it takes, how much is missing."""
    available, required = margin.available.value, margin.required.value
    assert available is not None, "only a known margin can be short"
    assert required is not None, "only a known margin can be short"
    there = number_text(available, margin.available.dimension, units)
    needed = number_text(required, margin.required.dimension, units)
    missing = number_text(required - available, margin.required.dimension, units)
    if margin.name == "casing":
        return f"The supply of {needed} can exceed the casing maximum of {there} by {missing}."
    name = margin.name[:1].upper() + margin.name[1:]
    if available < 0.0 and margin.name.startswith("seat load"):
        return f"{name}: nothing holds the plug on its seat ({there}; {needed} needed): {missing} missing."
    if margin.name.startswith(("spring return", "return")):
        return f"{name}: the spring does not overcome friction: {there} there, {needed} needed."
    return f"{name} is short by {missing}: {there} there, {needed} needed."


def first_out_text(balance: Balance, units: UnitSet) -> str:
    first = balance.first_out
    if first is None:
        return "No margin could be computed."
    there, needed = sum_text(first, units).split(" ÷ ")
    told = f"{first.name}, factor {factor_text(first)} ({there} there, {needed} needed)"
    unknown = [m.name for m in balance.margins if m.factor is None]
    if unknown:
        lacking = ", ".join(unknown)
        return f"Of the margins that could be computed, this runs out first: {told}. Not computed: {lacking}."
    return f"Runs out first: {told}."


def short_texts(balance: Balance, units: UnitSet) -> list[str]:
    """Every margin below 1 in words, the worst first."""
    short = sorted((m for m in balance.margins if m.short), key=lambda m: m.factor or 0.0)
    return [short_text(m, units) for m in short]


def verdict_texts(balance: Balance, units: UnitSet) -> list[str]:
    """Short margins first, the worst leading; then what runs out first; then what could not be told."""
    texts = [*short_texts(balance, units), first_out_text(balance, units)]
    missing: dict[tuple[str, ...], list[str]] = {}
    for margin in balance.margins:
        if margin.factor is None:
            missing.setdefault(margin.needs, []).append(margin.name)
    texts += [f"Margin of {', '.join(names)}: {why_not(needs)}." for needs, names in missing.items()]
    if not balance.process.stated:
        texts.append(
            "In service: not computed: needs process pressures at shut-off, seat bore, stem diameter, plug "
            "and flow. What is told here holds without process pressure."
        )
    if FRICTION_NEED in balance.knowns.friction.needs:
        texts.append(
            "Packing friction: write it in the profile (trim: packing_friction), or give a measured stroke "
            "with --record."
        )
    return texts


def price_text(balance: Balance, units: UnitSet) -> str:
    """What the profile's choice of meaning costs against the other: seat load for supply, or the reverse."""
    friction, half = balance.knowns.friction, balance.knowns.friction_pa
    if friction.value is None or half.value is None:
        return f"The price of the choice is {why_not(friction.needs)}."
    force = number_text(friction.value, friction.dimension, units)
    pressure = number_text(half.value, half.dimension, units)
    included = balance.knowns.profile.basis is Basis.FRICTION_INCLUDED
    if balance.knowns.profile.action is Action.AIR_TO_OPEN:
        if included:
            return f"The price of friction included: {force} less seat load; it saves {pressure} of supply."
        return f"The price of spring only: {pressure} more supply; it keeps {force} more seat load."
    if included:
        return f"The price of friction included: the spring opens with {force} less; seat load gains {force}."
    return f"The price of spring only: {force} less seat load; the spring opens with {force} more."


def choice_text(choice: RangeChoice, units: UnitSet) -> str:
    """One obtainable range: does it serve, and by what, or what it lacks."""
    name = pressure_range_text(units, choice.lower_pa, choice.upper_pa)
    short = [m for m in choice.margins if m.short]
    if short:
        return f"{name}: does not serve. " + " ".join(short_text(m, units) for m in short)
    first = choice.first_out
    if not choice.judged:
        needs = tuple(dict.fromkeys(n for m in choice.margins for n in m.needs))
        return f"{name}: {why_not(needs)}."
    assert first is not None, "a judged choice has margins"
    return f"{name}: serves; runs out first: {first.name}, factor {factor_text(first)}."


def best_text(balance: Balance, units: UnitSet) -> str:
    best = balance.best_range
    if best is None:
        judged = any(choice.judged for choice in balance.ranges)
        return "None of the obtainable ranges serves." if judged else "No obtainable range could be judged."
    chosen = pressure_range_text(units, best.lower_pa, best.upper_pa)
    without = "" if balance.process.stated else ", without process pressure"
    return f"{chosen} would serve best{without}: its smallest margin is the largest."
