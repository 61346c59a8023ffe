"""A record of a valve that moves in hops: it waits for static friction, then falls to the sliding line."""

import numpy as np

from rig.analysis.samples import REST, TOP, ZERO, Samples

from .synthetic import PSI, IdealValve, Rig, record


def sticking_record(
    valve: IdealValve, extra_pa: float, rig: Rig | None = None, seed: int = 1
) -> tuple[Samples, float]:
    """Massless stem: moves when the pressure is `extra_pa` beyond the sliding line, overshoots as far."""
    rig = rig or Rig(noise_pa=0.03 * PSI, noise_m=0.001 * 0.0254)
    plain = record(
        valve, Rig(**{**_fields(rig), "noise_pa": 0.0, "noise_m": 0.0, "count_pa": 0.0, "count_m": 0.0})
    )
    random = np.random.default_rng(seed)
    pressure, gain = plain.pressure_pa, valve.gain
    travel = np.zeros(len(pressure))
    x = 0.0
    for i, p in enumerate(pressure.tolist()):
        if plain.stage[i] == ZERO:
            continue
        line = (p - valve.lower_pa) / gain**-1  # travel that balances the spring
        ahead, band = line - x, valve.half_band_pa * gain
        wait = extra_pa * gain * (0.85 + 0.3 * random.random())
        if ahead > band + wait:
            x = line - band + 0.9 * (ahead - band)
        elif ahead < -band - wait:
            x = line + band + 0.9 * (ahead + band)
        x = min(max(x, 0.0), valve.travel_m)
        travel[i] = x
    travel[plain.stage == TOP] = valve.travel_m
    travel[(plain.stage == REST) & (pressure < 1 * PSI)] = 0.0
    rises = np.flatnonzero((travel > 0.0) & (plain.cycle == 1))
    first = float(pressure[rises[0] - 1])
    samples = Samples(
        time_s=plain.time_s,
        pressure_pa=pressure + rig.noise_pa * random.normal(size=len(pressure)),
        position_m=travel + rig.noise_m * random.normal(size=len(pressure)),
        output_pa=plain.output_pa,
        supply_pa=plain.supply_pa,
        cycle=plain.cycle,
        stage=plain.stage,
    )
    return samples, first


def _fields(rig: Rig) -> dict[str, float]:
    return {name: getattr(rig, name) for name in rig.__dataclass_fields__}
