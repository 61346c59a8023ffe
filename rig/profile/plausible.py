"""Values of a profile that cannot be, alone or beside each other. A value already told of is nan here.

Every comparison is written so that nan makes it false: what could not be read draws no second complaint.
"""

from dataclasses import dataclass

from rig.files import Section
from rig.profile.model import Action, Profile, Tolerance
from rig.units import INCH_M, PSI_PA, UNIT_SETS, Dimension, UnitSet, inches_text

# Far outside of what bench stands see: the unit is wrong rather than the valve (assumptions).
AREA_M2 = (5 * INCH_M**2, 1500 * INCH_M**2)
TRAVEL_M = (0.1 * INCH_M, 12 * INCH_M)
PRESSURE_PA = (1 * PSI_PA, 250 * PSI_PA)
RATE_N_PER_M = (1e3, 1e8)
# Spring rate, travel, area and range are each known to some per cent (area alone 2-5 %, common practice):
# beyond this they contradict each other.
RATE_AGREEMENT = 0.15
LARGEST_AREA_UNCERTAINTY = 0.2


def check(root: Section, profile: Profile) -> None:
    """Note every problem in the document of `root`."""
    checks = _Checks(root, root.section_or_none("bench_range", "") or root, profile, UNIT_SETS["psi"])
    checks.sizes()
    checks.tolerances()
    checks.pressures()
    checks.travel()
    checks.spring()
    checks.seat()


@dataclass(frozen=True, slots=True)
class _Checks:
    root: Section
    bench: Section
    profile: Profile
    units: UnitSet

    def sizes(self) -> None:
        p = self.profile
        self._between("effective_area", p.area_m2, AREA_M2, Dimension.AREA)
        self._between("rated_travel", p.rated_travel_m, TRAVEL_M, Dimension.LENGTH)
        self._between("casing_maximum", p.casing_maximum_pa, PRESSURE_PA, Dimension.PRESSURE)
        self._between("supply", p.supply_pa, PRESSURE_PA, Dimension.PRESSURE)
        self._between("spring_rate", p.spring_rate_n_per_m, RATE_N_PER_M, Dimension.SPRING_RATE)
        if p.area_relative_uncertainty < 0.0 or p.area_relative_uncertainty > LARGEST_AREA_UNCERTAINTY:
            self.root.problem(
                "area_uncertainty",
                f"{100 * p.area_relative_uncertainty:g} % is not a believable half width",
                "from 0 % to 20 %; 3 % is common practice",
            )

    def _between(
        self, key: str, value: float | None, limits: tuple[float, float], dimension: Dimension
    ) -> None:
        if value is not None and (value < limits[0] or value > limits[1]):
            low, high = (self.units.text(dimension, limit, 3) for limit in limits)
            found = f"{self.root.text_or_none(key)} cannot be right"
            self.root.problem(key, found, f"from {low} to {high} is believable; look at the unit")

    def tolerances(self) -> None:
        p = self.profile
        for key, tolerance in (
            ("lower_tolerance", p.lower_tolerance),
            ("upper_tolerance", p.upper_tolerance),
        ):
            if tolerance.minus < 0.0 or tolerance.plus < 0.0:
                self.bench.problem(key, "is negative", "give minus and plus as sizes, both zero or more")
            elif tolerance.minus + tolerance.plus <= 0.0:
                self.bench.problem(key, "leaves no room", "every measurement has an uncertainty: allow some")
        self._tolerances_apart(p.lower_tolerance, p.upper_tolerance)

    def _tolerances_apart(self, lower: Tolerance, upper: Tolerance) -> None:
        p = self.profile
        if 0.0 < p.bench_upper_pa - p.bench_lower_pa <= lower.plus + upper.minus:
            self.bench.problem(
                "upper_tolerance",
                "reaches down to where the lower end's reaches up",
                "together they must be smaller than the span of the range",
            )

    def pressures(self) -> None:
        p, text = self.profile, self._pressure
        if p.bench_lower_pa <= 0.0:
            self.bench.problem(
                "lower", f"{text(p.bench_lower_pa)} holds no valve shut", "it must be above zero"
            )
        if p.bench_lower_pa >= p.bench_upper_pa:
            self.bench.problem(
                "upper",
                f"{text(p.bench_upper_pa)} is not above the lower end, {text(p.bench_lower_pa)}",
                "the lower end of the range comes first: lower: 10 psi, upper: 30 psi",
            )
        if p.bench_upper_pa > p.casing_maximum_pa:
            self.bench.problem(
                "upper",
                f"{text(p.bench_upper_pa)} is above the casing maximum, {text(p.casing_maximum_pa)}",
                "the casing must hold the upper end of the range: which of the two is wrong?",
            )
        if p.bench_upper_pa > p.supply_pa:
            self.bench.problem(
                "upper",
                f"{text(p.bench_upper_pa)} is above the supply, {text(p.supply_pa)}",
                "such a valve never reaches full travel: which of the two is wrong?",
            )
        if p.supply_pa > p.casing_maximum_pa:
            self.root.problem(
                "supply",
                f"{text(p.supply_pa)} is above the casing maximum, {text(p.casing_maximum_pa)}",
                "an instrument in bypass passes the full supply to the casing: which of the two is wrong?",
            )

    def travel(self) -> None:
        p = self.profile
        if p.travel_surplus_m < 0.0:
            self.root.problem("travel_surplus", "is negative", "travel is never short: zero or a little more")
        if p.travel_surplus_m > 0.5 * p.rated_travel_m > 0.0:
            self.root.problem(
                "travel_surplus",
                f"{inches_text(p.travel_surplus_m)} is more than half of the rated travel",
                "give what is accepted above rated travel, for example 1/32 in",
            )
        stroke = p.actuator_stroke_m
        if stroke is not None and stroke < p.rated_travel_m:
            self.root.problem(
                "actuator_stroke",
                f"{inches_text(stroke)} is shorter than the rated travel, {inches_text(p.rated_travel_m)}",
                "such an actuator cannot give the travel: which of the two is wrong?",
            )

    def spring(self) -> None:
        """k X = A (p_upper - p_lower), within `RATE_AGREEMENT`."""
        p, rate = self.profile, self.profile.spring_rate_n_per_m
        if rate is None or not p.rated_travel_m > 0.0 or not p.bench_upper_pa > p.bench_lower_pa:
            return
        implied = p.expected_rate_n_per_m
        if abs(rate - implied) > RATE_AGREEMENT * implied:
            text = self.units.text
            span = self._pressure(p.bench_upper_pa - p.bench_lower_pa)
            area, travel = text(Dimension.AREA, p.area_m2), inches_text(p.rated_travel_m)
            self.root.problem(
                "spring_rate",
                f"{text(Dimension.SPRING_RATE, rate)} contradicts the range: {area} x {span} / {travel} "
                f"is {text(Dimension.SPRING_RATE, implied)}",
                "they agree within 15 %, or one of rate, area, travel and range is wrong",
            )

    def seat(self) -> None:
        """Without any friction: air-to-open A p_lower, air-to-close A (p_supply - p_upper)."""
        p, load = self.profile, self.profile.required_seat_load_n
        section, key = self.root, "required_seat_load"
        if load is None:
            load, key = p.trim.seat_line_times_load_n, "seat_line_load"
            section = self.root.section_or_none("trim", "") or self.root
        if load is None:
            return
        if load < 0.0:
            section.problem(key, "is negative", "give the force that the seat needs")
        opens = p.action is Action.AIR_TO_OPEN
        most = p.area_m2 * (p.bench_lower_pa if opens else p.supply_pa - p.bench_upper_pa)
        if load > most >= 0.0:
            where = "with no air" if opens else "at the supply"
            section.problem(
                key,
                f"{self.units.text(Dimension.FORCE, load)} is more than the range can give: "
                f"{self.units.text(Dimension.FORCE, most)} {where}, even without friction",
                f"it needs a {'higher lower' if opens else 'lower upper'} end of the range or a larger area",
            )

    def _pressure(self, value_pa: float) -> str:
        return self.units.text(Dimension.PRESSURE, value_pa)
