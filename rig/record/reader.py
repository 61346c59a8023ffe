"""Reading a record back: everything the result and the sheet need, from the folder alone."""

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from rig.analysis.samples import Floats, Samples, Sensors
from rig.profile.load import load_profile_text
from rig.profile.model import Profile
from rig.record.columns import EVENT_COLUMNS, SAMPLE_COLUMNS
from rig.record.fingerprint import FILES, fingerprint, kept_fingerprint
from rig.record.problem import RecordProblem
from rig.record.table import Table, read_table
from rig.record.writer import CLOSED
from rig.stand.file import load_stand_text
from rig.stand.model import Number, Stand
from safety.signals import Health


@dataclass(frozen=True, slots=True)
class Event:
    time_s: float
    kind: str
    text: str


@dataclass(frozen=True, slots=True)
class Record:
    folder: Path
    profile: Profile
    profile_text: str
    stand: Stand
    stand_text: str
    run: dict[str, Any]
    events: tuple[Event, ...]
    samples: Samples
    torn: bool  # a file was cut in the middle of a row; that row is left out
    closed: bool  # the run was ended in order
    pressure_is_inferred: bool
    lost_scans: int
    longest_late_s: float
    fingerprint: str  # of the record's files: ties a printed sheet to its data
    changed: bool = False  # the files are not those of which the fingerprint was kept

    @property
    def record_id(self) -> str:
        return f"{self.folder.name} · {self.fingerprint}"


def read_record(folder: Path) -> Record:
    """Read a record folder; raises RecordProblem, or FileProblems for the profile and stand in it."""
    folder = Path(folder).resolve()
    _check_folder(folder)
    profile_text, stand_text = _text(folder / "profile.yaml"), _text(folder / "stand.yaml")
    table = read_table(folder / "samples.csv", SAMPLE_COLUMNS)
    event_table = read_table(folder / "events.csv", EVENT_COLUMNS)
    events = _events(event_table)
    late_s = table.floats("late (s)")
    found, kept = fingerprint(folder), kept_fingerprint(folder)
    return Record(
        folder=folder,
        profile=load_profile_text(profile_text, str(folder / "profile.yaml")),
        profile_text=profile_text,
        stand=load_stand_text(stand_text, str(folder / "stand.yaml")),
        stand_text=stand_text,
        run=_run(folder / "run.json"),
        events=events,
        samples=_samples(table),
        torn=table.torn or event_table.torn,
        closed=bool(events) and events[-1].kind == CLOSED,
        pressure_is_inferred="yes" in table.texts("pressure inferred"),
        lost_scans=int(table.texts("scans lost")[-1]) if table.rows else 0,
        longest_late_s=float(late_s.max()) if table.rows else 0.0,
        fingerprint=found,
        changed=kept is not None and kept != found,
    )


def sensors_of(stand: Stand) -> Sensors:
    """What the stand file says of the transmitters; without one for the casing, of the I/P's demand."""
    pressure = stand.casing_pressure or stand.demand_output
    position = stand.stem_position
    return Sensors(
        pressure_accuracy_pa=pressure.calibration.accuracy,
        position_accuracy_m=position.calibration.accuracy,
        pressure_resolution_pa=0.0 if pressure.number is Number.FLOAT32 else abs(pressure.scale.per_count),
        position_resolution_m=0.0 if position.number is Number.FLOAT32 else abs(position.scale.per_count),
        pressure_span_pa=pressure.scale.span,
        position_span_m=position.scale.span,
        pressure_lag_s=pressure.lag_s,
        position_lag_s=position.lag_s,
        pressure_is_inferred=stand.casing_pressure is None,
    )


def _check_folder(folder: Path) -> None:
    if not folder.is_dir():
        raise RecordProblem(f"{folder}: there is no such folder; name a record folder")
    missing = [name for name in FILES if not (folder / name).is_file()]
    if missing:
        raise RecordProblem(
            f"{folder}: is not a whole record: {', '.join(missing)} "
            f"{'is' if len(missing) == 1 else 'are'} missing"
        )


def _text(path: Path) -> str:
    try:
        return path.read_bytes().decode("utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise RecordProblem(f"{path}: could not be read: {error}") from error


def _run(path: Path) -> dict[str, Any]:
    try:
        run = json.loads(_text(path))
    except json.JSONDecodeError as error:
        raise RecordProblem(f"{path}:{error.lineno}: is not JSON: {error.msg}") from error
    if not isinstance(run, dict):
        raise RecordProblem(f"{path}: should hold an object, holds {type(run).__name__}")
    return run


def _events(table: Table) -> tuple[Event, ...]:
    times_s = table.floats("time (s)")
    rows = zip(times_s, table.texts("kind"), table.texts("text"), strict=True)
    return tuple(Event(float(time_s), kind, text) for time_s, kind, text in rows)


def _samples(table: Table) -> Samples:
    return Samples(
        time_s=table.floats("time (s)"),
        pressure_pa=_where_good(table, "casing pressure (Pa)", "pressure health"),
        position_m=_where_good(table, "position (m)", "position health"),
        output_pa=table.floats("output (Pa)"),
        supply_pa=_where_good(table, "supply (Pa)", "supply health"),
        cycle=table.floats("cycle").astype(np.int64),
        stage=np.array(table.texts("stage"), dtype=np.str_),
    )


def _where_good(table: Table, value: str, health: str) -> Floats:
    good = np.array(table.texts(health), dtype=np.str_) == Health.GOOD.value
    return np.where(good, table.floats(value), np.nan)
