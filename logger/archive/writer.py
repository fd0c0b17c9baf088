"""Write one run: readings go to memory at once, to the journal in CRC-protected batches, and into sealed segments.

Overload policy: rows wait in memory while the disk refuses them, up to ``Limits.waiting_rows``; beyond that new rows
are refused (and said to be), since what waits may hold the beginning of a window that cannot be measured again. A
refused MQTT message stays unacknowledged and so stays with the broker; a refused serial row is counted, and the next
row of its channel carries ``Flag.DROPPED_BEFORE``.
"""

from __future__ import annotations

import contextlib
import operator
import platform
import threading
import time
from collections.abc import Callable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import asdict, dataclass
from importlib import metadata
from pathlib import Path

from filelock import FileLock, Timeout

from config.errors import bad
from config.files import digest
from logger.archive.durable import make_folder, sync_folder
from logger.archive.journal import Journal
from logger.archive.layout import channel_to_json, journal_path, run_name, write_json
from logger.archive.schema import COLUMNS, CONVENTIONS, batch_of
from logger.archive.seal import Sealer
from logger.chain import append_line
from logger.clock import UtcClock
from logger.records import Channel, Flag, Quantity, Reading

_channel_of: Callable[[Reading], tuple[str, Quantity]] = operator.attrgetter("station", "quantity")


@dataclass(frozen=True)
class Limits:
    """When to make things durable, and how much may wait."""

    sync_s: float = 1.0
    """At most one fsync in so many seconds."""
    segment_rows: int = 400_000
    segment_s: float = 1800.0
    """A segment is sealed once it holds so many rows or is so old."""
    waiting_rows: int = 1_500_000
    """Rows kept in memory while the disk refuses; about 40 min of 12 stations at 50 Hz, and 150 MB."""
    retry_s: float = 30.0
    """Pause before a failed sealing is tried again."""


@dataclass(frozen=True)
class Appended:
    """What became of readings handed over: rows ``first`` to ``stop - 1`` of the run, or all refused."""

    first: int
    stop: int
    """Safe once ``FlushResult.safe_rows >= stop``."""
    refused: int = 0
    """Readings refused because too many wait already; all of one call or none."""


@dataclass(frozen=True)
class FlushResult:
    """State of the run after a flush. Rows are counted from 0 in order of `RunWriter.append`."""

    safe_rows: int
    """Rows with a lower number are on the disk (fsync done)."""
    visible_rows: int
    """Rows with a lower number can be read by others and survive the end of this process."""
    waiting_rows: int
    """Rows in memory only."""
    refused_rows: int
    """Rows refused since the start."""
    error: str = ""
    """Why the disk refuses, as the system says it; empty while all is well. An alarm for the screen."""


class RunWriter:
    """Writer of one run. ``append`` and ``note`` may be called from any thread and never touch the disk.

    Parameters
    ----------
    record_dir : ``record/`` of the test folder; made if missing.
    channels : every channel that may come.
    plan_digest : SHA-256 of plan.toml.
    clock : gives UTC ns.

    Example
    -------
    >>> import tempfile
    >>> from logger.clock import StoppedClock
    >>> from logger.records import Quantity
    >>> aft = Channel("aft", Quantity.HEEL, "deg", "serial:COM4")
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     writer = RunWriter(Path(folder), [aft], "", StoppedClock(1_778_743_800_000_000_000))
    ...     name = writer.start().name
    ...     rows = writer.append([Reading("aft", Quantity.HEEL, 1_778_743_800_000_000_000, None, 0.12, "")]).stop
    ...     stopped = writer.stop("end of the day")
    >>> name, rows, stopped.safe_rows
    ('20260514T073000Z-1', 1, 1)
    """

    def __init__(
        self,
        record_dir: Path,
        channels: Sequence[Channel],
        plan_digest: str,
        clock: UtcClock,
        limits: Limits | None = None,
    ) -> None:
        self.record_dir = record_dir
        self.channels = tuple(channels)
        self.plan_digest = plan_digest
        self.clock = clock
        self.limits = limits or Limits()
        self.folder = record_dir
        self._index = {(channel.station, channel.quantity): n for n, channel in enumerate(self.channels)}
        if len(self._index) != len(self.channels):
            raise bad("plan.toml", "stations", None, "each quantity once a station")
        self._memory = threading.Lock()
        self._disk = threading.Lock()
        self._lock: FileLock | None = None
        self._rows: list[Reading] = []
        self._notes: list[dict[str, object]] = []
        self._appended = 0
        self._refused = 0
        self._lacking: set[tuple[str, str]] = set()
        self._journals: list[Journal] = []
        """Open journals in order: those being closed, then the one being written."""
        self._opened_at = 0.0
        self._synced_at = 0.0
        self._visible = 0
        self._troubles = {"write": "", "sync": ""}
        self._error = ""
        self._sealer = Sealer(self.limits.retry_s)
        # An fsync can take a second on a busy disk; readings must go on being written meanwhile.
        self._worker = ThreadPoolExecutor(max_workers=1, thread_name_prefix="sync")
        self._syncing: Future[None] | None = None

    def start(self) -> Path:
        """Take the record, write the start record, open the first journal; returns the folder of the run.

        Raises
        ------
        BadInput where another logger writes this record; OSError where the disk refuses.
        """
        make_folder(self.record_dir)
        # Taken in one thread and given back in another: not local to a thread.
        lock = FileLock(self.record_dir / ".logger.lock", thread_local=False)
        try:
            lock.acquire(timeout=0)
        except Timeout:
            raise bad("record", "this test folder", None, "one logger at a time; stop the other one first") from None
        self._lock = lock
        try:
            started_ns = self.clock.utc_ns()
            self.folder = self._new_folder(started_ns)
            write_json(
                self.folder / "start.json",
                {
                    "run": self.folder.name,
                    "started_ns": started_ns,
                    "plan_digest": self.plan_digest,
                    "program": f"quietheel {_version()}",
                    "system": f"{platform.system()} {platform.release()}, Python {platform.python_version()}",
                    "channels": [channel_to_json(channel) for channel in self.channels],
                    "conventions": CONVENTIONS,
                    "columns": COLUMNS,
                },
            )
            sync_folder(self.record_dir)
            self._open(1)
            self._sync()
        except BaseException:
            lock.release()
            raise
        return self.folder

    def append(self, readings: Sequence[Reading]) -> Appended:
        """Hand readings over; memory only. Raises BadInput for a channel that was not announced."""
        for station, quantity in set(map(_channel_of, readings)) - self._index.keys():
            raise bad("record", self.folder.name, f"{quantity} of {station}", "an announced channel")
        with self._memory:
            first = self._appended
            if first - self._visible + len(readings) > self.limits.waiting_rows:
                self._refused += len(readings)
                self._lacking.update((r.station, r.quantity) for r in readings)
                return Appended(first, first, len(readings))
            self._rows.extend(self._flag_losses(readings) if self._lacking else readings)
            self._appended += len(readings)
            return Appended(first, self._appended)

    def note(self, kind: str, data: dict[str, object]) -> None:
        """Hand over something worth knowing (a source lost or back, a clock step); memory only."""
        entry: dict[str, object] = {"at_ns": self.clock.utc_ns(), "kind": kind, "data": data}
        with self._memory:
            self._notes.append(entry)

    def flush(self, *, sync: bool | None = None) -> FlushResult:
        """Write what waits; an fsync follows in a thread of its own if ``Limits.sync_s`` have passed since the last.

        Call it about five times a second from a worker thread. A disk that refuses is an ``error`` in the result,
        never an exception; the rows wait and go out with a later call.

        Parameters
        ----------
        sync : True: fsync now and wait for it; False: no fsync; None: as due.
        """
        with self._disk:
            self._write()
            self._roll()
            due = time.monotonic() - self._synced_at >= self.limits.sync_s - 0.02 if sync is None else sync
        if due and (sync or self._syncing is None or self._syncing.done()):
            self._synced_at = time.monotonic()
            self._syncing = self._worker.submit(self._sync)
            if sync:
                self._syncing.result()
        return self._result()

    def stop(self, reason: str) -> FlushResult:
        """Flush, seal, write the stop record and give the record free. What cannot be sealed stays a journal."""
        with self._disk:
            self._write()
        self._worker.submit(self._sync).result()
        self._worker.shutdown(wait=True)
        with self._disk:
            for journal in self._journals:
                if not journal.encoded_rows:
                    journal.discard()
                else:
                    # A journal with rows still waiting is closed short; the result and the stop record say so.
                    journal.close()
                    self._sealer.add(journal.segment, journal.path)
            result = self._result()
            for trouble in self._sealer.finish():
                self.note("seal", {"waits": trouble})
            self.note("stopped", {"reason": reason})
            self._write_notes()
            with contextlib.suppress(OSError):
                write_json(self.folder / "stop.json", self._stop_record(reason, result))
            self._journals = []
            if self._lock is not None:
                self._lock.release()
            return result

    def _new_folder(self, started_ns: int) -> Path:
        number = 1
        while True:
            folder = self.record_dir / run_name(started_ns, number)
            try:
                folder.mkdir()
            except FileExistsError:
                number += 1
            else:
                return folder

    def _flag_losses(self, readings: Sequence[Reading]) -> list[Reading]:
        flagged = []
        for reading in readings:
            key = (reading.station, reading.quantity)
            lost = key in self._lacking
            self._lacking.discard(key)
            flagged.append(reading._replace(flags=reading.flags | Flag.DROPPED_BEFORE) if lost else reading)
        return flagged

    def _open(self, segment: int) -> None:
        first = self._journals[-1].first_row + self._journals[-1].encoded_rows if self._journals else 0
        path = journal_path(self.folder, segment)
        journal = Journal(path, self.channels, self.folder.name, segment, first)
        try:
            journal.write()
        except OSError:
            journal.discard()
            raise
        self._journals.append(journal)
        self._opened_at = time.monotonic()

    def _write(self) -> None:
        """Hand what waits to the operating system; needs the disk's lock."""
        with self._memory:
            rows, self._rows = self._rows, []
        if not self._journals:
            return
        journal = self._journals[-1]
        if rows:
            journal.encode(batch_of(rows, self._index, journal.schema))
        try:
            journal.write()
            self._say_disk("write", "")
        except OSError as error:
            self._say_disk("write", f"{error.strerror or error} ({self.folder.name})")
        with self._memory:
            self._visible = journal.first_row + journal.written_rows

    def _sync(self) -> None:
        """Make everything written durable, hand finished journals to the sealer, write notes; one at a time."""
        with self._disk:
            journals = list(self._journals)
        try:
            for journal in journals:
                journal.sync()
            self._say_disk("sync", "")
        except OSError as error:
            self._say_disk("sync", f"{error.strerror or error} ({self.folder.name})")
        else:
            with self._disk:
                for journal in journals[:-1]:
                    journal.close()
                    self._sealer.add(journal.segment, journal.path)
                    self._journals.remove(journal)
        self._write_notes()

    def _say_disk(self, what: str, trouble: str) -> None:
        self._troubles[what] = trouble
        error = self._troubles["write"] or self._troubles["sync"]
        if bool(error) != bool(self._error):
            self.note("disk", {"state": "refuses" if error else "writes again", "why": error or self._error})
        self._error = error

    def _write_notes(self) -> None:
        with self._memory:
            notes, self._notes = self._notes, []
        while notes:
            try:
                append_line(self.folder / "notes.jsonl", lambda _, entry=notes[0]: dict(entry))  # type: ignore[misc]
            except OSError:
                with self._memory:
                    self._notes = [*notes, *self._notes][-10_000:]
                return
            except (TypeError, ValueError) as error:
                notes[0] = {
                    "at_ns": notes[0]["at_ns"],
                    "kind": str(notes[0]["kind"])[:80],
                    "data": {"lost": str(error)[:200]},
                }
                continue
            notes.pop(0)

    def _roll(self) -> None:
        """Open the next journal where this one is full; needs the disk's lock."""
        if not self._journals:
            return
        journal = self._journals[-1]
        age = time.monotonic() - self._opened_at
        full = journal.written_rows >= self.limits.segment_rows or (
            journal.written_rows > 0 and age >= self.limits.segment_s
        )
        if full and not journal.waiting_rows:
            try:
                self._open(journal.segment + 1)
            except OSError as error:
                self._say_disk("write", f"{error.strerror or error} ({self.folder.name})")
        for trouble in self._sealer.poll():
            self.note("seal", {"waits": trouble})

    def _result(self) -> FlushResult:
        safe = 0
        for journal in list(self._journals):
            safe = journal.first_row + journal.synced_rows
            if journal.synced_rows < journal.encoded_rows:
                break
        with self._memory:
            waiting = self._appended - self._visible
            return FlushResult(safe, self._visible, waiting, self._refused, self._error)

    def _stop_record(self, reason: str, result: FlushResult) -> dict[str, object]:
        return {
            "run": self.folder.name,
            "stopped_ns": self.clock.utc_ns(),
            "reason": reason,
            "rows": asdict(result),
            "segments": [
                {"file": s.path.name, "rows": s.rows, "first_row": s.first_row, "sha256": s.sha256}
                for s in sorted(self._sealer.sealed, key=lambda s: s.first_row)
            ],
            "unsealed": [path.name for path in (*self._sealer.kept.values(), *self._sealer.waiting.values())],
            "sha256": {
                name: digest(self.folder / name)
                for name in ("start.json", "notes.jsonl")
                if (self.folder / name).is_file()
            },
        }


def _version() -> str:
    try:
        return metadata.version("quietheel")
    except metadata.PackageNotFoundError:
        return "not installed"
