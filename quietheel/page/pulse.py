"""How each channel is doing right now: its value, its mean, its true rate, how long it has been silent."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from logger.records import CANONICAL_UNIT, Flag, Quantity, Series

KEEP_S = 960.0
"""Seconds of readings kept: what `dsp.live.LiveView` looks at, and a little more."""
RATE_S = 10.0
"""Seconds over which the rate is counted and the shown value averaged."""
_SUSPECT = int(Flag.SUSPECT | Flag.SATURATED)


@dataclass(frozen=True)
class Beatings:
    """One channel over the last `RATE_S` seconds."""

    value: float
    """Last value, canonical unit; NaN if there never was one."""
    mean: float
    """Mean of the last `RATE_S` seconds; NaN if silent."""
    highest: float
    rate_hz: float
    silent_s: float
    """Since the last reading; infinite if there never was one."""
    last_ns: int
    suspect: float
    """Part of the readings that the device or the logger marked."""
    repeated_s: float
    """For how long the value has not changed in the last digit."""


class Pulse:
    """The last minutes of one channel as recorded, with what its calibration makes of them."""

    def __init__(self, station: str, quantity: Quantity, zero: float = 0.0, scale: float = 1.0) -> None:
        self.station = station
        self.quantity = quantity
        self.zero, self.scale = zero, scale
        self._time: NDArray[np.int64] = np.empty(0, dtype=np.int64)
        self._value: NDArray[np.float64] = np.empty(0)
        self._flags: NDArray[np.uint16] = np.empty(0, dtype=np.uint16)
        self._changed_ns = 0

    def clear(self) -> None:
        """Forget everything."""
        self.__init__(self.station, self.quantity, self.zero, self.scale)  # type: ignore[misc]

    def add(self, series: Series) -> None:
        """Take in new readings; they must follow the ones before."""
        if not len(series):
            return
        self._note_change(series)
        time = np.concatenate([self._time, series.time_ns])
        keep = int(np.searchsorted(time, int(series.time_ns[-1]) - int(KEEP_S * 1e9)))
        self._time = time[keep:]
        self._value = np.concatenate([self._value, series.value])[keep:]
        self._flags = np.concatenate([self._flags, series.flags.astype(np.uint16)])[keep:]

    def series(self) -> Series:
        """Everything kept, as recorded."""
        unit = CANONICAL_UNIT[self.quantity]
        return Series(self.station, self.quantity, self._time, self._value, unit, self._flags)

    def true(self, value: NDArray[np.float64]) -> NDArray[np.float64]:
        """Zero and scale of the station applied."""
        return (value - self.zero) * self.scale

    def at(self, now_ns: int) -> Beatings:
        """Say how the channel is at ``now_ns``."""
        if not self._time.size:
            return Beatings(np.nan, np.nan, np.nan, 0.0, np.inf, 0, 0.0, 0.0)
        first = int(np.searchsorted(self._time, now_ns - int(RATE_S * 1e9)))
        recent = self.true(self._value[first:])
        last_ns = int(self._time[-1])
        lived = min(RATE_S, max((now_ns - int(self._time[0])) * 1e-9, 1.0))
        return Beatings(
            value=float(self.true(self._value[-1:])[0]),
            mean=float(np.mean(recent)) if recent.size else np.nan,
            highest=float(np.max(recent)) if recent.size else np.nan,
            rate_hz=recent.size / lived,
            silent_s=max(0.0, (now_ns - last_ns) * 1e-9),
            last_ns=last_ns,
            suspect=float(np.mean(self._flags[first:] & _SUSPECT != 0)) if recent.size else 0.0,
            repeated_s=(last_ns - self._changed_ns) * 1e-9 if self._changed_ns else 0.0,
        )

    def _note_change(self, series: Series) -> None:
        before = self._value[-1] if self._value.size else np.nan
        changes = np.flatnonzero(np.diff(series.value, prepend=before) != 0.0)
        if changes.size:
            self._changed_ns = int(series.time_ns[changes[-1]])
