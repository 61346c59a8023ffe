"""How many times faster than life the plant runs, and against scipy's LSODA on the same physics, in one run.

    python bench/simulator_speed.py [--repeats 3]

The least of the repeats counts: others share the machine. Processor time of this process only.
"""

import argparse
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from simulator.scenario import load
from tests.simulator.test_against_scipy import SAMPLE_S, Ramp, marched, reference

SCENARIO = "healthy-brine-letdown"


def least_s(work: Callable[[], object], repeats: int) -> float:
    best = float("inf")
    for _ in range(repeats):
        start = time.process_time()
        work()
        best = min(best, time.process_time() - start)
    return best


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--repeats", type=int, default=3)
    repeats = parser.parse_args().repeats
    actuator = load(SCENARIO).actuator
    ramp = Ramp(actuator)
    life_s = ramp.corners[-1]

    times = np.arange(1, round(life_s / SAMPLE_S)) * SAMPLE_S
    reference_s = least_s(lambda: reference(actuator, ramp, times), 1)
    print(f"{SCENARIO}, one stroke of {life_s:.1f} s, one core")
    for step_ms in (2.0, 1.0, 0.5):
        step = 1e-3 * step_ms
        took = least_s(lambda step=step: marched(actuator, ramp, step), repeats)  # type: ignore[misc]
        print(f"  step {step_ms:3.1f} ms: {life_s / took:5.0f} x life, {reference_s / took:5.1f} x LSODA")
    print(f"  LSODA:       {life_s / reference_s:5.1f} x life")


if __name__ == "__main__":
    main()
