"""Power cuts: what a disk may hold of a record and its marks when everything not yet synced is gone.

    python tests/bench/power_cut.py [--days 30] [--seed 1]

A small day is recorded, sealed and marked while every fsync of a file or folder is watched. Just before one of them the
power goes, and the disk is made up in four ways that file systems are known for:

dropped: names as of the last sync of their folder, bytes as of the last sync of their file;
names: bytes as they are, but no renaming, making or deleting since the folder was synced;
empty: names as they are, but a file never synced has no length;
zeros: names and lengths as they are, but what was not synced is NUL bytes.

Each time the day is opened, verified, marked and recorded again. Linux only (it reads /proc). Prints one table; exit
code 1 where something confirmed is missing, a row is wrong or a day does not open.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import random
import stat
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path

from hand_clock import HandClock

from logger.archive.layout import list_runs
from logger.archive.reader import read_series
from logger.archive.verify import verify
from logger.archive.writer import Limits, RunWriter
from logger.events import EventLog
from logger.records import Channel, Quantity, Reading

WAYS = ("dropped", "names", "empty", "zeros")
AFT = Channel("aft", Quantity.HEEL, "deg", "test")


class Disk:
    """Watches os.fsync and knows what a power cut would leave of a folder."""

    def __init__(self, root: Path, cut: Callable[[], None]) -> None:
        self.root = root
        self._cut = cut
        self._bytes: dict[int, bytes] = {}
        self._names: dict[int, dict[str, int]] = {}
        self._held: dict[int, int] = {}
        self._lock = threading.RLock()
        self._true_fsync = os.fsync

    @contextlib.contextmanager
    def watched(self) -> Iterator[None]:
        """Everything there now is safe; from now on only what is synced."""
        for folder, _, files in os.walk(self.root):
            for path in (Path(folder), *(Path(folder) / name for name in files)):
                self._note(path)
        os.fsync = self._fsync  # type: ignore[assignment]
        try:
            yield
        finally:
            os.fsync = self._true_fsync
            for handle in self._held.values():
                os.close(handle)

    def _fsync(self, handle: int) -> None:
        path = Path(f"/proc/self/fd/{handle}")
        # What is looked at after a cut lies elsewhere and is synced as it likes.
        if path.resolve().is_relative_to(self.root):
            with self._lock:
                self._cut()
                self._note(path)

    def _note(self, path: Path) -> None:
        if stat.S_ISDIR(path.stat().st_mode):
            self._names[path.stat().st_ino] = self._entries(path.resolve())
        else:
            self._bytes[self._hold(path)] = path.read_bytes()

    def _entries(self, folder: Path) -> dict[str, int]:
        """Names in a folder at one moment, with the number of each file."""
        while True:
            # Another thread may rename or remove a file between the listing and the look at it.
            with contextlib.suppress(FileNotFoundError):
                return {entry.name: self._hold(entry) for entry in folder.iterdir()}

    def _hold(self, path: Path) -> int:
        """Number of a file, kept open so that the number is given to no other."""
        handle = os.open(path, os.O_RDONLY)
        number = os.fstat(handle).st_ino
        if number in self._held:
            os.close(handle)
        else:
            self._held[number] = handle
        return number

    def left(self, way: str, target: Path) -> None:
        """Make up what a cut right now leaves."""
        with self._lock:
            self._folder(self.root, self.root.stat().st_ino, way, target)

    def _folder(self, there: Path, number: int, way: str, target: Path) -> None:
        target.mkdir()
        if way in ("dropped", "names"):
            names = self._names.get(number, {})
        else:
            names = self._entries(there)
        for name, inner in names.items():
            handle = self._held[inner]
            if stat.S_ISDIR(os.fstat(handle).st_mode):
                self._folder(there / name, inner, way, target / name)
            else:
                now = Path(f"/proc/self/fd/{handle}").read_bytes()
                (target / name).write_bytes(self._content(inner, now, way))

    def _content(self, number: int, now: bytes, way: str) -> bytes:
        safe = self._bytes.get(number, b"")
        if way == "names":
            return now
        return safe + bytes(max(0, len(now) - len(safe))) if way == "zeros" else safe


class Day:
    """A small day with the promises made while it is recorded."""

    def __init__(self, folder: Path, seed: int, cuts: int) -> None:
        self.chance = random.Random(seed)
        self.folder = folder
        self.clock = HandClock()
        self.disk = Disk(folder, self._perhaps_cut)
        self.safe = 0
        self.writer: RunWriter | None = None
        self.marks: list[int] = []
        self.found: Counter[str] = Counter()
        self._left = cuts

    def record(self) -> None:
        """Record, mark, seal and stop, cut now and then."""
        with self.disk.watched():
            log = EventLog(self.folder, self.clock)
            writer = RunWriter(self.folder / "record", [AFT], "", self.clock, Limits(0.0, segment_rows=150))
            writer.start()
            self.writer = writer
            number = 0
            for _ in range(40):
                count = self.chance.randrange(1, 40)
                writer.append([reading(n, self.clock.utc_ns()) for n in range(number, number + count)])
                number += count
                done = writer.flush(sync=self.chance.choice((True, None, None, False)))
                self.safe = max(self.safe, done.safe_rows)
                if self.chance.random() < 0.4:
                    self.marks.append(log.append("note", "mate", {"text": f"row {number}"}).number)
            self.safe = max(self.safe, writer.stop("end").safe_rows)
            self.cut()

    def _perhaps_cut(self) -> None:
        if self._left and self.chance.random() < 0.16:
            self._left -= 1
            self.cut()

    def cut(self) -> None:
        """Cut the power now, in every way."""
        # What a flush would promise at this very moment, whichever thread is slow to ask.
        if self.writer is not None:
            self.safe = max(self.safe, self.writer._result().safe_rows)
        safe, marks = self.safe, list(self.marks)
        for way in WAYS:
            with tempfile.TemporaryDirectory() as name:
                after = Path(name) / "after"
                self.disk.left(way, after)
                self.found["cuts"] += 1
                try:
                    self._look(after, safe, marks)
                except Exception as error:
                    self.found["days that do not open"] += 1
                    print(f"{way}: {type(error).__name__}: {error}", file=sys.stderr)

    def _look(self, after: Path, safe: int, marks: list[int]) -> None:
        kept = {event.number: event for event in EventLog(after).read()}
        self.found["confirmed marks missing"] += len(set(marks) - kept.keys())
        rows = rows_of(after)
        self.found["safe rows missing"] += len(set(range(safe)) - rows.keys())
        self.found["wrong rows"] += sum(value != n / 1000 for n, value in rows.items())
        verify(after)
        # And the day goes on.
        mark = EventLog(after).append("note", "mate", {"text": "power is back"})
        writer = RunWriter(after / "record", [AFT], "", self.clock)
        writer.start()
        writer.append([reading(n, self.clock.utc_ns()) for n in range(10**6, 10**6 + 5)])
        writer.stop("end")
        self.found["new rows missing"] += 5 - sum(n >= 10**6 for n in rows_of(after))
        kept = {event.number: event for event in EventLog(after).read()}
        self.found["confirmed marks missing"] += len({*marks, mark.number} - kept.keys())
        verify(after)


def reading(number: int, start_ns: int) -> Reading:
    """Row ``number``: its value says so."""
    return Reading("aft", Quantity.HEEL, start_ns + number * 10_000_000, None, number / 1000, "", sequence=number)


def rows_of(folder: Path) -> dict[int, float]:
    """Value of each row by its number, whatever can be read."""
    assert folder.is_dir()
    runs = list_runs(folder / "record")
    values = (
        [v for run in runs for s in read_series(run.folder, repair=False) for v in s.value.tolist()] if runs else []
    )
    return {round(value * 1000): value for value in values}


def power_cuts(days: int, seed: int, cuts: int = 12) -> Counter[str]:
    """Record so many days and cut the power about ``cuts`` times in each, in every way."""
    found: Counter[str] = Counter()
    for number in range(days):
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name) / "day"
            folder.mkdir()
            day = Day(folder, seed + number, cuts)
            day.record()
            found += day.found
    return found


BARS = ("days that do not open", "safe rows missing", "wrong rows", "confirmed marks missing", "new rows missing")


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--days", type=int, default=30)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    began = time.monotonic()
    found = power_cuts(options.days, options.seed)
    for what in ("cuts", *BARS):
        print(f"{what:<40}{found[what]:>12,}")
    print(f"{'seconds':<40}{time.monotonic() - began:>12.0f}")
    return 1 if any(found[what] for what in BARS) else 0


if __name__ == "__main__":
    sys.exit(main())
