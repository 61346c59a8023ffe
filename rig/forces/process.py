"""What the process and the mounting do to the stem, beyond what the stand sees.

Signs: `opening` forces are positive where they push towards open; `resisting` ones where they push against
the air. Statics of a plug whose stem leaves the body through the packing into the open air:
opening force = (seat area − seal area) (p_port − p_body) ± stem area × pressure on the stem's side,
plus for a stem that leaves by opening (push-down-to-close), minus for one that leaves by closing.
"""

from dataclasses import dataclass
from math import pi

from rig.forces.line import Line, derived, given
from rig.profile.model import Action, Flow, Mounting, Plug, Profile, Trim
from rig.units import Dimension

SQUARE = "π ÷ 4 × ({})²"


@dataclass(frozen=True, slots=True)
class Process:
    """Forces along the stem in service; `resisting` ones are zero on the stand by definition."""

    stated: bool  # the profile says something of the process or of another mounting than the stand's
    unbalanced_area: Line
    stem_area: Line
    opening_shut: Line  # at shut-off
    opening_open: Line  # wide open
    mounting_shift: Line  # against the air: weight as mounted less weight on the stand
    resisting_rest: Line
    resisting_full: Line


def disc_area(key: str, name: str, diameter: Line, note: str = "") -> Line:
    return derived(key, name, Dimension.AREA, SQUARE, lambda d: pi / 4.0 * d * d, diameter, note=note)


def process_of(profile: Profile) -> Process:
    trim = profile.trim
    area = _unbalanced_area(trim)
    stem = disc_area(
        "stem_area",
        "stem area",
        given("stem_diameter", "stem diameter", Dimension.LENGTH, trim.stem_diameter_m),
    )
    shut = _opening(trim, area, stem, _shut_pressures(trim), "shut")
    wide = _opening(trim, area, stem, _open_pressures(trim), "open")
    shift = _mounting_shift(profile)
    rest, full = (shut, wide) if profile.action is Action.AIR_TO_OPEN else (wide, shut)
    return Process(
        stated=trim.upstream_pa is not None or trim.mounting is not Mounting.UPRIGHT,
        unbalanced_area=area,
        stem_area=stem,
        opening_shut=shut,
        opening_open=wide,
        mounting_shift=shift,
        resisting_rest=_resisting("resisting_rest", "process at rest", profile, rest, shift),
        resisting_full=_resisting("resisting_full", "process at full travel", profile, full, shift),
    )


def _unbalanced_area(trim: Trim) -> Line:
    """Seat area less the area of the balance seal, signed: negative where the seal is the larger."""
    name = "unbalanced area"
    if trim.unbalanced_area_m2 is not None:
        return given("unbalanced_area", name, Dimension.AREA, trim.unbalanced_area_m2, "given in the profile")
    seat = given("seat_bore", "seat bore", Dimension.LENGTH, trim.seat_bore_m)
    if not trim.balanced:
        return disc_area("unbalanced_area", name, seat)
    seal = given("seal_bore", "balance seal bore", Dimension.LENGTH, trim.balance_seal_bore_m)
    formula = "π ÷ 4 × (({})² − ({})²)"
    return derived(
        "unbalanced_area",
        name,
        Dimension.AREA,
        formula,
        lambda d, s: pi / 4.0 * (d * d - s * s),
        seat,
        seal,
        note="balanced plug",
    )


def _pressure(key: str, name: str, value: float | None) -> Line:
    return given(key, name, Dimension.PRESSURE, value)


def _shut_pressures(trim: Trim) -> tuple[Line, Line]:
    return (
        _pressure("upstream", "upstream pressure at shut-off", trim.upstream_pa),
        _pressure("downstream", "downstream pressure at shut-off", trim.downstream_pa),
    )


def _open_pressures(trim: Trim) -> tuple[Line, Line]:
    """Wide open. Where the profile says nothing: the upstream pressure of shut-off on both sides."""
    upstream = trim.open_upstream_pa if trim.open_upstream_pa is not None else trim.upstream_pa
    downstream = trim.open_downstream_pa if trim.open_downstream_pa is not None else upstream
    return (
        _pressure("open_upstream", "upstream pressure wide open", upstream),
        _pressure("open_downstream", "downstream pressure wide open", downstream),
    )


def _opening(trim: Trim, area: Line, stem: Line, pressures: tuple[Line, Line], where: str) -> Line:
    """Force of the process on the plug towards open [N], signed."""
    name = "process force at shut-off" if where == "shut" else "process force wide open"
    key = f"opening_{where}"
    if trim.plug is None or trim.flow is None:
        missing = [
            given("plug", "plug style", None, None, need="plug (push-down-to-close or push-down-to-open)")
        ] * (trim.plug is None)
        missing += [given("flow", "flow", None, None, need="flow (flow-to-open or flow-to-close)")] * (
            trim.flow is None
        )
        return derived(key, name, Dimension.FORCE, "", lambda *_: 0.0, area, stem, *pressures, *missing)
    upstream, downstream = pressures
    port, body = (upstream, downstream) if trim.flow is Flow.FLOW_TO_OPEN else (downstream, upstream)
    outward = 1.0 if trim.plug is Plug.PUSH_DOWN_TO_CLOSE else -1.0
    inside = body if trim.plug is Plug.PUSH_DOWN_TO_CLOSE and not trim.balanced else port
    assumed = where == "open" and trim.open_downstream_pa is None
    return derived(
        key,
        name,
        Dimension.FORCE,
        f"{{}} × ({{}} − {{}}) {'+' if outward > 0 else '−'} {{}} × {{}}",
        lambda a, p, b, s, i: a * (p - b) + outward * s * i,
        area,
        port,
        body,
        stem,
        inside,
        note="towards open; assumed: no pressure drop wide open" if assumed else "towards open",
    )


def _mounting_shift(profile: Profile) -> Line:
    """Weight against the air as mounted in service, less the same upright on the stand [N]."""
    trim, name = profile.trim, "mounting shift"
    if trim.mounting is Mounting.UPRIGHT:
        return given("mounting_shift", name, Dimension.FORCE, 0.0, "upright, as on the stand")
    weight = given("weight", "moving weight", Dimension.FORCE, trim.moving_weight_n)
    plug = given("plug", "plug style", None, 0.0 if trim.plug else None, need="plug style")
    lost = 1.0 if trim.mounting is Mounting.ON_ITS_SIDE else 2.0  # inverted: taken away, and once more
    sign = -upright_weight_sign(profile)
    return derived(
        "mounting_shift",
        name,
        Dimension.FORCE,
        f"{'−' if sign < 0 else ''}{lost:.0f} × {{}}",
        lambda w, _: sign * lost * w,
        weight,
        plug,
        note=f"mounted {trim.mounting.value}; the range is set upright",
    )


def upright_weight_sign(profile: Profile) -> float:
    """+1 where weight on an upright valve works against the air, -1 where it helps it."""
    down_closes = profile.trim.plug is not Plug.PUSH_DOWN_TO_OPEN
    air_opens = profile.action is Action.AIR_TO_OPEN
    return 1.0 if down_closes == air_opens else -1.0


def _resisting(key: str, name: str, profile: Profile, opening: Line, shift: Line) -> Line:
    if profile.action is Action.AIR_TO_OPEN:
        return derived(key, name, Dimension.FORCE, "−({}) + {}", lambda o, w: w - o, opening, shift)
    return derived(key, name, Dimension.FORCE, "{} + {}", lambda o, w: o + w, opening, shift)
