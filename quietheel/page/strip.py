"""The last minutes of every channel, thinned to what a screen can show."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from logger.records import Quantity, Series

BUCKET_NS = 1_000_000_000
"""Width of one bucket: 1 s of the day."""
EMPTY = np.iinfo(np.int64).min
"""Stands where a slot has never been filled."""
KEEP = 600
"""Buckets kept: ten minutes."""

STEP = {Quantity.HEEL: 1e-4, Quantity.TRIM: 1e-4, Quantity.WIND_SPEED: 0.01, Quantity.LINE_TENSION: 0.01}
"""Resolution on the wire in the canonical unit (deg, m/s, kN); a channel not named here is not drawn."""


@dataclass(frozen=True)
class Lane:
    """One channel of the strip."""

    station: str
    quantity: Quantity


class Strip:
    """Smallest and largest value of each channel in each second, for the last `KEEP` seconds.

    Smallest and largest rather than a mean: a spike must be seen, and roll must keep its true width.

    >>> strip = Strip([Lane("aft", Quantity.HEEL)])
    >>> t = np.array([0, 400_000_000, 1_000_000_000])
    >>> strip.add(Series("aft", Quantity.HEEL, t, np.array([1.0, 2.0, 3.0]), "deg", np.zeros(3, np.uint16)))
    >>> strip.rows(0, 2)
    [[10000, 20000], [30000, 30000]]
    """

    def __init__(self, lanes: list[Lane]) -> None:
        self.lanes = lanes
        self._place = {(lane.station, lane.quantity): n for n, lane in enumerate(lanes)}
        self._low: NDArray[np.float64] = np.full((len(lanes), KEEP), np.inf)
        self._high: NDArray[np.float64] = np.full((len(lanes), KEEP), -np.inf)
        self._bucket: NDArray[np.int64] = np.full((len(lanes), KEEP), EMPTY, dtype=np.int64)

    def clear(self) -> None:
        """Forget everything."""
        self._bucket[:] = EMPTY

    def add(self, series: Series) -> None:
        """Take in new readings of one channel; a channel that is not drawn is passed over."""
        lane = self._place.get((series.station, series.quantity))
        good = np.isfinite(series.value)
        if lane is None or not good.any():
            return
        bucket = series.time_ns[good] // BUCKET_NS
        value = series.value[good]
        first = np.flatnonzero(np.diff(bucket, prepend=bucket[0] - 1))
        low = np.minimum.reduceat(value, first)
        high = np.maximum.reduceat(value, first)
        number = bucket[first]
        recent = number > number.max() - KEEP
        number, low, high = number[recent], low[recent], high[recent]
        slot = number % KEEP
        fresh = self._bucket[lane, slot] != number
        self._low[lane, slot[fresh]] = np.inf
        self._high[lane, slot[fresh]] = -np.inf
        self._bucket[lane, slot] = number
        np.minimum.at(self._low[lane], slot, low)
        np.maximum.at(self._high[lane], slot, high)

    def rows(self, start: int, stop: int) -> list[list[int | None]]:
        """Give buckets ``start`` up to ``stop`` (running numbers of seconds since 1970) for the wire.

        Returns
        -------
        One list a bucket: low and high of every lane in order, in steps of ``STEP``; None where there is nothing.
        """
        start = max(start, stop - KEEP)
        if stop <= start:
            return []
        number = np.arange(start, stop)
        slot = number % KEEP
        out = np.empty((number.size, 2 * len(self.lanes)))
        for n, lane in enumerate(self.lanes):
            there = self._bucket[n, slot] == number
            step = STEP[lane.quantity]
            out[:, 2 * n] = np.where(there, np.round(self._low[n, slot] / step), np.nan)
            out[:, 2 * n + 1] = np.where(there, np.round(self._high[n, slot] / step), np.nan)
        return [[None if v != v else int(v) for v in row] for row in out.tolist()]
