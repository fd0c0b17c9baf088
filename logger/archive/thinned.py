"""Read a long, fast day: every reading inside the spans that count, short means elsewhere.

Eighteen hours of six stations at 100 Hz are 39 million readings, of which a mean heel needs those in its windows; the
record between them tells where the heel stood still and what slow motion is like, for which means over a quarter of a
second say the same. What this costs in memory and time is that of the windows, not that of the day.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from logger.archive.arrow import NO_TIME
from logger.archive.means import interval_sums
from logger.archive.pieces import Piece
from logger.archive.reader import WORKERS, channel_pieces, read_channel
from logger.archive.timing import Arrivals, Timing, repaired, strictly_increasing, tell
from logger.records import Flag, Quantity, Series

EVERY_NS = 250_000_000
"""Length of a mean outside the spans, ns: a thirtieth of a roll of 8 s."""
AROUND_NS = 10_000_000_000
"""Every reading is kept so far outside a span too, ns, so that its first and last are judged among neighbours."""
MARGIN_NS = 45_000_000_000
"""Read on either side of a span, ns: times are repaired in blocks of 30 s."""
FAST_HZ = 16.0
"""Slower channels are read whole: nothing would be gained."""

Int = NDArray[np.int64]
Part = tuple[Int, NDArray[np.float64], NDArray[np.uint16], Int]
"""Times, values, flags, and readings behind each value."""
_LEFT_OUT = int(Flag.SUSPECT | Flag.DUPLICATE | Flag.SATURATED)


@dataclass(frozen=True)
class Thinned:
    """One channel: readings with repaired times inside the spans, means outside."""

    series: Series
    count: Int
    """(n,) readings behind each value; empty where the channel was read whole."""


@dataclass(frozen=True)
class _Seen:
    """What one piece gives."""

    arrivals: tuple[Arrivals | None, ...]
    """For each span, what arrived in it or may belong to it."""
    first: int
    sums: NDArray[np.float64]
    count: Int
    """Of the intervals from number ``first`` on."""


def total_rows(record: Path, quantities: Collection[Quantity]) -> int:
    """Readings of some quantities in a record, without reading them."""
    return sum(piece.rows for pieces in channel_pieces(record) for piece in pieces if piece.quantity in quantities)


def read_thinned(
    record: Path, spans: Sequence[tuple[int, int]], quantities: Collection[Quantity], every_ns: int = EVERY_NS
) -> list[Thinned]:
    """Read every channel of a record, the fast ones of some quantities thinned.

    Outside the spans a mean stands at the middle of its interval by time of arrival where arrivals are in order and
    without silence, by repaired time elsewhere; readings that are suspect, duplicate, saturated or no number do not
    enter it.

    Parameters
    ----------
    record : ``record/`` of a test folder.
    spans : (start, stop) UTC ns, in which every reading is wanted.
    quantities : thinned where their channels are faster than `FAST_HZ`.

    Returns
    -------
    list of Thinned in order of station and quantity, times strictly increasing.
    """
    kept = _joined([(start - AROUND_NS, stop + AROUND_NS) for start, stop in spans])
    found = []
    with ThreadPoolExecutor(max_workers=WORKERS) as pool:
        for pieces in channel_pieces(record):
            if pieces[0].quantity in quantities and _rate(pieces) > FAST_HZ:
                found.append(_thinned(pool, pieces, kept, every_ns))
            else:
                series, _ = read_channel(pool, pieces)
                found.append(Thinned(series, np.zeros(0, dtype=np.int64)))
    return [one for one in found if len(one.series)]


def _joined(spans: list[tuple[int, int]]) -> list[tuple[int, int]]:
    made: list[tuple[int, int]] = []
    for start, stop in sorted(spans):
        if made and start <= made[-1][1]:
            made[-1] = (made[-1][0], max(made[-1][1], stop))
        else:
            made.append((start, stop))
    return made


def _rate(pieces: list[Piece]) -> float:
    lasting = sum(max(piece.last_ns - piece.first_ns, 1) for piece in pieces)
    return sum(piece.rows for piece in pieces) / lasting * 1e9


def _thinned(pool: ThreadPoolExecutor, pieces: list[Piece], spans: list[tuple[int, int]], every_ns: int) -> Thinned:
    seen = list(pool.map(lambda piece: _look(piece, spans, every_ns), pieces))
    parts: list[Part] = []
    timing: list[Timing] = []
    stretches = []
    for number, span in enumerate(spans):
        for run in dict.fromkeys(piece.run for piece in pieces):
            mine = [s.arrivals[number] for s, piece in zip(seen, pieces, strict=True) if piece.run == run]
            there = [one for one in mine if one is not None]
            if there:
                stretches.append((there, span))
    for part, found in pool.map(lambda stretch: _kept(*stretch), stretches):
        parts.append(part)
        timing.append(found)
    parts.append(_means(seen, spans, every_ns))
    time = np.concatenate([part[0] for part in parts])
    order = np.argsort(time, kind="stable")
    first = pieces[0]
    total, means = sum(piece.rows for piece in pieces), parts[-1][0].size
    runs = sorted({piece.run for piece in pieces})
    history = [
        f"{total} readings from {'run' if len(runs) == 1 else 'runs'} {', '.join(runs)}",
        f"{time.size - means} of them kept in and about windows, the others as {means} means over {every_ns / 1e9:g} s",
    ]
    if timing:
        history.append(tell(tuple(timing)))
    series = Series(
        first.station,
        first.quantity,
        strictly_increasing(time[order]),
        np.concatenate([part[1] for part in parts])[order],
        first.unit,
        np.concatenate([part[2] for part in parts])[order],
        tuple(history),
    )
    return Thinned(series, np.concatenate([part[3] for part in parts])[order])


def _kept(cuts: list[Arrivals], span: tuple[int, int]) -> tuple[Part, Timing]:
    """Every reading of one span, at its own time."""
    together = _together(cuts)
    found = repaired(together)
    low, high = np.searchsorted(found.time_ns, span)
    rows = found.rows[low:high]
    part = (found.time_ns[low:high], together.value[rows], together.flags[rows], np.ones(rows.size, dtype=np.int64))
    return part, found.timing


def _look(piece: Piece, spans: list[tuple[int, int]], every_ns: int) -> _Seen:
    """Cut out what belongs to the spans and sum up the whole piece."""
    near = [
        piece.last_ns >= start - MARGIN_NS and (piece.first_ns < stop + MARGIN_NS or piece.late > 0)
        for start, stop in spans
    ]
    names = ["time", "value", "flags"]
    if any(near):
        names += ["sequence", *(["device_time"] if piece.device_times else [])]
    columns = piece.load(names)
    time, value, flags = columns["time"], columns["value"], columns["flags"]
    ordered = bool((time[1:] >= time[:-1]).all())
    cuts: list[Arrivals | None] = []
    for wanted, (start, stop) in zip(near, spans, strict=True):
        if not wanted:
            cuts.append(None)
            continue
        low, high = start - MARGIN_NS, stop + MARGIN_NS
        part: slice | NDArray[np.intp]
        if ordered and not piece.late:
            begin, end = np.searchsorted(time, [low, high])
            part = slice(int(begin), int(end))
        else:
            inside = (time >= low) & (time < high)
            if piece.late and piece.device_times:
                own = columns["device_time"]
                inside |= (own >= low) & (own < high) & (own != NO_TIME)
            part = np.flatnonzero(inside)
        device = columns["device_time"][part].copy() if piece.device_times else None
        cut = Arrivals(
            time[part].copy(), device, value[part].copy(), flags[part].copy(), columns["sequence"][part].copy()
        )
        cuts.append(cut if cut.host_ns.size else None)
    return _Seen(tuple(cuts), *_summed(piece, time, value, flags, ordered, every_ns))


def _summed(
    piece: Piece, time: Int, value: NDArray[np.float64], flags: NDArray[np.uint16], ordered: bool, every_ns: int
) -> tuple[int, NDArray[np.float64], Int]:
    flagged = bool(flags.any())
    if flagged or piece.late or not ordered or bool((time[1:] - time[:-1] > every_ns).any()):
        # Silences, bursts and late readings: their own times must be found first.
        names = ["time", "value", "flags", "sequence", *(["device_time"] if piece.device_times else [])]
        columns = piece.load(names)
        found = repaired(Arrivals(time, columns.get("device_time"), value, flags, columns["sequence"]))
        time, value, flags = found.time_ns, value[found.rows], flags[found.rows]
    if flagged or not np.isfinite(value.sum()):
        good = np.isfinite(value) & ((flags & _LEFT_OUT) == 0)
        time, value = time[good], value[good]
    if not time.size:
        return 0, np.zeros(0), np.zeros(0, dtype=np.int64)
    return interval_sums(time, value, every_ns)


def _together(cuts: list[Arrivals]) -> Arrivals:
    if len(cuts) == 1:
        return cuts[0]
    device = None
    if any(cut.device_ns is not None for cut in cuts):
        device = np.concatenate(
            [np.full(cut.host_ns.size, NO_TIME) if cut.device_ns is None else cut.device_ns for cut in cuts]
        )
    return Arrivals(
        np.concatenate([cut.host_ns for cut in cuts]),
        device,
        np.concatenate([cut.value for cut in cuts]),
        np.concatenate([cut.flags for cut in cuts]),
        np.concatenate([cut.sequence for cut in cuts if cut.sequence is not None]),
    )


def _means(seen: list[_Seen], spans: list[tuple[int, int]], every_ns: int) -> Part:
    """Means of the intervals that touch no span."""
    some = [one for one in seen if one.count.size]
    number = np.concatenate([one.first + np.flatnonzero(one.count) for one in some] or [np.zeros(0, dtype=np.int64)])
    sums = np.concatenate([one.sums[one.count > 0] for one in some] or [np.zeros(0)])
    count = np.concatenate([one.count[one.count > 0] for one in some] or [np.zeros(0, dtype=np.int64)])
    # An interval in which one piece ends and the next begins has parts in both.
    place, back = np.unique(number, return_inverse=True)
    total, many = np.bincount(back, weights=sums), np.bincount(back, weights=count).astype(np.int64)
    keep = np.ones(place.size, dtype=bool)
    for start, stop in spans:
        low, high = np.searchsorted(place, [start // every_ns, -(-stop // every_ns)])
        keep[low:high] = False
    time = place[keep] * every_ns + every_ns // 2
    return time, total[keep] / many[keep], np.zeros(time.size, dtype=np.uint16), many[keep]
