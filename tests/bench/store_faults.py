"""What the store does when it is cut, damaged, full, given everything twice; and how soon a reading is visible.

    python tests/bench/store_faults.py [--cuts 500]

Prints one line a fault, with the figure against its bar (docs/reliability.md). Exit code 1 where a bar is missed.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import random
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import numpy as np
import pyarrow as pa

from logger.archive.journal import read_journal
from logger.archive.reader import read_series
from logger.archive.tail import Tail
from logger.archive.verify import verify
from logger.archive.writer import Limits, RunWriter
from logger.clock import StoppedClock, SystemClock
from logger.records import Channel, Flag, Quantity, Reading

START = 1_778_743_800_000_000_000
STATIONS = [f"station {number}" for number in range(12)]
CHANNELS = [Channel(name, Quantity.HEEL, "deg", "bench") for name in STATIONS]


def tick(number: int, device: bool = False) -> list[Reading]:
    """One reading of every station; the value says which one it is."""
    at = START + number * 20_000_000
    return [
        Reading(s, Quantity.HEEL, at + place, at if device else None, number * 0.001, f"{number}", Flag.NONE, number)
        for place, s in enumerate(STATIONS)
    ]


def journal_of(folder: Path, ticks: int) -> tuple[Path, list[int]]:
    """An open journal of so many ticks, a batch every ten, and the byte at which each batch ends."""
    writer = RunWriter(folder / "record", CHANNELS, "", StoppedClock(START))
    writer.start()
    ends = []
    for number in range(ticks):
        writer.append(tick(number))
        if number % 10 == 9:
            writer.flush()
            assert writer._journals
            ends.append(writer._journals[-1].size)
    assert writer._lock is not None and writer._journals
    path = writer._journals[-1].path
    writer._journals[-1]._file.close()
    writer._lock.release()
    return path, ends


def cut_anywhere(cuts: int, seed: int = 1) -> dict[str, object]:
    """Truncate the open journal at random bytes: every whole batch before the cut must be read, with its values."""
    chance = random.Random(seed)
    missed = wrong = 0
    with tempfile.TemporaryDirectory() as name:
        path, ends = journal_of(Path(name), 3000)
        data = path.read_bytes()
        for _ in range(cuts):
            cut = chance.randrange(len(data))
            path.write_bytes(data[:cut])
            part = read_journal(path)
            missed += sum(end <= cut for end in ends) - len(part.batches)
            wrong += sum(not _right(batch) for batch in part.batches[-2:])
    return {"cuts": cuts, "batches": len(ends), "whole batches missed": missed, "wrong rows": wrong, "bar": "0 and 0"}


def damage_anywhere(times: int, seed: int = 2) -> dict[str, object]:
    """Change one to eight bytes somewhere: no wrong row may be read, and no more than the batches touched be lost."""
    chance = random.Random(seed)
    wrong = too_many = quiet = 0
    with tempfile.TemporaryDirectory() as name:
        path, ends = journal_of(Path(name), 600)
        data = path.read_bytes()
        for _ in range(times):
            place = chance.randrange(len(data) - 8)
            damaged = bytearray(data)
            for at in range(place, place + chance.randint(1, 8)):
                damaged[at] ^= chance.randint(1, 255)
            path.write_bytes(damaged)
            part = read_journal(path)
            wrong += sum(not _right(batch) for batch in part.batches)
            in_schema = place < ends[0] and not part.batches
            too_many += len(ends) - len(part.batches) > 2 and not in_schema
            quiet += len(part.batches) == len(ends) and not part.damage
    return {
        "damaged": times,
        "wrong rows": wrong,
        "more than two batches lost": too_many,
        "hit padding only": quiet,
        "bar": "0 wrong",
    }


def _right(batch: pa.RecordBatch) -> bool:
    numbers = batch.column("sequence").to_numpy()
    times = batch.column("time").view("int64").to_numpy()
    places = batch.column("channel").to_numpy()
    return bool(
        np.array_equal(batch.column("value").to_numpy(), numbers * 0.001)
        and np.array_equal(times, START + numbers * 20_000_000 + places)
    )


@contextlib.contextmanager
def small_disk(megabytes: int) -> Iterator[tuple[Path, str]]:
    """A file system that is soon full: a tmpfs where one may be mounted, else a limit on the size of files."""
    with tempfile.TemporaryDirectory() as name:
        mount = ["mount", "-t", "tmpfs", "-o", f"size={megabytes}m", "tmpfs", name]
        with contextlib.suppress(OSError):
            if subprocess.run(mount, capture_output=True).returncode == 0:
                try:
                    yield Path(name), "tmpfs"
                finally:
                    subprocess.run(["umount", name], check=True)
                return
        yield Path(name), "limit"


def full_disk(megabytes: int = 20) -> dict[str, object]:
    """Fill the disk while recording, free it again: alarm, nothing corrupt, nothing accepted lost."""
    with small_disk(megabytes) as (folder, kind):
        ballast = folder / "ballast"
        ballast.write_bytes(b"\0" * ((megabytes - 8) * 1_000_000))
        limits = Limits(segment_rows=20_000, waiting_rows=120_000)
        writer = RunWriter(folder / "record", CHANNELS, "", StoppedClock(START), limits)
        writer.start()
        accepted = number = refused = 0
        alarm = sealed_before = -1
        with _limited(kind, megabytes):
            while refused == 0 and number < 40_000:
                rows = writer.append(tick(number))
                refused += rows.refused
                accepted += len(STATIONS) - rows.refused
                number += 1
                if number % 10 == 0:
                    result = writer.flush()
                    if result.error and alarm < 0:
                        alarm, sealed_before = number, result.safe_rows
        readable = sum(len(series) for series in read_series(folder / "record", repair=False))
        ballast.unlink()
        for _ in range(500):
            rows = writer.append(tick(number))
            accepted += len(STATIONS) - rows.refused
            refused += rows.refused
            number += 1
            if number % 10 == 0:
                writer.flush()
        error_after = writer.flush(sync=True).error
        writer.stop("end")
        series = read_series(folder / "record", repair=False)
        rows_back = sum(len(one) for one in series)
        wrong = sum(int((np.abs(one.value * 1000 - np.rint(one.value * 1000)) > 1e-6).sum()) for one in series)
        report = verify(folder)
        return {
            "disk": kind,
            "alarm at row": alarm * len(STATIONS),
            "safe then": sealed_before,
            "readable while full": readable,
            "refused, said and flagged": refused,
            "accepted": accepted,
            "accepted but missing": accepted - rows_back,
            "wrong rows": wrong,
            "error after space came back": error_after,
            "verify": "sound" if report.sound else "DAMAGED",
            "bar": "0 missing, 0 wrong, sound",
        }


@contextlib.contextmanager
def _limited(kind: str, megabytes: int) -> Iterator[None]:
    if kind == "tmpfs":
        yield
        return
    import resource

    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (megabytes * 100_000, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


def everything_twice(share: float = 0.05, seed: int = 3) -> dict[str, object]:
    """Send a share of the readings twice, some out of order: each counts once, at its own time."""
    rng = np.random.default_rng(seed)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        writer = RunWriter(folder / "record", CHANNELS, "", StoppedClock(START))
        writer.start()
        again: list[list[Reading]] = []
        sent = 0
        for number in range(6000):
            rows = tick(number, device=True)
            if rng.random() < share:
                again.append(rows)
            if again and rng.random() < share:
                # Redelivered: the same readings arrive once more, later.
                late = [_arriving(r, rows[0].host_ns) for r in again.pop(0)]
                writer.append(late)
                sent += len(late)
            writer.append(rows)
            sent += len(rows)
            writer.flush()
        writer.stop("end")
        series = read_series(folder / "record")
        wrong = 0
        for one in series:
            expected = START + np.rint(one.value * 1000).astype(np.int64) * 20_000_000
            wrong += int((np.abs(one.time_ns - expected - np.median(one.time_ns - expected)) > 1_000_000).sum())
        return {
            "sent": sent,
            "twice": sent - 6000 * 12,
            "left after repair": sum(len(one) for one in series),
            "should be": 6000 * 12,
            "more than 1 ms off": wrong,
            "bar": "equal, 0 off",
        }


def _arriving(reading: Reading, host_ns: int) -> Reading:
    return Reading(
        reading.station,
        reading.quantity,
        host_ns,
        reading.device_ns,
        reading.value,
        reading.sent,
        Flag.NONE,
        reading.sequence,
    )


def visible(seconds: float = 20.0) -> dict[str, object]:
    """Time from arrival at the logger to visible in the tail of another process."""
    with tempfile.TemporaryDirectory() as name:
        record = Path(name) / "record"
        follower = subprocess.Popen(
            [sys.executable, __file__, "--follow", str(record), str(seconds + 1)], stdout=subprocess.PIPE, text=True
        )
        clock = SystemClock()
        writer = RunWriter(record, CHANNELS, "", clock)
        writer.start()
        stop = threading.Event()

        def flush() -> None:
            while not stop.wait(0.2):
                writer.flush()

        thread = threading.Thread(target=flush)
        thread.start()
        until = time.monotonic() + seconds
        number = 0
        while time.monotonic() < until:
            now = clock.utc_ns()
            writer.append([Reading(s, Quantity.HEEL, now, None, 0.0, "", Flag.NONE, number) for s in STATIONS])
            number += 1
            time.sleep(0.02)
        said = follower.communicate(timeout=30)[0]
        stop.set()
        thread.join()
        writer.stop("end")
        figures: dict[str, object] = json.loads(said)
        return {**figures, "bar": "99 % under 1 s"}


def follow(record: Path, seconds: float) -> None:
    """The other process: look ten times a second, print the delays seen."""
    tail = Tail(record)
    delays: list[np.ndarray] = []  # type: ignore[type-arg]
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        for arrived in tail.look():
            delays.append((time.time_ns() - arrived.time_ns) / 1e9)
        time.sleep(0.1)
    found = np.concatenate(delays)
    low, high = np.quantile(found, [0.5, 0.99])
    print(json.dumps({"readings": found.size, "median s": round(low, 3), "99 % within s": round(high, 3)}))


def main() -> int:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cuts", type=int, default=500)
    parser.add_argument("--follow", nargs=2, help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.follow:
        follow(Path(given.follow[0]), float(given.follow[1]))
        return 0
    cut, damaged = cut_anywhere(given.cuts), damage_anywhere(given.cuts)
    found = {
        "cut": (cut, cut["whole batches missed"] == 0 and cut["wrong rows"] == 0),
        "damaged": (damaged, damaged["wrong rows"] == 0 and damaged["more than two batches lost"] == 0),
    }
    if os.name == "posix":
        full = full_disk()
        found["disk full"] = (
            full,
            full["accepted but missing"] == 0 and full["wrong rows"] == 0 and full["verify"] == "sound",
        )
    twice = everything_twice()
    found["twice"] = (twice, twice["left after repair"] == twice["should be"] and twice["more than 1 ms off"] == 0)
    seen = visible()
    found["visible"] = (seen, float(str(seen["99 % within s"])) < 1.0)
    for what, (figures, good) in found.items():
        print(f"{what:10} {'holds ' if good else 'MISSED'} {json.dumps(figures)}")
    return 0 if all(good for _, good in found.values()) else 1


if __name__ == "__main__":
    sys.exit(main())
