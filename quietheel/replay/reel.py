"""A record wound off in the order in which it was taken, some minutes of it in memory at a time."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np

from logger.archive.pieces import Piece
from logger.archive.reader import WORKERS, channel_pieces
from logger.archive.stretch import read_stretch
from logger.records import Series

CHUNK_NS = 600_000_000_000
"""Length of what is read together, ns."""
KEPT = 3
"""Chunks in memory: what is shown spans two, and one more where the clock was turned back."""


class Reel:
    """Readings of a record between two moments, their times repaired; any part of it, at the cost of that part.

    Raises nothing for an empty record: then ``channels`` is empty.
    """

    def __init__(self, record: Path, runs: Sequence[str] | None = None) -> None:
        self.channels: list[list[Piece]] = channel_pieces(record, runs)
        pieces = [piece for channel in self.channels for piece in channel]
        self.first_ns = min((piece.first_ns for piece in pieces), default=0)
        self.last_ns = max((piece.last_ns for piece in pieces), default=0)
        """First and last arrival, UTC ns."""
        self._chunks: dict[int, tuple[Series, ...]] = {}

    def between(self, after_ns: int, stop_ns: int) -> tuple[Series, ...]:
        """Readings with ``after_ns < time <= stop_ns``, a part of each channel that has any, in order."""
        found: dict[int, list[Series]] = {}
        for number in range(after_ns // CHUNK_NS, stop_ns // CHUNK_NS + 1):
            for place, one in enumerate(self._chunk(number)):
                low, high = (int(n) for n in np.searchsorted(one.time_ns, [after_ns, stop_ns], side="right"))
                if high > low:
                    found.setdefault(place, []).append(_part(one, low, high))
        return tuple(_together(found[place]) for place in sorted(found))

    def _chunk(self, number: int) -> tuple[Series, ...]:
        if number not in self._chunks:
            span = (number * CHUNK_NS, (number + 1) * CHUNK_NS)
            with ThreadPoolExecutor(max_workers=WORKERS) as pool:
                parts = list(pool.map(lambda pieces: read_stretch(pieces, span), self.channels))
            while len(self._chunks) >= KEPT:
                del self._chunks[next(iter(self._chunks))]
            self._chunks[number] = tuple(
                Series(pieces[0].station, pieces[0].quantity, time, value, pieces[0].unit, flags)
                for pieces, (time, value, flags) in zip(self.channels, parts, strict=True)
            )
        return self._chunks[number]


def _part(one: Series, low: int, high: int) -> Series:
    return Series(one.station, one.quantity, one.time_ns[low:high], one.value[low:high], one.unit, one.flags[low:high])


def _together(parts: list[Series]) -> Series:
    if len(parts) == 1:
        return parts[0]
    first = parts[0]
    time, value, flags = (np.concatenate([getattr(p, name) for p in parts]) for name in ("time_ns", "value", "flags"))
    return Series(first.station, first.quantity, time, value, first.unit, flags)
