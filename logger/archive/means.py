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
from logger.archive.stretch import never_back
from logger.archive.sums import LEFT_OUT, Sums, interval_sums, joined_sums
from logger.records import Quantity


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
    made = joined_sums(list(pool.map(lambda piece: _sums(piece, every_ns), pieces)))
    first, last = np.searchsorted(made.number, [low, high])
    number, total, count = made.number[first:last], made.total[first:last], made.count[first:last]
    piece = pieces[0]
    return Means(
        piece.station, piece.quantity, piece.unit, every_ns, number * every_ns + every_ns // 2, total / count, count
    )


def _sums(piece: Piece, every_ns: int) -> Sums:
    columns = piece.load(["time", "value", "flags"])
    good = ((columns["flags"] & LEFT_OUT) == 0) & np.isfinite(columns["value"])
    time, value = columns["time"][good], columns["value"][good]
    if not never_back(time):
        order = np.argsort(time, kind="stable")
        time, value = time[order], value[order]
    return interval_sums(time, value, every_ns)
