"""What `stemrig steps` does: read the points, run the procedure, record, conclude."""

from dataclasses import dataclass
from datetime import datetime

from rich.console import Console

from rig.cli.bench import (
    STOP_KINDS,
    BadRequest,
    Bench,
    limit_words,
    on_notice,
    on_sample,
    run_details,
    say_if_lost,
    stop_words,
)
from rig.cli.interrupts import Interrupts
from rig.cli.session import open_stand
from rig.cli.steps_outcome import STEPS, conclude_steps
from rig.procedure.step_run import StepRun
from rig.profile.load import profile_text
from rig.record.reader import read_record
from rig.record.writer import RecordWriter, new_record_folder
from rig.report.screen import choose_screen
from rig.stand.file import stand_text
from rig.stand.notice import AIR_LEFT, WARNING
from rig.units import Dimension

LOWEST, HIGHEST = -20.0, 120.0  # per cent of the bench range: beyond it the unit or the range is wrong
DECIMALS = 3  # of a per cent: finer than any stand, and stages tell it without an exponent


@dataclass(frozen=True)
class Stops:
    points: tuple[float, ...]  # shares of the bench range, rising
    dead_band_at: tuple[float, ...]


def stops_of(bench: Bench) -> Stops:
    """Where to stop, from what the person typed. Raises BadRequest."""
    args, profile = bench.args, bench.profile
    points = _percents(args.points, "--points")
    if len(points) < 3:
        raise BadRequest(f"--points '{args.points}': at least three points make a line and something off it")
    inner = points[1:-1]
    if args.dead_band is None:
        turns: tuple[float, ...] = (inner[len(inner) // 2],)
    else:
        turns = () if args.dead_band.strip() == "none" else _percents(args.dead_band, "--dead-band")
    if any(turn not in inner for turn in turns):
        told = ", ".join(f"{100.0 * point:g}" for point in inner)
        raise BadRequest(f"--dead-band '{args.dead_band}': must be inner points: {told}; or none")
    span_pa = profile.bench_upper_pa - profile.bench_lower_pa
    top_pa = profile.bench_lower_pa + points[-1] * span_pa
    if top_pa > bench.highest_pa:
        wanted, allowed = (bench.units.text(Dimension.PRESSURE, pa) for pa in (top_pa, bench.highest_pa))
        raise BadRequest(
            f"{100.0 * points[-1]:g} % of the bench range is {wanted}; no more than {allowed} may be "
            "asked for here: nothing was moved"
        )
    return Stops(points, turns)


def _percents(text: str, flag: str) -> tuple[float, ...]:
    """'0 25 50', with commas or per cent signs or without, as shares, in rising order."""
    words = text.replace(",", " ").replace("%", " ").split()
    try:
        values = sorted({float(word) for word in words})
    except ValueError:
        raise BadRequest(f"{flag} '{text}': write per cents of the bench range, like '0 25 50'") from None
    if not values or not all(LOWEST <= value <= HIGHEST for value in values):
        raise BadRequest(f"{flag} '{text}': write per cents from {LOWEST:g} to {HIGHEST:g}, like '0 25 50'")
    if any(round(value, DECIMALS) != value for value in values):
        raise BadRequest(f"{flag} '{text}': write per cents with no more than {DECIMALS} decimals")
    return tuple(value / 100.0 for value in values)


def run_steps(bench: Bench, stops: Stops, started: datetime) -> int:
    """Run, record, conclude; the exit code. Raises LinkFault where the stand does not answer at all."""
    args, profile, instant = bench.args, bench.profile, bench.pace == "instant"
    run = StepRun(
        profile,
        bench.highest_pa,
        bench.limits.rate_max_pa_per_s.value,
        bench.stand.demand_output.calibration.accuracy,
        points=stops.points,
        dead_band_at=stops.dead_band_at,
        cycles=args.cycles,
    )
    dead_band_at = args.dead_band or "the middle point"
    options = {"cycles": args.cycles, "points": args.points, "dead band at": dead_band_at}
    with open_stand(bench.stand, profile, bench.limits, bench.pace) as runner:
        folder = new_record_folder(args.records, profile.model, started)
        with (
            RecordWriter(
                folder,
                profile_text(args.profile),
                stand_text(args.stand),
                run_details(bench, started, options) | {"procedure": STEPS},
                rows_per_write=500 if instant else 1,
                sync_every_s=None if instant else 1.0,
            ) as record,
            choose_screen(Console(stderr=args.json), profile, bench.units, limit_words(bench)) as screen,
            Interrupts() as interrupts,
        ):
            ended = runner(
                run.run(),
                on_sample(record, screen, run.stroke),
                on_notice(record, screen),
                interrupts.order,
            )
            say_if_lost(ended, record.last_s, screen.event)
            for remark in run.remarks:
                record.event(record.last_s, "remark", remark)
            if ended.how in STOP_KINDS:
                record.event(record.last_s, STOP_KINDS[ended.how], stop_words(ended, interrupts.presses))
            if not ended.vented:
                record.event(record.last_s, WARNING, AIR_LEFT)
    return conclude_steps(read_record(folder), args.units, args.json)
