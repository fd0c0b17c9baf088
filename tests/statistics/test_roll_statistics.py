"""Natural roll of days whose period and damping are known: what the intervals on paper are worth.

Run it as a program for the table: ``PYTHONPATH=. python tests/statistics/test_roll_statistics.py [days]``.
"""

from __future__ import annotations

import sys

import gaussian_day
import numpy as np
import pytest

from config.units import COVERAGE_95
from dsp.day import evaluate_day
from dsp.types import Array, RollComparison

DAYS = 60
FIRST_SEED = 9700


def measured(days: int) -> tuple[list[RollComparison], Array, Array]:
    """Comparison of each day, true period (s) and true damping."""
    found, period, damping = [], [], []
    for k in range(days):
        day, truth = gaussian_day.make(("quiet", "breezy", "windy")[k % 3], FIRST_SEED + k)
        compared = evaluate_day(day).roll_comparison
        assert compared is not None
        found.append(compared)
        period.append(truth.period)
        damping.append(truth.damping)
    return found, np.array(period), np.array(damping)


def covered(value: Array, u: Array, true: Array) -> float:
    """Share of the intervals there are that hold the truth."""
    known = np.isfinite(value) & np.isfinite(u)
    return float(np.mean(np.abs(value - true)[known] <= COVERAGE_95 * u[known]))


def figures(days: int) -> dict[str, float]:
    """Share of 95 % intervals that hold the truth, and median of damping over the true one, method by method."""
    found, period, damping = measured(days)
    made: dict[str, float] = {}
    for number, method in enumerate(m.method for m in found[0].methods):
        told = [c.methods[number] for c in found]
        columns = np.array([[m.period, m.period_u, m.damping, m.damping_u] for m in told]).T
        made[f"{method}: period"] = covered(columns[0], columns[1], period)
        if np.isfinite(columns[2]).any():
            made[f"{method}: damping"] = covered(columns[2], columns[3], damping)
            made[f"{method}: damping over true"] = float(np.nanmedian(columns[2] / damping))
    made["agree"] = float(np.mean([c.agree for c in found]))
    change = np.array([c.drift for c in found])
    made["change of the period"] = covered(change, np.array([c.drift_u for c in found]), np.zeros(days))
    return made


@pytest.mark.statistics
def test_what_is_printed_of_the_roll_holds() -> None:
    made = figures(DAYS)
    # Of 60 intervals at 95 % fewer than 50 hold once in 5000 times (binomial).
    for name in ("likelihood: period", "likelihood: damping", "change of the period"):
        assert made[name] >= 50 / 60, (name, made)
    assert made["agree"] >= 0.9, made
    # Why the report prints no interval with the damping of a decaying cosine, and says that it reads low.
    assert made["decaying cosine: damping over true"] < 0.8, made


if __name__ == "__main__":
    for name, value in figures(int(sys.argv[1]) if len(sys.argv) > 1 else DAYS).items():
        print(f"{name:<40} {value:.2f}")
