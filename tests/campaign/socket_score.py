"""What is wrong with one run of the socket campaign, by the truth of the simulator and by the record."""

import csv
from bisect import bisect_left
from dataclasses import dataclass, field
from itertools import pairwise
from math import ceil
from pathlib import Path
from typing import Any

from rig.analysis.result import Outcome
from rig.cli.exits import STOPPED
from rig.cli.outcome import check_of, result_of
from rig.record.reader import Record, read_record
from rig.stand.notice import ASTRAY
from safety.state import Mode
from tests.campaign.fault_kinds import AT_ONCE, NO_DEMAND, PSI, SIGNAL_LOST
from tests.campaign.socket_check import ROW, SHOWN
from tests.campaign.socket_ride import GONE_PA, SCANS_PER_S, TIMES_LIFE, Ride

# What an I/P full on may add is stated for the transmitter's lag and two scans of this rate.
LAG_S, STATED_SCANS_PER_S = 0.02, 50.0
SAID_WITHIN_S = 2.0  # real time: that the scan is gone


@dataclass
class Score:
    kind: str
    wire: str
    seed: int
    moment_s: float
    mode: str = ""  # of the guard when it struck
    over_cap_pa: float = 0.0
    vent_scans: int | None = None
    vent_s: float | None = None  # of the stand's time
    bound_scans: int | None = None
    end: str = ""
    first_cause: str = ""
    called_gone_pa: float = 0.0
    left_pa: float = 0.0
    heard_s: float | None = None
    again: int = 0  # times that it was begun anew
    wrong: list[str] = field(default_factory=list)


def score_of(ride: Ride) -> Score:
    score = Score(ride.kind.name, ride.wire, ride.seed, ride.moment_s, heard_s=ride.heard_s)
    score.wrong += ride.problems
    folders = list((ride.folder / "records").iterdir())
    if len(folders) != 1:
        score.wrong.append(f"{len(folders)} records instead of one")
        return score
    record, rows = read_record(folders[0]), rows_of(folders[0])
    _vent_command(ride, rows, score)
    _end(ride, record, rows, score)
    _truth(ride, rows, score)
    _kept(ride, record, rows, score)
    return score


def rows_of(folder: Path) -> list[dict[str, str]]:
    with (folder / "samples.csv").open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    return rows[:-1] if rows and None in rows[-1].values() else rows  # a torn last row


def _vent_command(ride: Ride, rows: list[dict[str, str]], score: Score) -> None:
    """Scans from the first that could see the fault to the one that commands the vent.

    By the record; where that stops short (the main process is dead, hung or cannot write), by what the
    stand was asked and told.
    """
    per_s = SCANS_PER_S[ride.wire]
    after = [row for row in rows if ride.at_s(float(row["time (s)"])) >= ride.struck_s]
    before = rows[: len(rows) - len(after)]
    score.mode = before[-1]["mode"] if before else ""
    if not before or before[-1]["vent valve opened"] == "yes":
        return
    for number, row in enumerate(after, 1):
        if row["vent valve opened"] == "yes":
            score.vent_scans = number
            score.vent_s = (ride.at_s(float(row["time (s)"])) - ride.struck_s) * TIMES_LIFE
            break
    else:
        began_s, dead_s = ride.truth["began_s"], ride.dead_s or ride.struck_s
        struck_s, dead_s = ((at - began_s) * TIMES_LIFE for at in (ride.struck_s, dead_s))
        vents = [time_s for time_s, opened in ride.truth["vents"] if opened and time_s > struck_s]
        if vents:
            scans = [at for at in ride.truth["scans_s"] if dead_s < at <= vents[0]]
            score.vent_scans, score.vent_s = len(scans), vents[0] - struck_s
    limits = ride.limits
    patience = {
        AT_ONCE: 0.0,
        SIGNAL_LOST: limits.pressure_period_s * per_s,
        NO_DEMAND: limits.demand_fresh_scans.value,
    }.get(ride.kind.bound)
    if patience is not None:
        score.bound_scans = ceil(patience) + 2
        if score.vent_scans is None or score.vent_scans > score.bound_scans:
            score.wrong.append(f"vent command after {score.vent_scans} scans, stated {score.bound_scans}")


def _end(ride: Ride, record: Record, rows: list[dict[str, str]], score: Score) -> None:
    events = record.events
    score.first_cause = next((event.text for event in events if event.kind == "trip"), "")
    mode = rows[-1]["mode"] if rows else ""
    kinds = {event.kind for event in events}
    if ride.kind.named and ASTRAY not in kinds:
        score.wrong.append("not told of")
    if "both" in score.kind or "scan process killed" in score.kind:
        score.end = "watchdog"
    elif "main process killed" in score.kind:
        score.end = "scan alone"
    elif mode in (Mode.TRIPPED.value, Mode.ESCALATED.value):
        score.end = mode
    else:
        score.end = _ordered(kinds, score.kind) or mode
    if "watchdog" in score.end and ride.truth["tripped_s"] is None:
        score.wrong.append("the module's watchdog did not act")
    if score.kind == "scan process killed" and (ride.heard_s is None or ride.heard_s > SAID_WITHIN_S):
        score.wrong.append(f"that the scan is gone was said after {ride.heard_s} s")
    if "killed" not in score.kind.replace("scan process killed", "") and ride.exit_code != STOPPED:
        tail = ride.terminal.text.decode(errors="replace")[-600:]
        score.wrong.append(f"exit code {ride.exit_code}: {tail}")


def _ordered(kinds: set[str], fault: str) -> str:
    if "disk" in fault:
        return "disk full"
    return "stopped" if "stop" in kinds else "refused" if "refusal" in kinds else ""


def _truth(ride: Ride, rows: list[dict[str, str]], score: Score) -> None:
    truth, casing = ride.truth, ride.loaded.casing_pressure
    assert casing is not None
    score.over_cap_pa = truth["peak_pa"] - ride.limits.pressure_max_pa.value
    score.left_pa = truth["casing_pa"]
    accuracy_pa = casing.calibration.accuracy
    longer = (LAG_S + 2.0 / SCANS_PER_S[ride.wire]) / (LAG_S + 2.0 / STATED_SCANS_PER_S)
    over_pa = ride.kind.over_psi * PSI * longer
    if score.over_cap_pa > over_pa + accuracy_pa:
        score.wrong.append("above the cap")
    if truth["peak_pa"] > ride.profile.casing_maximum_pa + accuracy_pa:
        score.wrong.append("above the casing's maximum")
    if score.left_pa > GONE_PA and score.end != Mode.ESCALATED.value:
        score.wrong.append("neither vented nor escalated")
    times = [time_s for time_s, _ in truth["trace"]]
    for row in rows:
        at_s = ride.at_s(float(row["time (s)"]))
        if at_s < ride.struck_s or row["vented"] != "yes":
            continue
        plant_s = (at_s - truth["began_s"]) * TIMES_LIFE
        at = min(bisect_left(times, plant_s), len(times) - 1)
        score.called_gone_pa = truth["trace"][at][1]
        break
    if score.called_gone_pa > GONE_PA:
        score.wrong.append(f"called vented at {score.called_gone_pa / PSI:.2f} psi")
    for first, second in pairwise(rows):
        if first["mode"] in (Mode.TRIPPED.value, Mode.ESCALATED.value) and (
            float(second["output (Pa)"]) > 0.0 or second["supply valve opened"] == "yes"
        ):
            score.wrong.append("air let in under a trip")
            break


def _kept(ride: Ride, record: Record, rows: list[dict[str, str]], score: Score) -> None:
    """Every sample shown is in the record, which reads, and does not say that the check was done."""
    kept = {int(row["scan"]): float(row["time (s)"]) for row in rows}
    shown = [ROW.unpack(one) for one in _pieces((ride.folder / SHOWN).read_bytes())]
    lost = [scan for scan, time_s in shown if abs(kept.get(scan, -1.0) - time_s) > 1e-5]
    if lost or not shown:
        score.wrong.append(f"{len(lost)} of {len(shown)} samples shown are not in the record")
    gaps = _gaps(rows)
    if gaps:
        score.wrong.append(f"scans missing in the record that no scan says it lost: {gaps}")
    unclosed = getattr(ride.kind, "unclosed", False)
    if record.closed is unclosed or (record.torn and not unclosed):
        score.wrong.append(f"record closed: {record.closed}, torn: {record.torn}")
    outcome = result_of(check_of(record)).outcome
    if outcome is not Outcome.STOPPED:
        score.wrong.append(f"the record's outcome is {outcome.value}")


def _pieces(data: bytes) -> list[bytes]:
    return [data[at : at + ROW.size] for at in range(0, len(data) - ROW.size + 1, ROW.size)]


def _gaps(rows: list[dict[str, str]]) -> list[Any]:
    """Scan numbers left out beyond those that the scan counted as lost."""
    return [
        (first["scan"], second["scan"])
        for first, second in pairwise(rows)
        if int(second["scan"]) - int(first["scan"]) - 1
        != int(second["scans lost"]) - int(first["scans lost"])
    ]
