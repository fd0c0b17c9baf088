"""Sums of readings over intervals of equal length, intervals without readings left out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from logger.archive.arrow import Column
from logger.archive.pieces import Piece
from logger.archive.stretch import Int, columns_for
from logger.archive.timing import Arrivals, repaired
from logger.records import Flag

LEFT_OUT = int(Flag.SUSPECT | Flag.DUPLICATE | Flag.SATURATED)
"""Readings with these flags enter no mean."""


@dataclass(frozen=True)
class Sums:
    """Sums of the readings of one channel, by interval."""

    number: Int
    """(n,) number of each interval since 1970, rising."""
    total: NDArray[np.float64]
    """(n,) sum of the readings in it."""
    count: Int
    """(n,) how many; never 0."""


NOTHING = Sums(np.zeros(0, dtype=np.int64), np.zeros(0), np.zeros(0, dtype=np.int64))


def interval_sums(time: Int, value: NDArray[np.float64], every_ns: int) -> Sums:
    """Sum readings in order of time, interval by interval.

    >>> made = interval_sums(np.array([5, 11, 12, 31]), np.array([1.0, 2.0, 3.0, 4.0]), 10)
    >>> made.number.tolist(), made.total.tolist(), made.count.tolist()
    ([0, 1, 3], [1.0, 5.0, 4.0], [1, 2, 1])
    """
    return _summed(*_begins(time, every_ns), value) if time.size else NOTHING


def piece_sums(piece: Piece, columns: Mapping[str, Column], ordered: bool, every_ns: int) -> Sums:
    """Sum up a piece by time of arrival, by repaired time where it is late, out of order, flagged or fell silent.

    Readings that are suspect, duplicate, saturated or no number do not count.

    Parameters
    ----------
    columns : time and value of the piece, and flags unless it has none.
    ordered : whether the times of arrival never go back.
    """
    time, value, flags = columns["time"], columns["value"], columns.get("flags")
    if not time.size:
        return NOTHING
    flagged = flags is not None and bool(flags.any())
    if ordered and not flagged and not piece.late:
        begins, number = _begins(time, every_ns)
        # A silence longer than an interval ends where an interval begins.
        if not bool((time[begins[1:]] - time[begins[1:] - 1] > every_ns).any()):
            made = _summed(begins, number, value)
            return made if np.isfinite(made.total.sum()) else _of_good(time, value, flags, every_ns)
    columns = piece.load(columns_for(piece))
    found = repaired(Arrivals(time, columns.get("device_time"), value, columns["flags"], columns["sequence"]))
    return _of_good(found.time_ns, value[found.rows], columns["flags"][found.rows], every_ns)


def joined_sums(parts: Sequence[Sums], together: int = 1) -> Sums:
    """Sums of several pieces as one, so many intervals brought together; pieces may share intervals."""
    number, total, count = (
        np.concatenate([getattr(part, name) for part in (*parts, NOTHING)]) for name in ("number", "total", "count")
    )
    number //= together
    if not bool((number[1:] >= number[:-1]).all()):
        order = np.argsort(number, kind="stable")
        number, total, count = number[order], total[order], count[order]
    if not number.size:
        return NOTHING
    begins = _changes(number)
    return Sums(number[begins], np.add.reduceat(total, begins), np.add.reduceat(count, begins))


def _of_good(time: Int, value: NDArray[np.float64], flags: NDArray[np.uint16] | None, every_ns: int) -> Sums:
    good = np.isfinite(value)
    if flags is not None:
        good &= (flags & LEFT_OUT) == 0
    return interval_sums(time[good], value[good], every_ns)


def _begins(time: Int, every_ns: int) -> tuple[Int, Int]:
    """Where intervals begin in times in order, and their numbers; a division is cheaper than searching the places."""
    number = time // every_ns
    begins = _changes(number)
    return begins, number[begins]


def _changes(number: Int) -> Int:
    return np.concatenate([[0], np.flatnonzero(number[1:] != number[:-1]) + 1])


def _summed(begins: Int, number: Int, value: NDArray[np.float64]) -> Sums:
    return Sums(number, np.add.reduceat(value, begins), np.diff(begins, append=value.size))
