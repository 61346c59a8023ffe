"""What `stemrig check` does: put profile, stand, limits, procedure, record and screen together, and run."""

import argparse
from collections.abc import Callable, Mapping
from contextlib import AbstractContextManager
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from rich.console import Console
from rich.text import Text

from rig.cli.check_plan import judge_of, planner_of, told_plan
from rig.cli.interrupts import Interrupts
from rig.cli.outcome import CYCLES, conclude
from rig.cli.requests import BadRequest as BadRequest
from rig.cli.session import Runner, open_stand
from rig.procedure.bench_check import BenchCheck
from rig.procedure.watch import LiveTravel, Stroke
from rig.profile.load import load_profile, profile_text
from rig.profile.model import Profile
from rig.record.reader import read_record
from rig.record.run_info import run_info
from rig.record.writer import RecordWriter, new_record_folder
from rig.report.screen import Screen, choose_screen
from rig.report.words import BEFORE_MOVEMENT
from rig.stand.file import load_stand, stand_text
from rig.stand.limits import limits_for
from rig.stand.model import Stand
from rig.stand.notice import AIR_LEFT, LIMITED, MODE, PRIORITY, WARNING, Notice
from rig.stand.run import Ended, How
from rig.stand.sample import Sample
from rig.stand.unwatched import not_watched, not_watched_words
from rig.units import UNIT_SETS, Dimension, UnitError, UnitSet, parse
from safety.limits import Cap, Limits

STOP_KINDS = {How.STOPPED: "stop", How.REFUSED: "refusal", How.LOST: "stop"}

SCAN_LOST = (
    "The scan process was lost: nothing reads or writes the stand any more. The output module's watchdog, "
    "where there is one, takes the outputs down. Run `stemrig vent` on this stand before anything else."
)
CAUSE_UNHEARD = "The guard made the stand safe; the cause was not heard here."


@dataclass(frozen=True)
class Bench:
    args: argparse.Namespace
    profile: Profile
    stand: Stand
    limits: Limits
    units: UnitSet
    highest_pa: float  # that the procedure may ask for

    def question(self) -> str:
        """What a person confirms before a real stand moves, the cautions before it."""
        cautions = "".join(f"! {line}\n" for line in (*limit_words(self), *BEFORE_MOVEMENT))
        number = self.args.serial_number or self.profile.serial_number
        serial = f"serial number {number}" if number else "no serial number given"
        return cautions + (
            f"On stand '{self.stand.name}': is this valve '{self.profile.title}' "
            f"({self.profile.model}, {serial}), and is everybody clear of it?"
        )

    @property
    def pace(self) -> str:
        return "instant" if self.args.instant else "real time" if self.args.real_time else "demo"


def prepare(args: argparse.Namespace, today: date) -> Bench:
    """Load and check everything before anything moves. Raises FileProblems or BadRequest."""
    profile, stand = load_profile(args.profile), load_stand(args.stand)
    units = UNIT_SETS[args.units]
    if args.cycles < 1:
        raise BadRequest(f"--cycles {args.cycles}: at least one cycle is needed")
    if not stand.built_in and (args.instant or args.real_time):
        raise BadRequest("--instant and --real-time are for the built-in stand: a real one runs in real time")
    overdue = overdue_words(stand, today)
    cap_pa = _cap(args.cap)
    _check_cap(cap_pa, limits_for(profile, stand).pressure_max_pa, units)
    limits = limits_for(profile, stand, cap_pa, () if args.calibration_overdue else tuple(overdue))
    highest = min(limits.demand_max_pa, profile.supply_pa, stand.demand_output.scale.value_high)
    if highest <= profile.bench_lower_pa:
        raise BadRequest(_cap_too_low(limits, profile, units))
    return Bench(args, profile, stand, limits, units, highest)


def refuse_overdue(bench: Bench) -> None:
    """Raises BadRequest where a calibration is overdue and nobody accepted it: the guard would not arm."""
    if bench.limits.other_refusals:
        raise BadRequest(
            "\n".join((*bench.limits.other_refusals, "Nothing was connected, nothing was moved."))
        )


def limit_words(bench: Bench) -> tuple[str, ...]:
    """What a person should know before the air comes: limits with their sources, and what is not watched."""
    units, limits = bench.units, bench.limits
    cap, rate = limits.pressure_max_pa, limits.rate_max_pa_per_s
    return (
        f"never above {units.text(Dimension.PRESSURE, cap.value)} ({cap.source})",
        f"never faster than {units.text(Dimension.PRESSURE_RATE, rate.value)} ({rate.source})",
        *filter(None, [not_watched_words(bench.stand)]),
    )


def _cap_too_low(limits: Limits, profile: Profile, units: UnitSet) -> str:
    def told(value_pa: float) -> str:
        return units.text(Dimension.PRESSURE, value_pa)

    cap = limits.pressure_max_pa
    return (
        f"the lowest cap on casing pressure is {told(cap.value)} ({cap.source}); less "
        f"{told(limits.demand_margin_pa.value)} of margin it does not reach the rated lift-off of "
        f"{told(profile.bench_lower_pa)}: nothing can be measured, nothing was moved"
    )


def _cap(text: str | None) -> float | None:
    if text is None:
        return None
    try:
        cap = parse(text, Dimension.PRESSURE)
    except UnitError as error:
        raise BadRequest(f"--cap: {error}") from None
    if cap <= 0.0:
        raise BadRequest(f"--cap {text}: must be above zero")
    return cap


def _check_cap(cap_pa: float | None, lowest: Cap, units: UnitSet) -> None:
    """A cap that caps nothing is a slip of the pen. Raises BadRequest."""
    if cap_pa is not None and cap_pa > lowest.value:
        raise BadRequest(
            f"--cap {units.text(Dimension.PRESSURE, cap_pa)}: is above the cap that holds anyway, "
            f"{units.text(Dimension.PRESSURE, lowest.value)} ({lowest.source}); give a lower one or none"
        )


def overdue_words(stand: Stand, today: date) -> list[str]:
    """One refusal for each transmitter past its due date, or without one."""
    pressure = stand.casing_pressure or stand.demand_output
    return [
        _overdue(channel.role.replace("_", " "), channel.calibration.due)
        for channel in (pressure, stand.stem_position)
        if stand.overdue(channel.calibration, today)
    ]


def _overdue(name: str, due: date | None) -> str:
    otherwise = "or go on with --calibration-overdue and say so on the sheet."
    if due is None:
        return f"The stand file gives no due date for the calibration of the {name}: write it, {otherwise}"
    return f"The calibration of the {name} was due on {due}: have it done, {otherwise}"


def run_bench(
    bench: Bench,
    started: datetime,
    opened: Callable[[], AbstractContextManager[Runner]] | None = None,
    before: Mapping[str, object] | None = None,
) -> int:
    """Run, record, conclude; the exit code. Raises LinkFault where the stand does not answer at all.

    `opened`: another way to open the stand; `before`: what was done to the valve before, for the record.
    """
    args, profile = bench.args, bench.profile
    console = Console(stderr=args.json)
    planner = planner_of(bench)
    for line in told_plan(bench):
        console.print(Text(line), soft_wrap=True)
    check = BenchCheck(
        profile,
        planner.plan(),
        cycles=args.cycles,
        units=bench.units,
        planner=planner,
        judge=judge_of(bench),
    )
    with opened() if opened else open_stand(bench.stand, profile, bench.limits, bench.pace) as runner:
        folder = new_record_folder(args.records, profile.model, started)
        with (
            RecordWriter(
                folder,
                profile_text(args.profile),
                stand_text(args.stand),
                run_details(bench, started, {"cycles": args.cycles}) | dict(before or {}),
                rows_per_write=500 if bench.pace == "instant" else 1,
                sync_every_s=None if bench.pace == "instant" else 1.0,
            ) as record,
            choose_screen(console, profile, bench.units, limit_words(bench)) as screen,
            Interrupts() as interrupts,
        ):
            ended = runner(
                check.run(),
                on_sample(record, screen, check.stroke),
                on_notice(record, screen),
                interrupts.order,
            )
            say_if_lost(ended, record.last_s, screen.event)
            _tell_end(record, ended, check, interrupts.presses)
    return conclude(read_record(folder), args.units, args.json)


def run_details(
    bench: Bench, started: datetime, more: Mapping[str, object] | None = None
) -> dict[str, object]:
    """What run.json says; `more` options beside those that every run has."""
    args = bench.args
    options = {"pace": bench.pace, "cap": args.cap, **(more or {})}
    for name in ("uncertainty", "all_cycles", "coarse"):
        if getattr(args, name, None):
            options[name.replace("_", " ")] = getattr(args, name)
    if args.calibration_overdue:
        options["calibration overdue accepted by"] = args.by or "not named"
    unwatched = not_watched(bench.stand)
    if unwatched and not bench.stand.built_in:
        how = "with --yes" if args.yes else "when asked"
        options["not watched accepted by"] = f"{args.by or 'not named'}, {how}"
    info = run_info(
        started,
        bench.stand,
        bench.limits.told(),
        person=args.by,
        serial_number=args.serial_number,
        options=options,
    )
    return info | {"not watched": list(unwatched)}


def on_sample(record: RecordWriter, screen: Screen, stroke: Stroke) -> Callable[[Sample], None]:
    """Keeps every sample, then shows it."""
    live = LiveTravel(stroke)

    def keep_and_show(sample: Sample) -> None:
        record.sample(sample)  # on its way to the disk before it is shown
        screen.update(sample, live.see(sample.reading.position))

    return keep_and_show


def on_notice(record: RecordWriter, screen: Screen) -> Callable[[Notice], None]:
    """Keeps every notice, and shows those that a person should see."""

    def keep_and_show(notice: Notice) -> None:
        record.event(notice.time_s, notice.kind, notice.text)
        if notice.kind not in (MODE, LIMITED, PRIORITY):
            screen.event(notice.time_s, notice.kind, notice.text)

    return keep_and_show


def say_if_lost(ended: Ended[Any], now_s: float, say: Callable[[float, str, str], None]) -> None:
    """A scan that is gone is shown at once: the result takes its time, and the stand may not be safe."""
    if ended.how is How.LOST:
        say(now_s, STOP_KINDS[How.LOST], SCAN_LOST)


def stop_words(ended: Ended[Any], presses: int) -> str:
    if ended.how is How.REFUSED:
        return "The guard did not let anything move."  # each refusal has been told when it was made
    if ended.how is How.STOPPED and presses > 1:
        return "A person made the outputs safe at once (Ctrl-C twice)."
    if ended.how is How.STOPPED:
        in_order = ended.vented and not ended.trips
        return "A person stopped the run (Ctrl-C)" + ("; it was vented in order." if in_order else ".")
    if ended.how is How.LOST:
        return SCAN_LOST
    return f"The run was {ended.how.value}."


def _tell_end(record: RecordWriter, ended: Ended[list[str]], check: BenchCheck, presses: int) -> None:
    now_s = record.last_s
    for remark in check.remarks:
        record.event(now_s, "remark", remark)
    if check.ended and ended.how is How.FINISHED:
        record.event(now_s, CYCLES, check.ended)
    if ended.how in STOP_KINDS:
        record.event(now_s, STOP_KINDS[ended.how], stop_words(ended, presses))
    if ended.how is How.TRIPPED and not ended.trips:
        record.event(now_s, STOP_KINDS[How.STOPPED], CAUSE_UNHEARD)
    if not ended.vented:
        record.event(now_s, WARNING, AIR_LEFT)
