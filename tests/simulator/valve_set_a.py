"""A published valve: PhD thesis, University of Sao Paulo 2020 (record tde-12022020-100441), nominal values.

Mass 1.6 kg, k 210490 N/m, area 0.0445 m2, preload 2550 N, stroke 29 mm, 41368 to 180000 Pa, Fc 700 N,
Fs 780 N, Fv 125000 N s/m, vs 5e-4 m/s; LuGre sigma0 2.6e7, sigma1 2.03961e4 (= sqrt(10 m sigma0)).
"""

from dataclasses import replace

from simulator.actuator import Actuator, Friction

VALVE_A = Actuator(
    area_m2=0.0445,
    rated_travel_m=0.029,
    stroke_m=0.035,
    travel_m=0.029,
    slack_m=0.006,
    preload_n=2550.0,
    spring_rate_n_per_m=210490.0,
    moving_mass_kg=1.6,
    adjuster_pitch_m=1.27e-3,
    friction=Friction(
        coulomb_n=700.0,
        static_ratio=780.0 / 700.0,
        stribeck_m_per_s=5e-4,
        viscous_n_s_per_m=125000.0,
        bristle_n_per_m=2.6e7,
        bristle_damping_n_s_per_m=2.03961e4,
    ),
)
COULOMB_A = replace(VALVE_A, friction=replace(VALVE_A.friction, static_ratio=1.0, viscous_n_s_per_m=0.0))
LOWEST_PA, HIGHEST_PA = 41368.0, 180000.0
