"""The rows of one channel in one place: a row group of a sealed segment, or its rows of an open journal."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from config.errors import bad
from logger.archive.arrow import NO_TIME, Column, to_numpy
from logger.archive.journal import JournalPart, head_of, read_journal
from logger.archive.layout import JOURNAL_NAME, SEGMENT_NAME, RunInfo, numbered
from logger.archive.schema import channels_of
from logger.records import Quantity


@dataclass(frozen=True)
class Piece:
    """Some rows of one channel, in order of arrival, not loaded yet unless they come from a journal."""

    station: str
    quantity: Quantity
    unit: str
    run: str
    rows: int
    first_ns: int
    """Earliest arrival, UTC ns."""
    last_ns: int
    """Latest arrival, UTC ns."""
    device_times: int
    """Rows that carry a device time."""
    late: int
    """Rows that arrived long after their device time."""
    path: Path
    group: int = -1
    """Row group, or -1 for a journal."""
    loaded: dict[str, Column] = field(default_factory=dict)
    metadata: pq.FileMetaData | None = field(default=None, repr=False, compare=False)
    """Of the segment, as it was read when the piece was found."""

    @property
    def flagged(self) -> bool:
        """Whether any reading may carry a flag; a segment's own statistics say so without reading the column."""
        if self.metadata is None:
            return True
        group = self.metadata.row_group(self.group)
        for column in map(group.column, range(group.num_columns)):
            if column.path_in_schema == "flags":
                known = column.statistics
                return not (known is not None and known.has_min_max and known.max == 0)
        return True

    def load(self, names: Sequence[str]) -> dict[str, Column]:
        """Columns by name as in `logger.archive.schema.COLUMNS`; times as int64, `NO_TIME` where there is none.

        Raises BadInput where a page's checksum does not hold: a wrong row would pass for a reading.
        """
        if self.group < 0:
            return {name: self.loaded[name] for name in names}
        [(_, columns)] = load_each([self], lambda _: names)
        return columns


def load_each(
    pieces: Sequence[Piece], names: Callable[[Piece], Sequence[str]]
) -> Iterator[tuple[Piece, dict[str, Column]]]:
    """Load pieces of one sealed segment one after another, the file opened once; see `Piece.load`."""
    piece = pieces[0]
    try:
        with pq.ParquetFile(
            piece.path, metadata=piece.metadata, pre_buffer=False, page_checksum_verification=True
        ) as file:
            for piece in pieces:
                table = file.read_row_group(piece.group, columns=list(names(piece)), use_threads=False)
                yield piece, {name: to_numpy(table.column(name)) for name in table.column_names}
    except FileNotFoundError:
        raise
    except (pa.ArrowException, OSError):
        where = f"{piece.run}/{piece.path.name}, {piece.quantity} of {piece.station}"
        wanted = "what was sealed, and it is damaged (`quietheel verify`); moved elsewhere, the rest is read without it"
        raise bad("record", where, None, wanted) from None


def pieces_of(run: RunInfo) -> list[Piece]:
    """All pieces of a run in order: sealed segments, then what is still in journals, up to the last whole batch.

    Safe while the run is being written: journals are looked at first, and a segment sealed in between replaces its
    journal. A segment that cannot be opened replaces nothing.
    """
    return list(each_piece(run))


def each_piece(run: RunInfo) -> Iterator[Piece]:
    """Like `pieces_of`, one after another; what is not asked for is not opened."""
    from_journals = {n: _journal_pieces(run, path) for n, path in numbered(run.folder, JOURNAL_NAME).items()}
    segments = numbered(run.folder, SEGMENT_NAME)
    for number in sorted(from_journals | segments):
        sealed = _segment_pieces(run, segments[number]) if number in segments else None
        yield from from_journals.get(number, []) if sealed is None else sealed


def opens(run: RunInfo, segment: Path) -> bool:
    """Whether a sealed segment says what it holds; after a power cut on a poor disk it may be empty or all zeros."""
    return _segment_pieces(run, segment) is not None


def _segment_pieces(run: RunInfo, path: Path) -> list[Piece] | None:
    try:
        metadata = pq.read_metadata(path)
        units = {(c.station, c.quantity): c.unit for c in channels_of(metadata.metadata)}
        groups = json.loads(metadata.metadata[b"quietheel.groups"])
    except (pa.ArrowException, OSError, KeyError, ValueError):
        # `verify` says that this segment is damaged; its journal, where it is still there, and the others count.
        return None
    return [
        Piece(
            station=group["station"],
            quantity=Quantity(group["quantity"]),
            unit=units[group["station"], Quantity(group["quantity"])],
            run=run.name,
            rows=group["rows"],
            first_ns=group["first_ns"],
            last_ns=group["last_ns"],
            device_times=group["device_times"],
            late=group["late"],
            path=path,
            group=number,
            metadata=metadata,
        )
        for number, group in enumerate(groups)
    ]


def open_journal(run: RunInfo, path: Path) -> JournalPart:
    """Read a journal of a run; where its head is lost, the start record says what its batches hold."""
    part = read_journal(path)
    number = JOURNAL_NAME.match(path.name)
    if part.schema is None and part.damage and run.channels and number:
        part = read_journal(path, head=head_of(run.channels, run.name, int(number[1])))
    return part


def _journal_pieces(run: RunInfo, path: Path) -> list[Piece]:
    try:
        part = open_journal(run, path)
    except OSError:
        return []
    if part.schema is None or not part.rows:
        return []
    channels = channels_of(part.schema.metadata)
    table = pa.Table.from_batches(part.batches, schema=part.schema)
    columns = {name: to_numpy(table.column(name)) for name in table.column_names}
    numbers = columns.pop("channel")
    found = []
    for number in np.unique(numbers):
        rows = np.flatnonzero(numbers == number)
        loaded = {name: column[rows] for name, column in columns.items()}
        found.append(
            Piece(
                station=channels[number].station,
                quantity=channels[number].quantity,
                unit=channels[number].unit,
                run=run.name,
                rows=rows.size,
                first_ns=int(loaded["time"].min()),
                last_ns=int(loaded["time"].max()),
                device_times=int((loaded["device_time"] != NO_TIME).sum()),
                late=int(((loaded["flags"] & 2) != 0).sum()),
                path=path,
                loaded=loaded,
            )
        )
    return found


def select(
    pieces: Iterable[Piece],
    *,
    quantity: str | None = None,
    station: str | None = None,
    start_ns: int | None = None,
    stop_ns: int | None = None,
) -> list[Piece]:
    """Pieces that may hold rows of ``[start_ns, stop_ns)``; one with late rows reaches back without limit."""
    return [
        piece
        for piece in pieces
        if (quantity is None or piece.quantity == quantity)
        and (station is None or piece.station == station)
        and (start_ns is None or piece.last_ns >= start_ns)
        and (stop_ns is None or piece.first_ns < stop_ns or piece.late)
    ]
