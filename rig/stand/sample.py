"""What one scan leaves behind for the record, the screen and the procedure."""

from dataclasses import dataclass

from safety.signals import Command, Demand, Reading


@dataclass(frozen=True, slots=True)
class Sample:
    reading: Reading
    demand: Demand | None  # the one the guard judged in this scan
    command: Command  # what was written
    mode: str  # the guard's mode
    late_s: float = 0.0  # how late the scan began
    lost_scans: int = 0  # slots missed since the start
    written: bool = True  # False: the write failed, the stand may not hold this command
    vented: bool = False  # the guard knows the casing to hold no pressure
