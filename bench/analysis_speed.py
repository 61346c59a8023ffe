"""How long one three-cycle record takes to analyse, reading included.

    python bench/analysis_speed.py [--repeats 50]

Times are scaled to a machine on which ten million additions of squares in a plain loop take 0.82 s, so
that figures of different machines compare. The least of the repeats counts: others share the machine.
"""

import argparse
import io
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from rig.analysis.check import analyse
from rig.analysis.samples import Samples
from tests.rig.synthetic import PSI, SENSORS, IdealValve, Rig, profile_for, record

GOAL_MS = 5.0
REFERENCE_S = 0.82


LOOP = compile("s = 0\nfor i in range(10**7): s += i * i", "loop", "exec")


def loop_s() -> float:
    """The reference loop as a module runs it, on global names; its least of three."""
    best = float("inf")
    for _ in range(3):
        start = time.process_time()
        exec(LOOP, {})
        best = min(best, time.process_time() - start)
    return best


def least_ms(work: object, repeats: int) -> float:
    assert callable(work)
    best = float("inf")
    for _ in range(repeats):
        start = time.process_time()
        work()
        best = min(best, time.process_time() - start)
    return best * 1e3


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--repeats", type=int, default=50)
    repeats = parser.parse_args().repeats
    valve = IdealValve()
    profile, samples = profile_for(valve), record(valve, Rig(rate_pa_per_s=1.2 * PSI))
    columns = np.stack((samples.time_s, samples.pressure_pa, samples.position_m))
    packed = io.BytesIO()
    np.save(packed, columns)

    def with_reading() -> None:
        packed.seek(0)
        time_s, pressure, position = np.load(packed)
        kept = (samples.output_pa, samples.supply_pa, samples.cycle, samples.stage)
        analyse(Samples(time_s, pressure, position, *kept), profile, SENSORS)

    scale = REFERENCE_S / loop_s()
    alone = least_ms(lambda: analyse(samples, profile, SENSORS), repeats)
    read = least_ms(with_reading, repeats)
    print(f"{len(samples.time_s)} scans, 3 cycles")
    print(f"analysis            {alone:6.2f} ms, scaled {alone * scale:6.2f} ms")
    print(f"with reading binary {read:6.2f} ms, scaled {read * scale:6.2f} ms (goal {GOAL_MS:.0f} ms)")


if __name__ == "__main__":
    main()
