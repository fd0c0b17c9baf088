"""Mean heel of every window of a folder, with interval, checks and verdict."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from scipy.special import stdtrit

from config.shifts_table import read_shifts
from config.units import COVERAGE_95
from dsp.day import evaluate_day
from dsp.live import suggest_windows
from dsp.types import DayHeel, WindowHeel
from logger.events import rfc3339
from quietheel.jobs.day import RecordedDay, day_with, open_day, scanned_day
from quietheel.jobs.told import as_told


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
    noted = recorded.folder.path / "shifts.csv"
    shifts = read_shifts(noted) if noted.is_file() else ()
    return EvaluatedDay(recorded, evaluate_day(as_told(recorded.day, recorded.plan, recorded.standing, shifts)))


def suggest(folder: Path | str = ".", *, shortest_s: float = 60.0, longest_s: float = 600.0) -> EvaluatedDay:
    """Find settled stretches that the record itself shows, and evaluate each as if it had been marked as a window.

    Marked windows are not looked at. What was confirmed, moved or moored meanwhile the record cannot know: a person
    decides whether a stretch may stand as a window.

    Parameters
    ----------
    shortest_s, longest_s : of a stretch; of a longer one the end is taken.

    Raises
    ------
    BadInput where the plan, the marks or the record cannot be used.

    Example
    -------
    >>> import quietheel
    >>> day = quietheel.suggest("demo-day")  # doctest: +SKIP
    >>> [(w.span.start, w.span.stop, w.u) for w in day.heel.windows]  # doctest: +SKIP
    """
    recorded = scanned_day(folder)
    spans = suggest_windows(recorded.day, shortest_s, longest_s)
    if not spans:
        return EvaluatedDay(recorded, evaluate_day(replace(recorded.day, windows=())))
    recorded = day_with(recorded, spans)
    return EvaluatedDay(recorded, evaluate_day(recorded.day))


def half_width_deg(window: WindowHeel, confidence: float = 0.95) -> float:
    """Half width of the interval of a window's mean heel, degrees, without the scale common to all windows."""
    return float(np.degrees(stdtrit(max(window.dof, 1.0), 0.5 + confidence / 2.0) * window.u))


def roll_json(day: DayHeel) -> dict[str, object]:
    """Natural roll of the day, with what the other methods say of it."""
    roll, compared = day.roll, day.roll_comparison
    return {
        "period_s": roll.period,
        "period_u95_s": COVERAGE_95 * roll.period_u,
        "damping": roll.damping,
        "damping_u95": COVERAGE_95 * roll.damping_u,
        "methods_agree": compared.agree if compared else None,
        "change_s_per_h": compared.drift if compared else None,
        "change_u95_s_per_h": COVERAGE_95 * compared.drift_u if compared else None,
    }


def wind_json(day: DayHeel) -> dict[str, object]:
    """What the wind was taken to do to the heel; null where it was not measured."""
    return {
        "reference_m_s": day.reference_wind,
        "heel_deg_at_10_m_s": float(np.degrees(100.0 * day.wind_coefficient)),
        "heel_u95_deg_at_10_m_s": float(np.degrees(100.0 * COVERAGE_95 * day.wind_coefficient_u)),
    }


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
        "wind_correction_deg": float(np.degrees(window.wind_correction)),
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
