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

from logger.archive.layout import RunInfo
from logger.archive.pieces import Piece, each_piece, load_each
from logger.archive.reader import WORKERS, channel_pieces, read_channel, runs_of
from logger.archive.stretch import Int, Part, Span, at_their_own_time, columns_for, cut, never_back, touches
from logger.archive.sums import Sums, joined_sums, piece_sums
from logger.archive.timing import Arrivals, Timing, strictly_increasing, tell
from logger.records import Quantity, Series

EVERY_NS = 250_000_000
"""Length of a mean outside the spans, ns: a thirtieth of a roll of 8 s."""
AROUND_NS = 10_000_000_000
"""Every reading is kept so far outside a span too, ns, so that its first and last are judged among neighbours."""
FAST_HZ = 16.0
"""Slower channels are read whole: nothing would be gained."""

Key = tuple[Path, int, int, int]


@dataclass(frozen=True)
class Thinned:
    """One channel: readings with repaired times inside the spans, means outside."""

    series: Series
    count: Int
    """(n,) readings behind each value; empty where the channel was read whole."""


def longer_than(
    rows: int,
    record: Path,
    quantities: Collection[Quantity],
    stop_ns: int | None = None,
    runs: Sequence[str | RunInfo] | None = None,
) -> bool:
    """Whether a record holds more readings of some quantities, up to about ``stop_ns`` (UTC ns); none is read."""
    for run in runs_of(record, runs):
        for piece in each_piece(run):
            if piece.quantity in quantities and (stop_ns is None or piece.first_ns < stop_ns):
                rows -= piece.rows
            if rows < 0:
                return True
    return False


def read_thinned(
    record: Path, spans: Sequence[Span], quantities: Collection[Quantity], every_ns: int = EVERY_NS
) -> list[Thinned]:
    """Read every channel of a record once, the fast ones of some quantities thinned; see `ThinnedRecord.read`."""
    return ThinnedRecord(record, quantities, every_ns).read(spans)


class ThinnedRecord:
    """A record read thinned, again and again: for other spans, or as it grows.

    Means of sealed pieces are made once and kept; with ``keep`` the readings of spans are kept as well.

    Parameters
    ----------
    record : ``record/`` of a test folder.
    quantities : thinned where their channels are faster than `FAST_HZ`.
    runs : only these runs; None for all.
    """

    def __init__(
        self,
        record: Path,
        quantities: Collection[Quantity],
        every_ns: int = EVERY_NS,
        *,
        runs: Sequence[str | RunInfo] | None = None,
        keep: bool = False,
    ) -> None:
        self.record, self.quantities, self.every_ns, self.runs, self.keep = record, quantities, every_ns, runs, keep
        self._sums: dict[Key, Sums] = {}
        self._kept: dict[tuple[Span, tuple[Key, ...]], tuple[Part, Timing]] = {}

    def read(self, spans: Sequence[Span], stop_ns: int | None = None, together: int = 1) -> list[Thinned]:
        """Read every channel, every reading inside the spans, means outside.

        Outside the spans a mean stands at the middle of its interval by time of arrival where arrivals are in order and
        without silence, by repaired time elsewhere; readings that are suspect, duplicate, saturated or no number do not
        enter it.

        Parameters
        ----------
        spans : (start, stop) UTC ns, in which every reading is wanted.
        stop_ns : UTC ns, up to which the record counts; None for all of it.
        together : so many intervals make one mean.

        Returns
        -------
        list of Thinned in order of station and quantity, times strictly increasing.
        """
        wanted = _merged([(start - AROUND_NS, stop + AROUND_NS) for start, stop in spans])
        found = []
        channels = [
            [piece for piece in pieces if stop_ns is None or piece.first_ns < stop_ns or piece.late]
            for pieces in channel_pieces(self.record, self.runs)
        ]
        with ThreadPoolExecutor(max_workers=WORKERS) as pool:
            self._sum_up(pool, [piece for pieces in channels if self._fast(pieces) for piece in pieces], wanted)
            for pieces in channels:
                if self._fast(pieces):
                    one = self._thinned(pool, pieces, wanted, together)
                elif pieces:
                    one = Thinned(read_channel(pool, pieces)[0], np.zeros(0, dtype=np.int64))
                else:
                    continue
                found.append(
                    one if stop_ns is None else _until(one, _last(one, wanted, stop_ns, self.every_ns * together))
                )
        return [one for one in found if len(one.series)]

    def _fast(self, pieces: list[Piece]) -> bool:
        return bool(pieces) and pieces[0].quantity in self.quantities and _rate(pieces) > FAST_HZ

    def _sum_up(self, pool: ThreadPoolExecutor, pieces: list[Piece], spans: list[Span]) -> None:
        """Sum up sealed pieces that no span needs, each segment opened once."""
        segments: dict[Path, list[Piece]] = {}
        for piece in pieces:
            if piece.group >= 0 and _key(piece) not in self._sums and not any(touches(piece, span) for span in spans):
                segments.setdefault(piece.path, []).append(piece)

        def summed(mine: list[Piece]) -> dict[Key, Sums]:
            return {
                _key(piece): piece_sums(piece, columns, never_back(columns["time"]), self.every_ns)
                for piece, columns in load_each(mine, _sparing)
            }

        for made in pool.map(summed, segments.values()):
            self._sums.update(made)

    def _thinned(self, pool: ThreadPoolExecutor, pieces: list[Piece], spans: list[Span], together: int) -> Thinned:
        near: dict[tuple[str, Span], list[Piece]] = {}
        for span in spans:
            for piece in pieces:
                if touches(piece, span):
                    near.setdefault((piece.run, span), []).append(piece)
        kept = {place: self._kept.get((place[1], _keys(mine))) for place, mine in near.items()}
        missing = [place for place, found in kept.items() if found is None]
        looks = list(pool.map(lambda piece: self._look(piece, [s for r, s in missing if r == piece.run]), pieces))
        cuts: dict[tuple[str, Span], list[Arrivals]] = {}
        for piece, (_, mine) in zip(pieces, looks, strict=True):
            for span, arrivals in mine.items():
                cuts.setdefault((piece.run, span), []).append(arrivals)
        for place, made in zip(cuts, pool.map(lambda c: at_their_own_time(c[1], c[0][1]), cuts.items()), strict=True):
            kept[place] = made
            if self.keep and all(piece.group >= 0 for piece in near[place]):
                self._kept[place[1], _keys(near[place])] = made
        means = _means(joined_sums([sums for sums, _ in looks], together), spans, self.every_ns * together)
        found = [one for one in kept.values() if one is not None]
        return _joined(pieces, found, means, self.every_ns * together)

    def _look(self, piece: Piece, spans: list[Span]) -> tuple[Sums, dict[Span, Arrivals]]:
        """Sum up a piece, unless that was done, and cut out what belongs to the spans."""
        spans = [span for span in spans if touches(piece, span)]
        sums = self._sums.get(_key(piece))
        if sums is not None and not spans:
            return sums, {}
        columns = piece.load(columns_for(piece) if spans else _sparing(piece))
        ordered = never_back(columns["time"])
        if sums is None:
            sums = piece_sums(piece, columns, ordered, self.every_ns)
            if piece.group >= 0:
                self._sums[_key(piece)] = sums
        cuts = {span: cut(piece, columns, span, ordered) for span in spans}
        return sums, {span: found for span, found in cuts.items() if found is not None}


def _joined(pieces: list[Piece], kept: list[tuple[Part, Timing]], means: tuple[Part, Int], every_ns: int) -> Thinned:
    parts = _in_turn([part for part, _ in kept], means)
    time, value, flags, count = (np.concatenate(column) for column in zip(*parts, strict=True))
    if not never_back(time):  # runs that overlap, or a mean whose interval began in a span's last moment
        order = np.argsort(time, kind="stable")
        time, value, flags, count = time[order], value[order], flags[order], count[order]
    first, total, several = pieces[0], sum(piece.rows for piece in pieces), means[1].size
    runs = sorted({piece.run for piece in pieces})
    history = [
        f"{total} readings from {'run' if len(runs) == 1 else 'runs'} {', '.join(runs)}",
        f"{time.size - several} of them kept in and about windows, "
        f"the others as {several} means over {every_ns / 1e9:g} s",
    ]
    if kept:
        history.append(tell(tuple(timing for _, timing in kept)))
    series = Series(first.station, first.quantity, strictly_increasing(time), value, first.unit, flags, tuple(history))
    return Thinned(series, count)


def _in_turn(
    kept: list[Part], means: tuple[Part, Int]
) -> list[tuple[Int, NDArray[np.float64], NDArray[np.uint16], Int]]:
    """Readings of the spans and the means between them, in order of time, each with the readings behind it."""
    found, begin, (time, value, flags), many = [], 0, *means
    for part in sorted((part for part in kept if part[0].size), key=lambda part: int(part[0][0])):
        end = int(np.searchsorted(time, part[0][0]))
        found.append((time[begin:end], value[begin:end], flags[begin:end], many[begin:end]))
        found.append((*part, np.ones(part[0].size, dtype=np.int64)))
        begin = end
    return [*found, (time[begin:], value[begin:], flags[begin:], many[begin:])]


def _sparing(piece: Piece) -> list[str]:
    """Columns that sums need."""
    return ["time", "value", *(["flags"] if piece.flagged else [])]


def _key(piece: Piece) -> Key:
    return piece.path, piece.group, piece.rows, piece.last_ns


def _keys(pieces: Sequence[Piece]) -> tuple[Key, ...]:
    """What tells whether the same rows are meant."""
    return tuple(_key(piece) for piece in pieces)


def _merged(spans: list[Span]) -> list[Span]:
    made: list[Span] = []
    for start, stop in sorted(spans):
        if made and start <= made[-1][1]:
            made[-1] = (made[-1][0], max(made[-1][1], stop))
        else:
            made.append((start, stop))
    return made


def _rate(pieces: list[Piece]) -> float:
    lasting = sum(max(piece.last_ns - piece.first_ns, 1) for piece in pieces)
    return sum(piece.rows for piece in pieces) / lasting * 1e9


def _last(one: Thinned, spans: list[Span], stop_ns: int, every_ns: int) -> int:
    """The moment itself where readings are given, else the end of the last whole interval before it."""
    if not one.count.size or any(start <= stop_ns <= stop for start, stop in spans):
        return stop_ns
    return stop_ns // every_ns * every_ns


def _until(one: Thinned, stop_ns: int) -> Thinned:
    series, count = one.series, one.count
    stop = int(np.searchsorted(series.time_ns, stop_ns))
    if stop == len(series):
        return one
    cut_off = Series(
        series.station,
        series.quantity,
        series.time_ns[:stop],
        series.value[:stop],
        series.unit,
        series.flags[:stop],
        series.history,
    )
    return Thinned(cut_off, count[:stop])


def _means(sums: Sums, spans: list[Span], every_ns: int) -> tuple[Part, Int]:
    """Means of the intervals that touch no span, and the readings behind each."""
    keep = np.ones(sums.number.size, dtype=bool)
    for start, stop in spans:
        low, high = np.searchsorted(sums.number, [start // every_ns, -(-stop // every_ns)])
        keep[low:high] = False
    time, count = sums.number[keep] * every_ns + every_ns // 2, sums.count[keep]
    return (time, sums.total[keep] / count, np.zeros(time.size, dtype=np.uint16)), count
