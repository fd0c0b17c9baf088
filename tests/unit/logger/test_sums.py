"""Sums of readings by interval: the same as adding up one reading after another."""

from __future__ import annotations

from collections import defaultdict

import numpy as np
import pytest

from logger.archive.sums import NOTHING, Sums, interval_sums, joined_sums

EVERY = 250


def one_by_one(time: np.ndarray, value: np.ndarray, every: int) -> dict[int, tuple[float, int]]:
    """Interval -> (sum, count)."""
    made: dict[int, list[float]] = defaultdict(list)
    for t, v in zip(time.tolist(), value.tolist(), strict=True):
        made[t // every].append(v)
    return {number: (sum(values), len(values)) for number, values in made.items()}


def as_dict(sums: Sums) -> dict[int, tuple[float, int]]:
    """Interval -> (sum, count)."""
    return {n: (t, c) for n, t, c in zip(sums.number.tolist(), sums.total.tolist(), sums.count.tolist(), strict=True)}


@pytest.mark.parametrize("together", [1, 2, 5])
@pytest.mark.parametrize("late", [False, True])
def test_sums_of_pieces_that_share_intervals_or_come_out_of_turn(together: int, late: bool) -> None:
    rng = np.random.default_rng(8)
    time = np.cumsum(rng.choice([0, 9, 10, 11, 900], 2000))
    value = rng.integers(-50, 50, 2000) / 8.0  # sums without rounding
    parts = [interval_sums(t, v, EVERY) for t, v in zip(np.array_split(time, 7), np.array_split(value, 7), strict=True)]
    if late:
        parts = [parts[k] for k in (0, 1, 4, 2, 3, 6, 5)]
    made = joined_sums(parts, together)
    assert (np.diff(made.number) > 0).all()
    assert as_dict(made) == one_by_one(time, value, EVERY * together)
    assert sum(int(part.count.sum()) for part in parts) == 2000


def test_nothing_stays_nothing() -> None:
    assert not joined_sums([]).number.size
    assert not joined_sums([NOTHING, NOTHING], 3).number.size
    assert not interval_sums(np.zeros(0, dtype=np.int64), np.zeros(0), EVERY).number.size
