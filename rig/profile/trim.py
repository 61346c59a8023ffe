"""Reading what a profile says of trim, process and springs to be had; and what of it cannot be."""

from dataclasses import replace
from math import isnan

from rig.files import Choice, Section
from rig.profile.model import Flow, Mounting, Plug, Profile, Trim
from rig.units import UNIT_SETS, Dimension, UnitError, inches_text, parse

GRAVITY_M_PER_S2 = 9.80665  # standard gravity (NIST SP 811, B.8)
VACUUM_PA = -101_325.0  # gauge pressures cannot lie below it
SEAT_LOAD_AGREES = 0.05  # relative: one given and one computed from the seat line may differ by rounding
TRIM, PROCESS = "{seat_bore: 2 in, packing_friction: 60 lbf, ...}", "{upstream: 100 psi, downstream: 20 psi}"
RANGE = "10 to 30 psi"


def read_trim(root: Section) -> Trim:
    """The groups `trim` and `process`; both may be left out, and every key in them."""
    trim, process = root.section_or_none("trim", TRIM), root.section_or_none("process", PROCESS)
    found = Trim() if trim is None else _trim(trim)
    if trim is not None:
        trim.finish()
    if process is None:
        return found
    found = replace(
        found,
        upstream_pa=process.quantity_or_none("upstream", Dimension.PRESSURE),
        downstream_pa=process.quantity_or_none("downstream", Dimension.PRESSURE),
        open_upstream_pa=process.quantity_or_none("open_upstream", Dimension.PRESSURE),
        open_downstream_pa=process.quantity_or_none("open_downstream", Dimension.PRESSURE),
    )
    process.finish()
    return found


def _trim(trim: Section) -> Trim:
    length, force = Dimension.LENGTH, Dimension.FORCE
    return Trim(
        seat_bore_m=trim.quantity_or_none("seat_bore", length),
        seat_line_load_n_per_m=trim.quantity_or_none("seat_line_load", Dimension.LINE_LOAD),
        seat_line_load_source=trim.text_or_none("seat_line_load_source") or "",
        stem_diameter_m=trim.quantity_or_none("stem_diameter", length),
        balanced=trim.yes("balanced"),
        balance_seal_bore_m=trim.quantity_or_none("balance_seal_bore", length),
        unbalanced_area_m2=trim.quantity_or_none("unbalanced_area", Dimension.AREA),
        plug=_choice(trim, "plug", Plug),
        flow=_choice(trim, "flow", Flow),
        packing_friction_n=trim.quantity_or_none("packing_friction", force),
        moving_weight_n=_weight(trim),
        mounting=trim.choice("mounting", Mounting, Mounting.UPRIGHT),
    )


def _choice(section: Section, key: str, choices: type[Choice]) -> Choice | None:
    """One of the words, None when the key is not there."""
    if section.text_or_none(key) is None:
        return None
    return section.choice(key, choices)


def _weight(trim: Section) -> float | None:
    """'20 lb' and '9 kg' are masses, '20 lbf' and '90 N' their weight; the weight [N]."""
    text = trim.text_or_none("moving_weight")
    if text is None:
        return None
    try:
        return parse(text, Dimension.MASS) * GRAVITY_M_PER_S2
    except UnitError:
        return trim.parsed("moving_weight", text, Dimension.FORCE)


def read_ranges(root: Section) -> tuple[tuple[float, float], ...]:
    """`obtainable_ranges: [3 to 15 psi, 6 to 30 psi]` [Pa]."""
    return tuple(_range(root, text) for text in root.texts("obtainable_ranges"))


def _range(root: Section, text: str) -> tuple[float, float]:
    """Both ends of '10 to 30 psi'; the lower one may leave its unit to the upper."""
    key, wanted = "obtainable_ranges", f"write each range like {RANGE}"
    lower_text, to, upper_text = text.partition(" to ")
    if not to:
        root.problem(key, f"'{text}' is not a range", wanted)
        return float("nan"), float("nan")
    upper = root.parsed(key, upper_text, Dimension.PRESSURE)
    unit = upper_text.strip().lstrip("+-0123456789. ")
    bare = not any(c.isalpha() for c in lower_text)
    lower = root.parsed(key, f"{lower_text} {unit}" if bare else lower_text, Dimension.PRESSURE)
    if lower >= upper or lower < 0.0:
        root.problem(key, f"'{text}' does not rise from zero or more", wanted)
    return lower, upper


def check_trim(root: Section, profile: Profile) -> None:
    """What of it cannot be, alone or beside each other; nan draws no second complaint."""
    trim = root.section_or_none("trim", TRIM)
    if trim is not None:
        _sizes(trim, profile.trim)
        _needs_a_companion(trim, profile.trim)
        _seat_load_twice(trim, profile)
    process = root.section_or_none("process", PROCESS)
    if process is not None:
        _process(process, profile.trim)
    _margin(root, profile)
    for _, upper in profile.obtainable_ranges_pa:
        if upper > profile.casing_maximum_pa:
            text = UNIT_SETS["psi"].text
            root.problem(
                "obtainable_ranges",
                f"{text(Dimension.PRESSURE, upper)} is above the casing maximum, "
                f"{text(Dimension.PRESSURE, profile.casing_maximum_pa)}",
                "such a range cannot be used on this casing: leave it out",
            )


def _sizes(section: Section, trim: Trim) -> None:
    for key, value in (
        ("seat_bore", trim.seat_bore_m),
        ("seat_line_load", trim.seat_line_load_n_per_m),
        ("stem_diameter", trim.stem_diameter_m),
        ("balance_seal_bore", trim.balance_seal_bore_m),
    ):
        if value is not None and value <= 0.0:
            section.problem(key, f"{section.text_or_none(key)} is no size", "it must be above zero")
    for key, value in (
        ("packing_friction", trim.packing_friction_n),
        ("moving_weight", trim.moving_weight_n),
    ):
        if value is not None and value < 0.0:
            section.problem(key, "is negative", "give its size, zero or more")
    stem, seat = trim.stem_diameter_m, trim.seat_bore_m
    if stem is not None and seat is not None and stem >= seat:
        found = f"{inches_text(stem)} does not fit a seat bore of {inches_text(seat)}"
        section.problem("stem_diameter", found, "which of the two is wrong?")


def _needs_a_companion(section: Section, trim: Trim) -> None:
    if trim.seat_line_load_n_per_m is not None and not trim.seat_line_load_source:
        section.problem(
            "seat_line_load",
            "has no source",
            "published tables differ: add seat_line_load_source, for example: the trim sheet, page 3",
        )
    if trim.balanced and trim.balance_seal_bore_m is None and trim.unbalanced_area_m2 is None:
        would_do = "add balance_seal_bore, or unbalanced_area (seat area less seal area)"
        section.problem("balanced", "does not say how far", would_do)
    if not trim.balanced and trim.balance_seal_bore_m is not None:
        section.problem(
            "balance_seal_bore", "belongs to a balanced plug", "add balanced: yes, or leave it out"
        )


def _seat_load_twice(section: Section, profile: Profile) -> None:
    """A load that is given and one from the seat line have to be the same load."""
    given, computed = profile.required_seat_load_n, profile.trim.seat_line_times_load_n
    if given is None or computed is None:
        return
    if abs(computed - given) > SEAT_LOAD_AGREES * max(given, computed):
        text = UNIT_SETS["psi"].text
        section.problem(
            "seat_line_load",
            f"times the seat's circumference is {text(Dimension.FORCE, computed)}, but required_seat_load is "
            f"{text(Dimension.FORCE, given)}",
            "give one of the two, or mend the one that is wrong",
        )


def _process(section: Section, trim: Trim) -> None:
    pairs = (
        ("upstream", trim.upstream_pa),
        ("downstream", trim.downstream_pa),
        ("open_upstream", trim.open_upstream_pa),
        ("open_downstream", trim.open_downstream_pa),
    )
    for key, pressure in pairs:
        if pressure is not None and pressure < VACUUM_PA:
            section.problem(key, f"{section.text_or_none(key)} is below a vacuum", "pressures are gauge")
    for high, low in ((pairs[0], pairs[1]), (pairs[2], pairs[3])):
        if high[1] is not None and low[1] is not None and low[1] > high[1]:
            section.problem(low[0], f"is above {high[0]}", "flow runs from the higher to the lower pressure")


def _margin(root: Section, profile: Profile) -> None:
    margin = profile.supply_margin_pa
    if margin is not None and not isnan(margin) and margin < 0.0:
        root.problem("supply_margin", "is negative", "give what is wanted above the lowest supply")
