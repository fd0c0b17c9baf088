"""Follow a record while it is being written: what is new since the last look, for the live view."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from logger.archive.arrow import array_to_numpy
from logger.archive.journal import read_head, read_journal
from logger.archive.layout import JOURNAL_NAME, RunInfo, list_runs, numbered
from logger.archive.schema import channels_of
from logger.records import Quantity


@dataclass(frozen=True)
class Arrived:
    """New readings of one channel, in order of arrival."""

    station: str
    quantity: Quantity
    unit: str
    time_ns: NDArray[np.int64]
    """Arrival, UTC ns."""
    value: NDArray[np.float64]
    flags: NDArray[np.uint16]


@dataclass
class _Place:
    head: bytes = b""
    offset: int = 0


class Tail:
    """Follows the newest run of a record, and goes over to the next one when that starts.

    ``look()`` costs as much as there is new; call it a few times a second. Readings that were sealed before the first
    look are not given again: read them with `read_series`.

    Example
    -------
    ``tail = Tail(Path("merrowby/record")); new = tail.look()``
    """

    def __init__(self, record: Path) -> None:
        self.record = record
        self.run: RunInfo | None = None
        """Run being followed; None until there is one."""
        self._places: dict[Path, _Place] = {}

    def look(self) -> list[Arrived]:
        """Readings written since the last look; an empty list where nothing is new."""
        runs = list_runs(self.record)
        if not runs:
            return []
        self.run = runs[-1]
        rows: dict[tuple[str, Quantity, str], list[tuple[NDArray[np.int64], ...]]] = {}
        # The run before is looked at once more: its last batches may have come between two looks.
        for run in runs[-2:]:
            if run is not runs[-1] and not any(place.parent == run.folder for place in self._places):
                continue
            for path in numbered(run.folder, JOURNAL_NAME).values():
                self._read(path, rows)
        return [
            Arrived(
                *key,
                np.concatenate([part[0] for part in parts]),
                np.concatenate([part[1] for part in parts]).astype(np.float64),
                np.concatenate([part[2] for part in parts]).astype(np.uint16),
            )
            for key, parts in rows.items()
        ]

    def _read(self, path: Path, rows: dict[tuple[str, Quantity, str], list[tuple[NDArray[np.int64], ...]]]) -> None:
        place = self._places.setdefault(path, _Place())
        try:
            if path.stat().st_size <= place.offset:
                return
            if not place.head:
                place.head = read_head(path)
                if not place.head:
                    return
            part = read_journal(path, place.offset, place.head)
        except FileNotFoundError:
            return
        place.offset = part.next_offset
        for batch in part.batches:
            channels = channels_of(part.schema.metadata)
            numbers = array_to_numpy(batch.column("channel"))
            times = array_to_numpy(batch.column("time"))
            values = array_to_numpy(batch.column("value"))
            flags = array_to_numpy(batch.column("flags"))
            for number in np.unique(numbers):
                mine = numbers == number
                channel = channels[number]
                rows.setdefault((channel.station, channel.quantity, channel.unit), []).append(
                    (times[mine], values[mine], flags[mine])
                )
