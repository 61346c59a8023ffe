"""What a force balance starts from: the profile, and where there is a record, what was measured instead."""

from dataclasses import dataclass

from rig.analysis.result import CheckResult
from rig.forces.line import Line, derived, given
from rig.forces.setting import SPRING_LOWER, Setting, past_friction, range_rate, setting_of
from rig.profile.model import Action, Profile
from rig.units import Dimension

FRICTION_NEED = "packing friction"
PRESSURE = Dimension.PRESSURE


@dataclass(frozen=True, slots=True)
class Found:
    """A measured value with its expanded uncertainty, 95 % [SI]."""

    value: float
    spread: float | None = None


@dataclass(frozen=True, slots=True)
class Measured:
    """What one measured stroke says of actuator and packing; None where it was not measured."""

    friction: Found | None = None  # [N], half band
    spring_rate: Found | None = None  # [N/m]
    spring_only_lower: Found | None = None  # [Pa]


def measured_of(result: CheckResult) -> Measured:
    """What a bench check's result gives to the balance."""

    def found(key: str) -> Found | None:
        quantity = result.quantities.get(key)
        if quantity is None or quantity.value is None:
            return None
        return Found(quantity.value, quantity.expanded_uncertainty)

    return Measured(found("friction"), found("spring_rate"), found("spring_only_lower"))


@dataclass(frozen=True, slots=True)
class Knowns:
    """The inputs of a balance as lines."""

    profile: Profile
    area: Line
    travel: Line
    supply: Line
    casing: Line
    margin: Line | None  # supply margin, where one is stated
    friction: Line
    friction_pa: Line
    lower: Line  # bench range of the profile
    upper: Line
    setting: Setting  # as measured where there is a record, else as rated

    @property
    def opens_with_air(self) -> bool:
        return self.profile.action is Action.AIR_TO_OPEN


def knowns_of(profile: Profile, measured: Measured | None = None) -> Knowns:
    """Inputs of the balance; measured values take the place of the profile's."""
    measured = measured or Measured()
    area = given("area", "effective area", Dimension.AREA, profile.area_m2)
    travel = given("travel", "rated travel", Dimension.LENGTH, profile.rated_travel_m)
    lower = given("lower", "lower end", Dimension.PRESSURE, profile.bench_lower_pa)
    upper = given("upper", "upper end", Dimension.PRESSURE, profile.bench_upper_pa)
    friction = _friction(profile, measured)
    friction_pa = derived(
        "friction_pa", "friction ÷ area", Dimension.PRESSURE, "{} ÷ {}", lambda f, a: f / a, friction, area
    )
    rate = _rate(measured, area, lower, upper, travel)
    return Knowns(
        profile=profile,
        area=area,
        travel=travel,
        supply=given("supply", "supply", Dimension.PRESSURE, profile.supply_pa),
        casing=given("casing", "casing maximum", Dimension.PRESSURE, profile.casing_maximum_pa),
        margin=None
        if profile.supply_margin_pa is None
        else given("supply_margin", "supply margin", Dimension.PRESSURE, profile.supply_margin_pa),
        friction=friction,
        friction_pa=friction_pa,
        lower=lower,
        upper=upper,
        setting=_setting(profile, measured, lower, friction_pa, rate),
    )


def _friction(profile: Profile, measured: Measured) -> Line:
    found = measured.friction
    if found is not None:
        note = "measured, half band"
        return given("friction", "friction", Dimension.FORCE, found.value, note, spread=found.spread)
    allowed, note = profile.trim.packing_friction_n, "allowed for in the profile"
    return given("friction", "friction", Dimension.FORCE, allowed, note, FRICTION_NEED)


def _rate(measured: Measured, area: Line, lower: Line, upper: Line, travel: Line) -> Line:
    rate = measured.spring_rate
    if rate is None:
        return range_rate(area, lower, upper, travel)
    return given("rate", "spring rate", Dimension.SPRING_RATE, rate.value, "measured", spread=rate.spread)


def _setting(profile: Profile, measured: Measured, lower: Line, friction_pa: Line, rate: Line) -> Setting:
    found, opens = measured.spring_only_lower, profile.action is Action.AIR_TO_OPEN
    if found is None:
        return setting_of(lower, friction_pa, profile.basis, rate, opens)
    spring = given("spring_lower", SPRING_LOWER, PRESSURE, found.value, "measured", spread=found.spread)
    return Setting(spring, past_friction(spring, friction_pa, opens), rate)
