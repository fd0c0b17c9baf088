"""The open part of a run: an Arrow IPC stream, one CRC-protected record batch a write.

Each batch carries in its custom metadata the CRC32 of its buffers and the number of its first row within the run.
A reader takes whole batches whose CRC holds; a torn or damaged stretch costs the batches it touches and no other.
"""

from __future__ import annotations

import contextlib
import io
import zlib
from collections import deque
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pyarrow as pa

from logger.archive.durable import sync_file, sync_folder
from logger.archive.schema import journal_schema
from logger.records import Channel

_MARK = b"\xff\xff\xff\xff"
"""Every IPC message starts with it, at a multiple of 8 bytes (Arrow columnar format, encapsulated messages)."""
_END_OF_STREAM = _MARK + b"\x00\x00\x00\x00"


@dataclass(frozen=True)
class Damage:
    """A stretch of a journal that is no whole batch."""

    offset: int
    """Byte at which it starts."""
    size: int
    """Bytes skipped."""
    why: str
    at_end: bool
    """True for a torn tail: nothing whole follows."""


@dataclass(frozen=True)
class JournalPart:
    """What was read of a journal from some offset on."""

    schema: Any
    """Arrow schema, or None where not even that is whole."""
    batches: tuple[Any, ...]
    first_rows: tuple[int, ...]
    """Number of the first row of each batch within the run."""
    next_offset: int
    """Where to go on reading."""
    damage: tuple[Damage, ...]

    @property
    def rows(self) -> int:
        """Rows in all whole batches."""
        return sum(batch.num_rows for batch in self.batches)


class Journal:
    """Writes one journal. A write that fails leaves the file as it was before and is made good at the next call."""

    def __init__(self, path: Path, channels: Sequence[Channel], run: str, segment: int, first_row: int) -> None:
        """Create the file; raises OSError where it cannot be."""
        self.path = path
        self.segment = segment
        self.first_row = first_row
        self.schema = journal_schema(channels, run, segment)
        self._file = path.open("xb", buffering=0)
        self._buffer = io.BytesIO()
        self._stream = pa.ipc.new_stream(self._buffer, self.schema)
        self._waiting: deque[tuple[bytes, int]] = deque([(self._take(), 0)])
        self._good = 0
        self._named = False
        self._unsynced: deque[tuple[int, bytes]] = deque()
        """Place and bytes of what was written since the last fsync that did not fail; a segment's worth at most."""
        self._doubtful = False
        self.encoded_rows = 0
        """Rows handed over."""
        self.written_rows = 0
        """Rows the operating system has."""
        self.synced_rows = 0
        """Rows known to be on the disk, where the file's name is too."""

    @property
    def waiting_rows(self) -> int:
        """Rows handed over that could not be written yet."""
        return self.encoded_rows - self.written_rows

    @property
    def size(self) -> int:
        """Bytes written."""
        return self._good

    def encode(self, batch: Any) -> None:
        """Take a batch over; it is written by `write`."""
        number = self.first_row + self.encoded_rows
        self._stream.write_batch(batch, custom_metadata={"crc32": f"{crc(batch):08x}", "first_row": str(number)})
        self._waiting.append((self._take(), batch.num_rows))
        self.encoded_rows += batch.num_rows

    def write(self) -> None:
        """Write what waits; raises OSError, after putting the file back to its last whole batch."""
        while self._waiting:
            data, rows = self._waiting[0]
            try:
                self._put(data)
            except OSError:
                # A half-written batch must not stay in front of the next one.
                with contextlib.suppress(OSError):
                    self._file.truncate(self._good)
                raise
            self._unsynced.append((self._good, data))
            self._good += len(data)
            self.written_rows += rows
            self._waiting.popleft()

    def sync(self) -> None:
        """Make what was written until now durable, and the file's name; raises OSError.

        May run while another thread goes on writing and counts what is safe.
        """
        rows, pieces = self.written_rows, len(self._unsynced)
        if rows > self.synced_rows or not rows:
            if self._doubtful:
                # A system may forget what an fsync failed to write, and grant the next one: it has to be written again.
                self._write_again(pieces)
            self._doubtful = True
            sync_file(self._file.fileno())
            if not self._named:
                # A file whose name is not on the disk is gone after a power cut, however well its bytes were synced.
                sync_folder(self.path.parent)
                self._named = True
            self._doubtful = False
            for _ in range(pieces):
                self._unsynced.popleft()
            self.synced_rows = rows

    def close(self) -> None:
        """End the stream as well as the disk allows, and close the file."""
        with contextlib.suppress(OSError):
            self._put(_END_OF_STREAM)
        self._file.close()

    def discard(self) -> None:
        """Close and remove a journal that holds no rows."""
        self._file.close()
        with contextlib.suppress(OSError):
            self.path.unlink()

    def _write_again(self, pieces: int) -> None:
        """Write the oldest unsynced pieces in their places once more, by a handle of its own beside the writing one."""
        with self.path.open("r+b", buffering=0) as file:
            for place, data in list(self._unsynced)[:pieces]:
                file.seek(place)
                view = memoryview(data)
                while view:
                    view = view[file.write(view) :]

    def _put(self, data: bytes) -> None:
        self._file.seek(self._good)
        view = memoryview(data)
        while view:
            view = view[self._file.write(view) :]

    def _take(self) -> bytes:
        data = self._buffer.getvalue()
        self._buffer.seek(0)
        self._buffer.truncate()
        return data


def crc(batch: Any) -> int:
    """CRC32 over the buffers of every column of an unsliced batch, in order."""
    value = zlib.crc32(batch.num_rows.to_bytes(8, "little"))
    for column in batch.columns:
        for buffer in column.buffers():
            value = zlib.crc32(b"-" if buffer is None else buffer, value)
    return value


def read_journal(path: Path, offset: int = 0, head: bytes = b"") -> JournalPart:
    """Read every whole batch of a journal from ``offset`` on.

    Parameters
    ----------
    path : the journal.
    offset : where an earlier call said to go on; 0 for the beginning.
    head : the bytes of the schema message, needed with ``offset`` above 0 (see `read_head`) or where the journal's own
        is lost (see `head_of`).

    Returns
    -------
    JournalPart; damage is described in it, never raised. Raises OSError where the file cannot be read at all.
    """
    with path.open("rb") as file:
        file.seek(offset)
        data = file.read()
    if not head:
        head = data[: _head_length(data)]
        if not head:
            return JournalPart(None, (), (), 0, (Damage(0, len(data), "no whole schema", True),) if data else ())
    schema = pa.ipc.read_schema(pa.py_buffer(head))
    position = len(head) if not offset and data.startswith(head) else 0
    batches: list[Any] = []
    numbers: list[int] = []
    damage: list[Damage] = []
    while position < len(data) and data[position : position + 8] != _END_OF_STREAM:
        why = "batch not whole"
        for batch, number, length in _batches(head, data, position):
            if batch is None:
                why = "CRC does not match"
                break
            batches.append(batch)
            numbers.append(number)
            position += length
        if position >= len(data) or data[position : position + 8] == _END_OF_STREAM:
            break
        onward = _next_whole(head, data, position + 8)
        stop = len(data) if onward is None else onward
        damage.append(Damage(offset + position, stop - position, why, onward is None))
        if onward is None:
            break
        position = onward
    return JournalPart(schema, tuple(batches), tuple(numbers), offset + position, tuple(damage))


def head_of(channels: Sequence[Channel], run: str, segment: int) -> bytes:
    """Bytes of the schema message that a journal of these channels begins with."""
    return bytes(journal_schema(channels, run, segment).serialize())


def read_head(path: Path) -> bytes:
    """Bytes of the schema message of a journal; empty while it is not whole."""
    with path.open("rb") as file:
        data = file.read(4_000_000)
    return data[: _head_length(data)]


def _head_length(data: bytes) -> int:
    source = pa.BufferReader(pa.py_buffer(data))
    try:
        pa.ipc.open_stream(source)
    except (pa.ArrowException, OSError, EOFError):
        return 0
    return int(source.tell())


def _batches(head: bytes, data: bytes, position: int) -> Iterator[tuple[Any, int, int]]:
    """Yield (batch or None for a wrong CRC, number of its first row, length in bytes) until the first damage."""
    # The schema is put in front so that reading can begin in the middle of the file; the whole file is not copied.
    at_start = position == len(head) and data.startswith(head)
    source = pa.BufferReader(pa.py_buffer(data if at_start else head + data[position:]))
    stream = pa.ipc.open_stream(source)
    before = source.tell()
    while True:
        try:
            batch, custom = stream.read_next_batch_with_custom_metadata()
            length = source.tell() - before
            whole = custom is not None and int(custom[b"crc32"], 16) == crc(batch)
            number = int(custom[b"first_row"]) if whole else -1
        except StopIteration:
            return
        except (pa.ArrowException, OSError, EOFError, KeyError, ValueError, MemoryError, OverflowError):
            return
        if not whole:
            yield None, -1, length
            return
        yield batch, number, length
        before = source.tell()


def _next_whole(head: bytes, data: bytes, start: int) -> int | None:
    position = data.find(_MARK, start)
    while position >= 0:
        length = int.from_bytes(data[position + 4 : position + 8], "little")
        # Bitmaps are full of the same mark; what follows them is no length of a batch's description.
        if position % 8 == 0 and 0 < length < 65536 and length % 8 == 0:
            first = next(_batches(head, data, position), None)
            if first is not None and first[0] is not None:
                return position
        position = data.find(_MARK, position + 1)
    return None
