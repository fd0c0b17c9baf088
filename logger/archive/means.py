"""Read a whole day as short means: small enough to scan 18 hours for settled periods, and for pictures."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from logger.archive.layout import RunInfo
from logger.archive.pieces import Piece, pieces_of, select
from logger.archive.reader import WORKERS, runs_of
from logger.records import Flag, Quantity

_LEFT_OUT = int(Flag.SUSPECT | Flag.DUPLICATE | Flag.SATURATED)


@dataclass(frozen=True)
class Means:
    """One channel as means over intervals of equal length, intervals without readings left out."""

    station: str
    quantity: Quantity
    unit: str
    every_ns: int
    """Length of an interval, ns; intervals begin at multiples of it since 1970."""
    time_ns: NDArray[np.int64]
    """(n,) middle of each interval, UTC ns."""
    value: NDArray[np.float64]
    """(n,) mean of the readings in it."""
    count: NDArray[np.int64]
    """(n,) how many."""


def read_means(
    record: Path,
    *,
    every_s: float,
    quantity: Quantity | str | None = None,
    station: str | None = None,
    start_ns: int | None = None,
    stop_ns: int | None = None,
    runs: Sequence[str | RunInfo] | None = None,
) -> list[Means]:
    """Read channels as means over ``every_s`` seconds by time of arrival.

    Readings that are suspect, duplicate, saturated or no number are left out. The memory needed is that of the
    result; a mean over many samples hardly feels the jitter of arrivals (milliseconds against ``every_s``).

    Parameters
    ----------
    record : ``record/`` of a test folder, or the folder of one run.
    every_s : length of an interval, s; take at most a tenth of the roll period to keep the roll.
    start_ns, stop_ns : UTC ns; whole intervals that touch them are kept.

    Returns
    -------
    list of Means in order of station and quantity; empty where there is nothing.
    """
    every_ns = round(every_s * 1e9)
    channels: dict[tuple[str, str], list[Piece]] = {}
    wanted = None if quantity is None else str(quantity)
    for run in runs_of(record, runs):
        for piece in select(pieces_of(run), quantity=wanted, station=station, start_ns=start_ns, stop_ns=stop_ns):
            channels.setdefault((piece.station, piece.quantity), []).append(piece)
    low = -(2**62) if start_ns is None else start_ns // every_ns
    high = 2**62 if stop_ns is None else -(-stop_ns // every_ns)
    with ThreadPoolExecutor(max_workers=WORKERS) as pool:
        return [_means(pool, channels[key], every_ns, low, high) for key in sorted(channels)]


def _means(pool: ThreadPoolExecutor, pieces: list[Piece], every_ns: int, low: int, high: int) -> Means:
    parts = list(pool.map(lambda piece: _sums(piece, every_ns), pieces))
    first = max(low, min(begin for begin, _, _ in parts))
    last = min(high, max(begin + count.size for begin, _, count in parts))
    total = np.zeros(max(0, last - first))
    number = np.zeros(total.size, dtype=np.int64)
    for begin, sums, count in parts:
        # Intervals asked for, of those that this piece has.
        start, stop = max(begin, first), min(begin + count.size, last)
        if stop > start:
            total[start - first : stop - first] += sums[start - begin : stop - begin]
            number[start - first : stop - first] += count[start - begin : stop - begin]
    kept = np.flatnonzero(number)
    piece = pieces[0]
    return Means(
        piece.station,
        piece.quantity,
        piece.unit,
        every_ns,
        (kept + first) * every_ns + every_ns // 2,
        total[kept] / number[kept],
        number[kept],
    )


def _sums(piece: Piece, every_ns: int) -> tuple[int, NDArray[np.float64], NDArray[np.int64]]:
    columns = piece.load(["time", "value", "flags"])
    time, value = columns["time"], columns["value"]
    good = (columns["flags"] & _LEFT_OUT) == 0 if columns["flags"].any() else None
    if not np.isfinite(value.sum()):
        finite = np.isfinite(value)
        good = finite if good is None else good & finite
    if good is not None and not good.all():
        time, value = time[good], value[good]
    if not time.size:
        return int(columns["time"][0] // every_ns), np.zeros(0), np.zeros(0, dtype=np.int64)
    return interval_sums(time, value, every_ns)


def interval_sums(
    time: NDArray[np.int64], value: NDArray[np.float64], every_ns: int
) -> tuple[int, NDArray[np.float64], NDArray[np.int64]]:
    """Sum readings interval by interval: (number of the first interval since 1970, sums, counts).

    >>> first, total, count = interval_sums(np.array([5, 11, 12, 31]), np.array([1.0, 2.0, 3.0, 4.0]), 10)
    >>> first, total.tolist(), count.tolist()
    (0, [1.0, 5.0, 0.0, 4.0], [1, 2, 0, 1])
    """
    if not bool((time[1:] >= time[:-1]).all()):
        order = np.argsort(time, kind="stable")
        time, value = time[order], value[order]
    first, last = int(time[0] // every_ns), int(time[-1] // every_ns)
    # Sums between the places where intervals begin: several times faster than a division for every reading.
    edges = np.searchsorted(time, np.arange(first, last + 2) * every_ns)
    count = np.diff(edges)
    there = np.flatnonzero(count)
    sums = np.zeros(count.size)
    sums[there] = np.add.reduceat(value, edges[there])
    return first, sums, count
