"""Mean heel of every window of a folder, with interval, checks and verdict."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.special import stdtrit

from dsp.day import evaluate_day
from dsp.types import DayHeel, WindowHeel
from logger.events import rfc3339
from quietheel.jobs.day import RecordedDay, open_day


@dataclass(frozen=True)
class EvaluatedDay:
    """A recorded day with the heel of each of its windows."""

    recorded: RecordedDay
    heel: DayHeel


def windows(folder: Path | str = ".") -> EvaluatedDay:
    """Evaluate every window of a test folder, by itself; what the windows say of each other is for `reduce`.

    Raises
    ------
    BadInput where the plan, the marks or the record cannot be used.

    Example
    -------
    >>> import quietheel
    >>> day = quietheel.windows("demo-day")  # doctest: +SKIP
    >>> [(w.span.label, w.heel, w.verdict) for w in day.heel.windows]  # doctest: +SKIP
    """
    recorded = open_day(folder)
    return EvaluatedDay(recorded, evaluate_day(recorded.day))


def half_width_deg(window: WindowHeel, confidence: float = 0.95) -> float:
    """Half width of the interval of a window's mean heel, degrees, without the scale common to all windows."""
    return float(np.degrees(stdtrit(max(window.dof, 1.0), 0.5 + confidence / 2.0) * window.u))


def window_json(day: EvaluatedDay, window: WindowHeel) -> dict[str, object]:
    """One window in the units of the door."""
    epoch = day.heel.epoch_ns
    span = window.span
    return {
        "label": span.label,
        "start": rfc3339(epoch + round(span.start * 1e9)),
        "stop": rfc3339(epoch + round(span.stop * 1e9)),
        "heel_deg": float(np.degrees(window.heel)),
        "u95_deg": half_width_deg(window),
        "verdict": window.verdict,
        "reasons": list(window.reasons),
        "roll_period_s": window.roll.period,
        "stations": [
            {
                "station": s.station,
                "heel_deg": float(np.degrees(s.heel)),
                "u95_deg": float(np.degrees(s.u) * 1.96),
                "samples": s.samples,
                "rate_hz": s.rate,
                "used": s.used,
                "reason": s.reason,
            }
            for s in window.stations
        ],
        "budget_deg": {line.source: float(np.degrees(line.u)) for line in window.budget},
        "checks": [
            {
                "code": c.code,
                "value": c.value,
                "threshold": c.threshold,
                "unit": c.unit,
                "false_alarm": c.false_alarm,
                "verdict": c.verdict,
                "says": c.says,
            }
            for c in window.checks
        ],
    }
