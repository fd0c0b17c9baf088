"""What the windows of the invented day came to: two rejected, one to look at."""

import math

import numpy as np

from dsp.types import BudgetLine, Check, DayHeel, RollMotion, StationHeel, WindowHeel, WindowSpan
from reduction.types import WindowPoint
from tests.report_example.day import EPOCH_NS, GM, MASS, MOMENTS, example_day, window_start
from tests.report_example.plan import STATIONS

VERDICTS = {4: ("rejected", ("people",)), 6: ("rejected", ("taut",)), 2: ("caution", ("wind",))}


def _checks(i: int) -> tuple[Check, ...]:
    verdict, codes = VERDICTS.get(i, ("fine", ()))
    time = np.linspace(window_start(i), window_start(i) + 180, 180)
    rng = np.random.default_rng(i)
    says = {
        "people": "The heel steps by 0.012 deg at 10:02:31, as 85 kg moving 5 m would make it.",
        "taut": "The roll period is 7.6 s against 8.3 s over the day: something stiffened her.",
        "wind": "The wind rose from 3.1 to 5.4 m/s within the window.",
    }
    made = [Check("transient", 0.4, 3.1, "", 0.002, "fine", "Nothing decays at the start.")]
    for code in codes:
        curve = rng.normal(size=180) * 3e-5
        step = np.where(time > time[90], 2e-4, 0.0)
        made.append(
            Check(
                code,
                5.2,
                3.4,
                "sigma",
                0.0015,
                verdict,
                says[code],
                {
                    "people": {
                        "time": time,
                        "low": curve + step,
                        "step": step,
                        "step_time": time[:-60],
                        "score": 5.2 * np.exp(-(((time[:-60] - time[90]) / 30) ** 2)),
                    },
                    "taut": {
                        "time": np.array([window_start(k) for k in range(9)]),
                        "shift": np.array([1, -2, 0, 1, 2, -1, 40, 0, 1]) * 2e-5,
                        "shift_u": np.full(9, 3e-5),
                        "used": np.array([1, 1, 1, 1, 0, 1, 0, 1, 1.0]),
                    },
                    "wind": {"time": time, "low": curve, "wind_part": step, "pressure": 9 + 3e4 * step},
                }[code],
            )
        )
    return tuple(made)


def example_windows() -> tuple[tuple[WindowPoint, ...], DayHeel]:
    """Points of the plot of GM, and the heel of the day."""
    rng = np.random.default_rng(3)
    points, windows = [], []
    for i, m in enumerate(MOMENTS):
        verdict, codes = VERDICTS.get(i, ("fine", ()))
        used = verdict != "rejected"
        off = rng.normal() * 4e-5 + {4: 2.1e-4, 6: 7e-4}.get(i, 0.0)
        mean = math.atan(m * 1000 / (MASS * GM)) + off
        start = window_start(i)
        checks = _checks(i)
        points.append(
            WindowPoint(
                label=str(i),
                start_ns=EPOCH_NS + int(start * 1e9),
                stop_ns=EPOCH_NS + int((start + 180) * 1e9),
                moment=m * 1000,
                heel=mean,
                u=4.5e-5,
                dof=20.0,
                scale_u=2e-5,
                verdict=verdict,
                reasons=codes,
                checks=checks,
                residual_line=off,
                residual_curve=off * 0.95,
                used=used,
                overruled="kept by A. North: wind inside the forecast" if i == 2 else "",
            )
        )
        span = example_day().windows[i] if i == 0 else WindowSpan(str(i), start, start + 180)
        windows.append(
            WindowHeel(
                span=span,
                heel=mean,
                u=4.5e-5,
                dof=20.0,
                budget=(BudgetLine("low-frequency heel", 4e-5),),
                stations=tuple(
                    StationHeel(s, mean + 1e-5 * j, 6e-5, 1e-3 * j, 1800, 9.98, True) for j, s in enumerate(STATIONS)
                ),
                roll=RollMotion(8.31, 0.04, 0.02, 0.004, 1.2e-3),
                checks=checks,
                verdict=verdict,
                reasons=codes,
            )
        )
    frequency = np.geomspace(1e-3, 2.0, 200)
    model = 1e-6 / (1 + (frequency / 0.01) ** 2) + 4e-5 * np.exp(-(((frequency - 0.12) / 0.006) ** 2)) + 1e-9
    heel = DayHeel(
        EPOCH_NS,
        tuple(windows),
        np.eye(9) * 2e-9,
        0.001,
        float("nan"),
        RollMotion(8.31, 0.03, 0.02, 0.003, 1.2e-3),
        2e-6,
        3e-7,
        3.1,
        {"frequency": frequency, "density": model * rng.chisquare(6, 200) / 6, "model": model},
        ("No drift was given for bridge; it was estimated from the day.",),
    )
    return tuple(points), heel
