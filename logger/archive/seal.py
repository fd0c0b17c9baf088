"""Turn a finished journal into a sealed Parquet segment: one row group a channel, checked before the journal goes."""

from __future__ import annotations

import contextlib
import functools
import json
import time
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from config.files import digest, put_in_place
from logger.archive.arrow import from_numpy, strings, to_numpy
from logger.archive.durable import sync_file, sync_folder
from logger.archive.journal import read_journal
from logger.archive.layout import channel_to_json, segment_path
from logger.archive.schema import channels_of, sealed_schema
from logger.records import Flag

FEW_VALUES = 60_000
"""Up to so many distinct values in a segment (a coarse sensor) a dictionary packs better than a byte-stream split."""


@dataclass(frozen=True)
class Sealed:
    """One sealed segment."""

    path: Path
    rows: int
    first_row: int
    """Number of its first row within the run."""
    sha256: str


class SealFailed(Exception):
    """Raised when a segment does not hold what its journal holds; the journal is kept."""


def seal(journal: Path, target: Path) -> Sealed:
    """Write ``target`` from ``journal``; the journal stays, the caller removes it.

    Rows of one channel stand together, in order of arrival, one row group a channel: a reader of one station reads
    nothing else, and times and running numbers pack to a bit or two a row (docs/decisions/0021-row-group-a-channel.md).

    Raises
    ------
    OSError where the disk refuses, SealFailed where the journal has damage or the rows read back differ in number.
    """
    part = read_journal(journal)
    if part.schema is None or part.damage:
        raise SealFailed(f"{journal.name}: {part.damage[0].why if part.damage else 'empty'}; kept as it is")
    table = pa.Table.from_batches(part.batches, schema=part.schema)
    first_row = part.first_rows[0] if part.first_rows else 0
    metadata = part.schema.metadata
    del part
    temporary = target.with_name(target.name + ".tmp")
    _write(table, metadata, first_row, temporary)
    with pq.ParquetFile(temporary, page_checksum_verification=True) as file:
        rows = file.metadata.num_rows
        readable = sum(file.read_row_group(g, columns=["sequence"]).num_rows for g in range(file.num_row_groups))
    if not rows == readable == table.num_rows:
        raise SealFailed(f"{target.name}: {readable} rows read back of {table.num_rows}; {journal.name} kept")
    sha256 = digest(temporary)
    put_in_place(temporary, target)
    sync_folder(target.parent)
    return Sealed(target, rows, first_row, sha256)


class Sealer:
    """Seals finished journals one after another in a thread of its own, and tries again where that failed."""

    def __init__(self, retry_s: float) -> None:
        self.waiting: dict[int, Path] = {}
        """Journals not sealed yet, by segment."""
        self.kept: dict[int, Path] = {}
        """Journals that cannot be sealed, since they are damaged."""
        self.sealed: list[Sealed] = []
        self._retry_s = retry_s
        self._not_before = 0.0
        self._running: Future[Sealed] | None = None
        self._worker = ThreadPoolExecutor(max_workers=1, thread_name_prefix="seal")

    def add(self, segment: int, journal: Path) -> None:
        """Take a closed journal over."""
        self.waiting[segment] = journal

    def poll(self) -> list[str]:
        """Collect what is done and start what is next, without waiting; returns what went wrong."""
        troubles = []
        if self._running is not None and self._running.done():
            done, self._running = self._running, None
            troubles = self._collect(done.result)
        if self._running is None and self.waiting and time.monotonic() >= self._not_before:
            self._running = self._worker.submit(self._seal, min(self.waiting))
        return troubles

    def finish(self) -> list[str]:
        """Seal everything now; returns what went wrong. What cannot be sealed stays a journal, readable as it is."""
        self._worker.shutdown(wait=True)
        troubles = []
        if self._running is not None:
            done, self._running = self._running, None
            troubles = self._collect(done.result)
        while self.waiting:
            before = len(self.waiting)
            troubles += self._collect(functools.partial(self._seal, min(self.waiting)))
            if len(self.waiting) == before:
                break
        return troubles

    def _seal(self, segment: int) -> Sealed:
        return seal(self.waiting[segment], segment_path(self.waiting[segment].parent, segment))

    def _collect(self, outcome: Callable[[], Sealed]) -> list[str]:
        segment = min(self.waiting)
        try:
            sealed = outcome()
            pa.default_memory_pool().release_unused()
        except SealFailed as error:
            self.kept[segment] = self.waiting.pop(segment)
            return [f"segment {segment}: {error}"]
        except (OSError, pa.ArrowException) as error:
            self._not_before = time.monotonic() + self._retry_s
            return [f"segment {segment}: {error}"]
        self.sealed.append(sealed)
        journal = self.waiting.pop(segment)
        # A reader may hold it open on Windows; readers take the sealed segment anyway.
        with contextlib.suppress(OSError):
            journal.unlink()
        return []


def _write(table: Any, metadata: dict[bytes, bytes], first_row: int, path: Path) -> None:
    channels = channels_of(metadata)
    schema = sealed_schema(metadata)
    stations, quantities = _names([c.station for c in channels]), _names([str(c.quantity) for c in channels])
    numbers = to_numpy(table.column("channel"))
    order = np.argsort(numbers, kind="stable")
    edges = np.searchsorted(numbers[order], np.arange(len(channels) + 1))
    coarse = table.column("value").combine_chunks().slice(0, 1_000_000).value_counts().__len__() <= FEW_VALUES
    encodings = {"time": "DELTA_BINARY_PACKED", "device_time": "DELTA_BINARY_PACKED", "sequence": "DELTA_BINARY_PACKED"}
    if not coarse:
        encodings["value"] = "BYTE_STREAM_SPLIT"
    index = []
    with path.open("wb") as file:
        with pq.ParquetWriter(
            file,
            schema,
            compression="zstd",
            compression_level=3,
            version="2.6",
            data_page_version="2.0",
            use_dictionary=["station", "quantity", "flags", "sent", *(["value"] if coarse else [])],
            column_encoding=encodings,
            write_page_checksum=True,
        ) as writer:
            for number, channel in enumerate(channels):
                rows = order[edges[number] : edges[number + 1]]
                if not rows.size:
                    continue
                part = table.take(from_numpy(rows))
                columns = {name: part.column(name) for name in part.column_names}
                columns["station"] = _constant(stations, channel.station, rows.size)
                columns["quantity"] = _constant(quantities, str(channel.quantity), rows.size)
                ordered = pa.table([columns[name] for name in schema.names], schema=schema)
                writer.write_table(ordered, row_group_size=rows.size)
                index.append(_group(channel_to_json(channel), part))
            writer.add_key_value_metadata(
                {"quietheel.first_row": str(first_row), "quietheel.groups": json.dumps(index, default=str)}
            )
        file.flush()
        sync_file(file.fileno())


def _group(channel: dict[str, object], part: Any) -> dict[str, object]:
    times = to_numpy(part.column("time"))
    late = (to_numpy(part.column("flags")) & int(Flag.LATE)) != 0
    return {
        "station": channel["station"],
        "quantity": channel["quantity"],
        "rows": int(times.size),
        "first_ns": int(times.min()),
        "last_ns": int(times.max()),
        "device_times": len(part) - part.column("device_time").null_count,
        "late": int(late.sum()),
    }


def _names(names: list[str]) -> Any:
    return strings(sorted(set(names)))


def _constant(names: Any, name: str, count: int) -> Any:
    place = names.to_pylist().index(name)
    return pa.DictionaryArray.from_arrays(from_numpy(np.full(count, place, dtype=np.int32)), names)
