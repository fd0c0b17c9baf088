"""After a power cut: what was confirmed is there, the day opens and goes on, and `verify` says what is missing."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

import power_cut
import pytest
from hand_clock import HandClock
from power_cut import AFT, BARS, reading, rows_of

import logger.archive.journal
import logger.archive.seal
import logger.archive.writer
import logger.chain
from logger.archive.layout import list_runs
from logger.archive.seal import seal
from logger.archive.verify import VerifyReport, verify
from logger.archive.writer import Limits, RunWriter
from logger.events import EventLog

linux = pytest.mark.skipif(sys.platform != "linux", reason="watches files by /proc")


@linux
@pytest.mark.parametrize("days", [2, pytest.param(30, marks=pytest.mark.soak)])
def test_the_power_goes_at_any_sync(days: int) -> None:
    found = power_cut.power_cuts(days, seed=11)
    assert found["cuts"] > 40 * days // 2
    assert {what: found[what] for what in BARS} == dict.fromkeys(BARS, 0)


def cut_at_every_sync(folder: Path) -> list[tuple[int, int]]:
    """Rows promised at each sync of a run that has just gone over to its second journal, and how many of them are lost.

    Asked in the thread that syncs, between any two syncs, so nothing depends on which thread is slow.
    """
    (folder / "day").mkdir(parents=True)
    found: list[tuple[int, int]] = []

    def cut() -> None:
        safe = writer._result().safe_rows
        lost = 0
        for way in power_cut.WAYS:
            after = folder / f"{len(found)} {way}"
            disk.left(way, after)
            lost = max(lost, len(set(range(safe)) - rows_of(after).keys()))
        found.append((safe, lost))

    clock = HandClock()
    writer = RunWriter(folder / "day" / "record", [AFT], "", clock, Limits(segment_rows=10))
    writer.start()
    disk = power_cut.Disk(folder / "day", cut)
    with disk.watched():
        # Ten rows fill the first journal; the next twelve are in the second before anything is synced.
        for first, stop in ((0, 10), (10, 15), (15, 22)):
            writer.append([reading(n, clock.utc_ns()) for n in range(first, stop)])
            assert writer.flush(sync=False).safe_rows == 0
        assert writer.flush(sync=True).safe_rows == 22
        writer.stop("end")
    return found


@linux
def test_rows_of_a_new_journal_are_promised_only_once_its_name_is_safe(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    found = cut_at_every_sync(tmp_path / "as it is")
    # The bytes of the first journal, the bytes of the second, its name; then whatever else is synced.
    assert [safe for safe, _ in found[:3]] == [0, 10, 10]
    assert all(lost == 0 for _, lost in found)
    monkeypatch.setattr(logger.archive.journal, "sync_folder", lambda _: None)
    assert any(lost == 12 for _, lost in cut_at_every_sync(tmp_path / "forgotten"))


def test_rows_of_a_new_journal_are_not_promised_while_its_folder_refuses(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    clock = HandClock()
    writer = RunWriter(tmp_path / "record", [AFT], "", clock, Limits(segment_rows=10))
    writer.start()
    truly = logger.archive.journal.sync_folder

    def refuses(_: Path) -> None:
        raise OSError(5, "Input/output error")

    monkeypatch.setattr(logger.archive.journal, "sync_folder", refuses)
    for first, stop in ((0, 10), (10, 15)):
        writer.append([reading(n, clock.utc_ns()) for n in range(first, stop)])
        result = writer.flush(sync=True)
    assert result.safe_rows == 10 and result.error.startswith("Input/output error")
    monkeypatch.setattr(logger.archive.journal, "sync_folder", truly)
    result = writer.flush(sync=True)
    assert result.safe_rows == 15 and not result.error
    assert writer.stop("end").safe_rows == 15
    assert rows_of(tmp_path).keys() == set(range(15))


@pytest.mark.parametrize("refusals", [1, 3])
def test_what_a_failed_sync_may_have_dropped_is_written_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, refusals: int
) -> None:
    """A system may forget the bytes that an fsync failed to write, and grant the next one."""
    clock = HandClock()
    writer = RunWriter(tmp_path / "record", [AFT], "", clock, Limits())
    writer.start()
    truly = logger.archive.journal.sync_file
    safe: list[int] = []

    def forgets(handle: int) -> None:
        path = next((tmp_path / "record").glob("*/journal-*"))
        size = path.stat().st_size
        with path.open("r+b") as file:
            file.seek(size_before)
            file.write(bytes(size - size_before))
        raise OSError(5, "Input/output error")

    def put(first: int, stop: int) -> None:
        writer.append([reading(n, clock.utc_ns()) for n in range(first, stop)])
        safe.append(writer.flush(sync=True).safe_rows)

    put(0, 5)
    size_before = next((tmp_path / "record").glob("*/journal-*")).stat().st_size
    monkeypatch.setattr(logger.archive.journal, "sync_file", forgets)
    for more in range(refusals):
        put(5 + more, 6 + more)
    monkeypatch.setattr(logger.archive.journal, "sync_file", truly)
    put(5 + refusals, 6 + refusals)
    assert safe == [5] * (1 + refusals) + [6 + refusals]
    assert rows_of(tmp_path).keys() == set(range(6 + refusals))
    writer.stop("end")


@linux
@pytest.mark.parametrize(
    ("module", "forgotten", "missing"),
    [
        (logger.chain, "sync_file", "confirmed marks missing"),
        (logger.chain, "sync_folder", "confirmed marks missing"),
        (logger.archive.journal, "sync_file", "safe rows missing"),
        (logger.archive.seal, "sync_file", "safe rows missing"),
        (logger.archive.writer, "sync_folder", "safe rows missing"),
    ],
)
def test_a_sync_forgotten_anywhere_would_show(
    monkeypatch: pytest.MonkeyPatch, module: object, forgotten: str, missing: str
) -> None:
    monkeypatch.setattr(module, forgotten, lambda _: None)
    assert power_cut.power_cuts(1, seed=5)[missing] > 0


def recorded(folder: Path, rows: int, *, stop: bool = False) -> Path:
    """One run in several batches; returns its folder."""
    clock = HandClock()
    writer = RunWriter(folder / "record", [AFT], "", clock, Limits(sync_s=0.0))
    writer.start()
    for first in range(0, rows, 50):
        writer.append([reading(n, clock.utc_ns()) for n in range(first, first + 50)])
        writer.flush(sync=True)
    if stop:
        writer.stop("end")
    else:
        # Killed: the lock and the open file go with the process.
        assert writer._lock is not None
        writer._lock.release()
        writer._journals[0]._file.close()
    return writer.folder


def says(report: VerifyReport, severity: str, words: str) -> bool:
    return any(
        finding.severity == severity and words in f"{finding.where}: {finding.says}" for finding in report.findings
    )


def nul_after(share: float) -> Callable[[bytes], bytes]:
    return lambda data: data[: int(len(data) * share)] + bytes(len(data) - int(len(data) * share))


@pytest.mark.parametrize(
    "left", [lambda data: b"", nul_after(0.0), nul_after(0.4)], ids=["empty", "zeros", "half zeros"]
)
def test_a_segment_that_never_reached_the_disk_is_read_from_its_journal(
    tmp_path: Path, left: Callable[[bytes], bytes]
) -> None:
    run = recorded(tmp_path, 500)
    journal = next(run.glob("*.arrows"))
    segment = seal(journal, run / "readings-0001.parquet").path
    segment.write_bytes(left(segment.read_bytes()))
    assert rows_of(tmp_path).keys() == set(range(500))
    report = verify(tmp_path)
    assert says(report, "damage", "readings-0001.parquet: cannot be read")
    assert not any("may be deleted" in finding.says for finding in report.findings)
    # With its journal gone too, the rest of the day is read and the hole named.
    other = recorded(tmp_path, 100, stop=True)
    journal.unlink()
    assert rows_of(tmp_path).keys() == set(range(100)) and other.is_dir()
    assert says(verify(tmp_path), "damage", "readings-0001.parquet")


@pytest.mark.parametrize(
    ("left", "rows", "severity", "words"),
    [
        (lambda data: b"", 0, "loss", "is empty: what it held was not on the disk yet"),
        (nul_after(0.0), 0, "loss", "torn tail"),
        (nul_after(0.5), None, "loss", "torn tail"),
        (lambda data: data + bytes(4096), 500, "loss", "torn tail: 4096 bytes"),
        (lambda data: data[:6000] + bytes(4096) + data[10096:], None, "damage", "bytes skipped"),
        (lambda data: bytes(4096) + data[4096:], None, "damage", "batch not whole at byte 0"),
    ],
    ids=["empty", "zeros", "half zeros", "zeros after", "zeros between", "zeros at its head"],
)
def test_an_open_journal_with_holes(
    tmp_path: Path, left: Callable[[bytes], bytes], rows: int | None, severity: str, words: str
) -> None:
    journal = next(recorded(tmp_path, 500).glob("*.arrows"))
    journal.write_bytes(left(journal.read_bytes()))
    found = rows_of(tmp_path)
    assert len(found) == rows if rows is not None else 0 < len(found) < 500
    assert all(value == n / 1000 for n, value in found.items())
    assert says(verify(tmp_path), severity, words)
    recorded(tmp_path, 50, stop=True)
    assert rows_of(tmp_path).keys() >= set(range(50))


@pytest.mark.parametrize("left", [b"", bytes(300)], ids=["empty", "zeros"])
@pytest.mark.parametrize("name", ["start.json", "stop.json"])
def test_a_record_of_start_or_stop_without_its_bytes(tmp_path: Path, name: str, left: bytes) -> None:
    run = recorded(tmp_path, 200, stop=True)
    (run / name).write_bytes(left)
    assert rows_of(tmp_path).keys() == set(range(200))
    assert len(list_runs(tmp_path / "record")) == 1
    assert says(verify(tmp_path), "damage", f"{name} cannot be read")


def test_a_renaming_that_did_not_last_leaves_what_was_before(tmp_path: Path) -> None:
    run = recorded(tmp_path, 200)
    journal = next(run.glob("*.arrows"))
    seal(journal, run / "readings-0001.parquet").path.rename(run / "readings-0001.parquet.tmp")
    (run / "stop.json.tmp").write_text("{}", encoding="utf-8")
    assert rows_of(tmp_path).keys() == set(range(200))
    report = verify(tmp_path)
    assert report.sound and says(report, "remark", "no stop record")
    assert says(report, "remark", "readings-0001.parquet.tmp: was never finished")


@pytest.mark.parametrize("left", [bytes(200), bytes(200) + b"\n", b'{"number": 4, "at'], ids=["zeros", "line", "torn"])
def test_marks_confirmed_before_are_there_and_the_next_one_is_too(tmp_path: Path, left: bytes) -> None:
    log = EventLog(tmp_path)
    for text in ("one", "two", "three"):
        log.append("note", "mate", {"text": text})
    log.path.write_bytes(log.path.read_bytes() + left)
    assert [event.data["text"] for event in log.read()] == ["one", "two", "three"]
    assert says(verify(tmp_path), "damage", "line 4 is")
    assert log.append("note", "mate", {"text": "five"}).number == 5
    assert [event.data["text"] for event in log.read()] == ["one", "two", "three", "five"]
    assert len(log.verify().faults) == 1


def test_notes_of_a_run_with_zeros_at_their_end(tmp_path: Path) -> None:
    run = recorded(tmp_path, 100, stop=True)
    notes = run / "notes.jsonl"
    notes.write_bytes(notes.read_bytes() + bytes(100))
    assert rows_of(tmp_path).keys() == set(range(100))
    assert says(verify(tmp_path), "damage", "notes.jsonl")
