"""Give the readings of one channel the time at which they were taken; derivation in docs/method-timing.md.

What is stored is never touched. Ways in order of preference, chosen stretch by stretch and said in the history: the
device's own time carried onto the logger's clock; counting samples of a regular station, whether they come one by one
or by the handful; in order between the earliest arrivals, where some are missing and cannot be counted. An irregular
station keeps its times of arrival.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from logger.archive.arrow import NO_TIME
from logger.archive.beat import nominal_period
from logger.archive.counting import by_beat
from logger.archive.timefit import Fitted, Way, by_device
from logger.records import Flag

Int = NDArray[np.int64]
LATE_S = 1.0
"""A reading that arrives so much later than its neighbours of the same device time is late."""
MOST_REPEATED = 0.25
"""Share of readings sent twice up to which they are taken for that."""
MOST_ALIKE = 0.5
"""Share of readings a beat apart that are alike, beyond which it says nothing that two at once are."""
BY_CHANCE = 1e-4
"""Chance that as many are alike who come at once, if they are alike as often as readings a beat apart."""
FEWEST = 20
"""Below so many readings nothing is estimated."""


@dataclass(frozen=True)
class Arrivals:
    """Readings of one channel of one run as they arrived."""

    host_ns: Int
    """(n,) arrival, UTC ns."""
    device_ns: Int | None
    """(n,) device time, UTC ns, `NO_TIME` where there is none; None where the station never sends one."""
    value: NDArray[np.float64]
    flags: NDArray[np.uint16]
    sequence: Int | None = None
    """(n,) running number; used where samples come in bursts."""


@dataclass(frozen=True)
class Timing:
    """What was found about the times of one stretch of one channel."""

    way: Way
    rate_hz: float
    """True mean rate of the station; by earliest arrivals, that of the readings that came; NaN where irregular."""
    rate_u_hz: float
    """Standard uncertainty of it."""
    delay_s: float
    """Typical (median) delay beyond the shortest one seen; the shortest cannot be told from an offset of the clock."""
    jitter_s: float
    """Spread of the delay: half the distance between its 16 % and 84 % quantiles."""
    readings: int
    duplicates: int
    """Dropped."""
    reordered: int
    """Readings that came after a younger one."""
    late: int
    """Readings set back to their own time by more than a second."""
    lost: int
    """Samples missing inside the stretch, by the station's own beat; 0 where that cannot be told."""


@dataclass(frozen=True)
class Repaired:
    """Times after repair, with the rows kept, in time order."""

    time_ns: Int
    rows: NDArray[np.intp]
    """Which rows of the arrivals, in the order of ``time_ns``."""
    timing: Timing


def repaired(arrivals: Arrivals) -> Repaired:
    """Repair the times of one stretch (minutes to an hour) of one channel.

    Parameters
    ----------
    arrivals : in order of arrival.

    Returns
    -------
    Repaired; times strictly increasing. A reading is dropped only as a duplicate.

    Example
    -------
    >>> beat = np.arange(200, dtype=np.int64) * 100_000_000
    >>> late = np.random.default_rng(1).exponential(8e6, 200).astype(np.int64)
    >>> n = np.zeros(200, dtype=np.uint16)
    >>> found = repaired(Arrivals(beat + late, None, np.arange(200.0), n))
    >>> round(found.timing.rate_hz, 2), bool(np.abs(np.diff(found.time_ns) - 1e8).max() < 1e6)
    (10.0, True)
    """
    rows = _without_duplicates(arrivals)
    duplicates = arrivals.host_ns.size - rows.size
    host = arrivals.host_ns[rows]
    device = None if arrivals.device_ns is None else arrivals.device_ns[rows]
    way: Way = "arrival"
    fitted: Fitted | None = None
    if rows.size >= FEWEST:
        period = nominal_period(host)
        if device is not None and (device != NO_TIME).all():
            fitted, way = by_device(host, device, period), "device time"
        if fitted is None and period > 0:
            again = _without_repeats(host, arrivals.value[rows], period)
            if again.size < rows.size:
                duplicates += rows.size - again.size
                rows, host = rows[again], host[again]
                period = nominal_period(host)
            sequence = None if arrivals.sequence is None else arrivals.sequence[rows]
            fitted, way = by_beat(host, sequence, period) if period > 0 else (None, "arrival")
    if fitted is None:
        fitted, way = Fitted(host, float("nan"), float("nan"), 0), "arrival"
    return _in_order(fitted, way, host, rows, duplicates)


def as_arrived(arrivals: Arrivals) -> Repaired:
    """Leave the times of arrival; only rows marked as duplicates go, and what came out of order is sorted."""
    host, rows = arrivals.host_ns, np.arange(arrivals.host_ns.size)
    if arrivals.flags.any():
        rows = np.flatnonzero((arrivals.flags & int(Flag.DUPLICATE)) == 0)
        host = host[rows]
    reordered = int((np.diff(host) < 0).sum())
    if reordered:
        order = np.argsort(host, kind="stable")
        host, rows = host[order], rows[order]
    dropped = arrivals.host_ns.size - rows.size
    nan = float("nan")
    timing = Timing("arrival", nan, nan, 0.0, 0.0, rows.size, dropped, reordered, 0, 0)
    return Repaired(strictly_increasing(host), rows, timing)


def _in_order(fitted: Fitted, way: Way, host: Int, rows: NDArray[np.intp], duplicates: int) -> Repaired:
    time = fitted.time_ns
    reordered = int((time < np.maximum.accumulate(time)).sum()) if time.size else 0
    delay = (host - time) / 1e9
    if reordered:
        order = np.argsort(time, kind="stable")
        time, rows = time[order], rows[order]
    time = strictly_increasing(time)
    # Every tenth delay tells the spread of a long stretch as well as all of them.
    some = delay[:: max(1, delay.size // 5000)]
    low, middle, high = np.quantile(some, [0.16, 0.5, 0.84]) if some.size else (0.0,) * 3
    shortest = delay.min(initial=middle)
    return Repaired(
        time,
        rows,
        Timing(
            way=way,
            rate_hz=fitted.rate_hz,
            rate_u_hz=fitted.rate_u_hz,
            delay_s=float(middle - shortest),
            jitter_s=float(high - low) / 2.0,
            readings=int(time.size),
            duplicates=duplicates,
            reordered=reordered,
            late=int((delay - middle > LATE_S).sum()) if way != "arrival" else 0,
            lost=fitted.lost,
        ),
    )


def strictly_increasing(time: Int) -> Int:
    """Move equal times on by 1 ns each, so that none is lost.

    >>> strictly_increasing(np.array([5, 5, 5, 9])).tolist()
    [5, 6, 7, 9]
    """
    if time.size < 2 or bool((time[1:] > time[:-1]).all()):
        return time
    count = np.arange(time.size)
    moved: Int = np.maximum.accumulate(time - count) + count
    return moved


def tell(timing: tuple[Timing, ...]) -> str:
    """One line for the history of a series.

    >>> t = Timing("device time", 10.002, 0.0001, 0.012, 0.004, 600, 3, 2, 0, 1)
    >>> tell((t,))
    'times by device time at 10.002 Hz, jitter of 4 ms removed; 3 duplicates dropped, 2 put in order, 1 missing'
    """
    total = sum(t.readings for t in timing)
    ways = sorted({t.way for t in timing})
    rates = [(t.rate_hz, t.readings) for t in timing if np.isfinite(t.rate_hz)]
    words = "times by " + " and ".join(ways)
    if rates:
        words += f" at {np.average([r for r, _ in rates], weights=[n for _, n in rates]):.5g} Hz"
        jitter = np.average([t.jitter_s for t in timing], weights=[max(t.readings, 1) for t in timing])
        words += f", jitter of {jitter * 1e3:.3g} ms removed"
    counts = {
        "duplicates dropped": sum(t.duplicates for t in timing),
        "put in order": sum(t.reordered for t in timing),
        "late ones set back to their own time": sum(t.late for t in timing),
        "missing": sum(t.lost for t in timing),
    }
    said = ", ".join(f"{number} {what}" for what, number in counts.items() if number)
    return f"{words}; {said or f'nothing wrong with {total} readings'}"


def _without_duplicates(arrivals: Arrivals) -> NDArray[np.intp]:
    keep = (arrivals.flags & int(Flag.DUPLICATE)) == 0
    device = arrivals.device_ns
    if device is not None and device.size > 1:
        order = np.lexsort((np.arange(device.size), arrivals.value, device)) if _repeats(device) else None
        if order is not None:
            same = (
                (np.diff(device[order]) == 0) & (np.diff(arrivals.value[order]) == 0) & (device[order][1:] != NO_TIME)
            )
            # A coarse device clock repeats by itself; only a clock that separates samples tells duplicates.
            if np.mean(np.diff(device[order]) == 0) < 0.3:
                keep[order[1:][same]] = False
    return np.flatnonzero(keep)


def _repeats(device: Int) -> bool:
    steps = np.diff(device)
    return not bool((steps > 0).all())


def _without_repeats(host: Int, value: NDArray[Any], period: float) -> NDArray[np.intp]:
    """Rows of a steady station without lines that came twice: same value within a fifth of the beat.

    An adapter that hands on several readings at a time gives them one stamp, and coarse ones are often alike. They are
    no repeats: among them are others that differ, they are too many, or so many are alike by chance.
    """
    steps = np.diff(host)
    close, alike = steps < 0.2 * period, np.diff(value) == 0
    repeat = close & alike
    if not close.any() or float(np.mean(alike[close])) < 0.9 or float(np.mean(repeat)) > MOST_REPEATED:
        return np.arange(host.size)
    usual = (alike[~close].sum() + 1.0) / (np.sum(~close) + 1.0)
    if usual > MOST_ALIKE or alike[close].sum() * np.log(usual) > np.log(BY_CHANCE):
        return np.arange(host.size)
    steady = steps[~repeat]
    if not repeat.any() or np.mean(np.abs(steady / period - np.round(steady / period)) < 0.25) < 0.9:
        return np.arange(host.size)
    return np.flatnonzero(np.concatenate([[True], ~repeat]))
