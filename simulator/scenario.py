"""Scenarios: an actuator, its condition, its faults, and the truth about it, in a file of its own.

`names()` lists them, `load(name or path)` reads one, `Scenario.make(stand)` builds the stand.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from difflib import get_close_matches
from pathlib import Path
from typing import Any

import yaml

from rig.stand.model import Stand
from rig.units import Dimension, UnitError, parse
from simulator.actuator import Actuator, actuator_for
from simulator.air import conductance_si
from simulator.contacts import Installation
from simulator.faults import NEVER, NOW, Fault, Trigger
from simulator.faults.kinds import KINDS
from simulator.plant import Converter
from simulator.scenario_fields import ACTUATOR, AIR, CONDITION, ERRORS, INSTALLATION, START
from simulator.stand import SimulatedStand
from simulator.transmitters import Errors
from simulator.truth import Truth, truth

FOLDER = Path(__file__).parent / "scenarios"
SIZES = (
    Dimension.PRESSURE, Dimension.LENGTH, Dimension.PRESSURE_RATE, Dimension.TIME, Dimension.FRACTION
)  # fmt: skip
TOP = {
    "title", "actuator", "condition", "air", "transmitters", "installation", "faults", "seed", "finding",
    "conclusion", "truth",
}  # fmt: skip


class ScenarioProblem(ValueError):  # noqa: N818  (as the file problems of the other rooms)
    """What is wrong with a scenario file, all of it at once."""


@dataclass(frozen=True, slots=True)
class Scenario:
    """One scenario as read."""

    name: str
    title: str
    actuator: Actuator
    conclusion: str  # what a good technician would conclude
    finding: str = "healthy"  # one of the curve's findings, or the fault's name
    faults: tuple[Fault, ...] = ()
    seed: int = 0
    air: Mapping[str, float] = field(default_factory=dict)
    installation: Installation = field(default_factory=Installation)
    errors: Mapping[str, Errors] = field(default_factory=dict)
    truth_stated: Mapping[str, str] = field(default_factory=dict)

    @property
    def supply_pa(self) -> float | None:
        return self.air.get("supply_pa")

    def converter(self, stand: Stand) -> Converter:
        healthy = Converter(supply_pa=stand.supply_pressure_pa, full_scale_pa=stand.demand_output.scale.span)
        return replace(healthy, **self.air)

    def truth(self, supply_pa: float = 0.0) -> Truth:
        return truth(self.actuator, self.supply_pa or supply_pa)

    def make(self, stand: Stand, seed: int | None = None) -> SimulatedStand:
        """A stand in this scenario."""
        return SimulatedStand(
            stand,
            self.actuator,
            faults=self.faults,
            seed=self.seed if seed is None else seed,
            installation=self.installation,
            converter=self.converter(stand),
            errors=self.errors,
        )


def names() -> list[str]:
    """All scenarios that come with the simulator."""
    return sorted(path.stem for path in FOLDER.glob("*.yaml"))


def load(name: str | Path) -> Scenario:
    """Read a scenario by its name or from a file. Raises ScenarioProblem."""
    path = Path(name)
    if path.suffix not in (".yaml", ".yml"):
        path = FOLDER / f"{name}.yaml"
        if not path.exists():
            raise ScenarioProblem(_no_such(str(name)))
    try:
        text = path.read_text(encoding="utf-8")
    except OSError as problem:
        raise ScenarioProblem(f"{path}: {problem.strerror}") from None
    return read(text, path.stem, str(path))


def _no_such(name: str) -> str:
    near = get_close_matches(name, names(), n=5, cutoff=0.4)
    those = f"the nearest are: {', '.join(near)}" if near else f"there are: {', '.join(names())}"
    return f"there is no scenario '{name}'; {those}"


def read(text: str, name: str, where: str = "scenario") -> Scenario:
    """Read a scenario from text. Raises ScenarioProblem with everything that is wrong."""
    try:
        data = yaml.safe_load(text)
    except yaml.YAMLError as problem:
        raise ScenarioProblem(f"{where}: not readable as YAML: {problem}") from None
    reader = _Reader(where)
    scenario = reader.scenario(data if isinstance(data, dict) else {}, name)
    if reader.problems or scenario is None:
        raise ScenarioProblem("\n".join(reader.problems))
    return scenario


class _Reader:
    """Collects problems while it reads."""

    def __init__(self, where: str) -> None:
        self.where = where
        self.problems: list[str] = []

    def scenario(self, data: dict[str, Any], name: str) -> Scenario | None:
        self._known(data, TOP, "")
        for key in ("title", "actuator", "conclusion"):
            if key not in data:
                self._say(key, "is missing")
        actuator = self._actuator(self._block(data, "actuator"), self._block(data, "condition"))
        faults = tuple(self._fault(f"faults {i}", one) for i, one in enumerate(data.get("faults") or (), 1))
        errors = {
            role: Errors(**self._fields(self._block(data["transmitters"], role), ERRORS, role))
            for role in self._block(data, "transmitters")
        }
        if self.problems or actuator is None:
            return None
        return Scenario(
            name=name,
            title=str(data["title"]),
            actuator=actuator,
            conclusion=str(data["conclusion"]).strip(),
            finding=str(data.get("finding", "healthy")),
            faults=faults,
            seed=int(data.get("seed", 0)),
            air=self._fields(self._block(data, "air"), AIR, "air"),
            installation=Installation(
                **self._fields(self._block(data, "installation"), INSTALLATION, "installation")
            ),
            errors=errors,
            truth_stated={key: str(value) for key, value in self._block(data, "truth").items()},
        )

    def _actuator(self, data: dict[str, Any], condition: dict[str, Any]) -> Actuator | None:
        self._known(data, set(ACTUATOR), "actuator")
        got = {
            key: self._value(f"actuator {key}", data[key], ACTUATOR[key]) for key in data if key in ACTUATOR
        }
        missing = {"area", "rated_travel", "lower", "upper"} - set(got)
        for key in sorted(missing):
            self._say(f"actuator {key}", "is missing")
        if self.problems:
            return None
        actuator = actuator_for(
            area_m2=got["area"],
            rated_travel_m=got["rated_travel"],
            lower_pa=got["lower"],
            upper_pa=got["upper"],
            stroke_m=got.get("stroke"),
            friction_fraction=got.get("friction", 0.03),
            basis_friction_included=got.get("basis", "friction included") == "friction included",
            action=got.get("action", "air-to-open"),
            travel_surplus_m=got.get("travel_surplus", 1e-4),
        )
        self._known(condition, set(CONDITION), "condition")
        for key, entry in condition.items():
            if key in CONDITION:
                value = self._value(f"condition {key}", entry, CONDITION[key].dimension)
                if value is not None:
                    actuator = CONDITION[key].change(actuator, value)
        return actuator

    def _fault(self, where: str, data: Any) -> Fault:
        data = data if isinstance(data, dict) else {"kind": data}
        self._known(data, {"kind", "size", "where", "start", "end"}, where)
        kind = str(data.get("kind", ""))
        if kind not in KINDS:
            self._say(f"{where} kind", f"'{kind}' is not a fault; there are: {', '.join(sorted(KINDS))}")
        return Fault(
            kind=kind,
            size=self._size(f"{where} size", data.get("size", 1.0)),
            where=str(data.get("where", "")),
            start=self._trigger(f"{where} start", data.get("start"), NOW),
            end=self._trigger(f"{where} end", data.get("end"), NEVER),
        )

    def _trigger(self, where: str, data: Any, default: Trigger) -> Trigger:
        if data is None:
            return default
        self._known(data, {*START, "stroke", "falling"}, where)
        got = {key: self._value(f"{where} {key}", data[key], START[key]) for key in data if key in START}
        return Trigger(
            time_s=got.get("time"),
            pressure_pa=got.get("pressure"),
            travel_m=got.get("travel"),
            after_s=got.get("after"),
            chance_per_s=got.get("chance_per_s"),
            stroke=data.get("stroke"),
            rising=not data.get("falling", False),
        )

    def _size(self, where: str, entry: Any) -> float:
        """A plain number in the kind's own unit, or text with any unit that a kind may have."""
        if isinstance(entry, int | float):
            return float(entry)
        for dimension in SIZES:
            try:
                return parse(str(entry), dimension)
            except UnitError:
                continue
        self._say(where, f"'{entry}' is not a number, and has no unit that a fault can have")
        return 0.0

    def _fields(
        self, data: dict[str, Any], table: Mapping[str, tuple[str, Dimension | None]], where: str
    ) -> dict[str, Any]:
        self._known(data, set(table), where)
        found = {}
        for key, entry in data.items():
            if key in table:
                name, dimension = table[key]
                value = self._value(f"{where} {key}", entry, dimension)
                found[name] = conductance_si(value) if key.endswith("_dm3_per_s_bar") else value
        return found

    def _value(self, where: str, entry: Any, dimension: Dimension | None) -> Any:
        if dimension is None:
            return entry
        try:
            return parse(str(entry), dimension)
        except UnitError as problem:
            self._say(where, str(problem))
            return None

    def _block(self, data: Mapping[str, Any], key: str) -> dict[str, Any]:
        block = data.get(key)
        if block is None:
            return {}
        if not isinstance(block, dict):
            self._say(key, "must be a block of 'key: value' lines")
            return {}
        return block

    def _known(self, data: Any, keys: set[str], where: str) -> None:
        for key in data:
            if key not in keys:
                place = f"{where} {key}".strip()
                self._say(place, f"is not known here; there are: {', '.join(sorted(keys))}")

    def _say(self, place: str, what: str) -> None:
        self.problems.append(f"{self.where}: {place}: {what}")
