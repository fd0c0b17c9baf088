"""What the sensors of the invented day recorded."""

import math

import numpy as np

from dsp.types import Day, Trace, Wind, WindowSpan
from tests.report_example.plan import STATIONS

EPOCH_NS = 1_905_062_400_000_000_000
MASS = 1_152_400.0
"""kg."""
GM = 1.213
"""m."""
MOMENTS = [0.5, 21.5, 42.5, 21.4, 0.4, -20.6, -41.5, -20.5, 0.5]
"""tm, of the weights in each window."""


def window_start(i: int) -> float:
    """Opening of a window, s since the epoch."""
    return 600.0 + 780.0 * i


def example_day() -> Day:
    """Three stations, one of them silent for a while, wind and the tension of a line."""
    rng = np.random.default_rng(5)
    time = np.arange(0, 7600, 0.5)
    base = np.zeros_like(time)
    for i, m in enumerate(MOMENTS):
        base[time >= window_start(i) - 300] = math.atan(m * 1000 / (MASS * GM))
    slow = np.cumsum(rng.normal(size=time.size)) * 2e-6
    roll = 1.2e-3 * np.sin(2 * np.pi * time / 8.3) * (1 + 0.5 * np.sin(time / 170))
    heel = []
    for i, s in enumerate(STATIONS):
        value = base + slow + roll + rng.normal(size=time.size) * 2e-4 + 1e-3 * i
        keep = np.ones(time.size, dtype=bool) if i else (time < 3000) | (time > 3200)
        heel.append(Trace(s, time[keep], value[keep]))
    wind = Wind(time[::4], np.abs(3 + np.cumsum(rng.normal(size=time[::4].size)) * 0.05))
    spans = tuple(
        WindowSpan(
            str(i),
            window_start(i),
            window_start(i) + 180,
            confirmed=frozenset({"lines", "muster", "crane", "clear", "quiet"} if i != 4 else {"lines", "crane"}),
            expected_confirmations=frozenset({"lines", "muster", "crane"}),
            hand_readings=(("pendulum", math.atan(m * 1000 / (MASS * GM)), 2e-4),),
        )
        for i, m in enumerate(MOMENTS)
    )
    tension = (Trace("aft breast", time[::4], np.abs(400 + 50 * rng.normal(size=time[::4].size))),)
    return Day(epoch_ns=EPOCH_NS, heel=tuple(heel), windows=spans, wind=wind, tension=tension)
