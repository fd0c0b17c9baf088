"""A run written, read again, cut off, damaged, continued."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pyarrow.parquet as pq
import pytest

from config.errors import BadInput
from logger.archive.journal import read_journal
from logger.archive.layout import list_runs
from logger.archive.reader import read_series, to_frame
from logger.archive.tail import Tail
from logger.archive.writer import Limits, RunWriter
from logger.clock import StoppedClock
from logger.records import Channel, Flag, Quantity, Reading

START = 1_778_743_800_000_000_000
AFT = Channel("aft", Quantity.HEEL, "deg", "serial:COM4", {"scale": 1.002, "certificate": "C-17"})
MAST = Channel("mast", Quantity.WIND_SPEED, "m/s", "mqtt:pier/mast")


def heel(number: int, *, start: int = START, device: bool = False, flags: Flag = Flag.NONE) -> Reading:
    at = start + number * 100_000_000
    value = round(0.5 + 0.1 * np.sin(number / 10), 3)
    return Reading("aft", Quantity.HEEL, at, at if device else None, value, f"{value} deg", flags, number)


def wind(number: int) -> Reading:
    return Reading(
        "mast", Quantity.WIND_SPEED, START + number * 1_000_000_000, None, 3.0 + number % 5, "", Flag.NONE, number
    )


def written(record: Path, count: int = 300, *, stop: bool = True, limits: Limits | None = None) -> RunWriter:
    writer = RunWriter(record, [AFT, MAST], "d" * 64, StoppedClock(START), limits)
    writer.start()
    for number in range(count):
        writer.append([heel(number)])
        if number % 10 == 0:
            writer.append([wind(number // 10)])
            writer.flush()
    if stop:
        writer.stop("end of the day")
    else:
        writer.flush(sync=True)
        leave(writer)
    return writer


def leave(writer: RunWriter) -> None:
    """What the system does when the process dies: the lock goes, the files stay."""
    assert writer._lock is not None
    writer._lock.release()
    assert writer._journals
    writer._journals[-1]._file.close()


def test_a_run_comes_back_as_it_was(tmp_path: Path) -> None:
    writer = written(tmp_path)
    assert writer.folder.name == "20260514T073000Z-1"
    assert sorted(p.name for p in writer.folder.iterdir() if not p.name.startswith(".")) == [
        "notes.jsonl",
        "readings-0001.parquet",
        "start.json",
        "stop.json",
    ]
    aft, mast = read_series(tmp_path)
    assert (aft.station, aft.unit, len(aft), len(mast)) == ("aft", "deg", 300, 30)
    assert np.array_equal(aft.value, [heel(n).value for n in range(300)])
    assert np.abs(aft.time_ns - [heel(n).host_ns for n in range(300)]).max() < 1000
    assert aft.history[0] == "300 readings from run 20260514T073000Z-1"
    assert "10 Hz" in aft.history[1]


def test_a_sealed_segment_explains_itself_to_an_ordinary_reader(tmp_path: Path) -> None:
    folder = written(tmp_path).folder
    table = pq.read_table(folder / "readings-0001.parquet")
    assert table.column_names == ["time", "device_time", "station", "quantity", "value", "sent", "flags", "sequence"]
    assert str(table.schema.field("time").type) == "timestamp[ns, tz=UTC]"
    assert b"arrival at the logger" in table.schema.field("time").metadata[b"description"]
    channels = json.loads(table.schema.metadata[b"quietheel.channels"])
    assert channels[0]["unit"] == "deg" and channels[0]["calibration"]["certificate"] == "C-17"
    assert "starboard side down is positive" in json.loads(table.schema.metadata[b"quietheel.conventions"])["heel"]
    metadata = pq.read_metadata(folder / "readings-0001.parquet")
    assert metadata.num_row_groups == 2
    assert metadata.row_group(0).column(0).compression == "ZSTD"
    assert "DELTA_BINARY_PACKED" in metadata.row_group(0).column(0).encodings


def test_the_start_record_is_on_disk_before_the_first_reading(tmp_path: Path) -> None:
    writer = RunWriter(tmp_path, [AFT], "d" * 64, StoppedClock(START))
    folder = writer.start()
    start = json.loads((folder / "start.json").read_text(encoding="utf-8"))
    assert start["channels"][0]["source"] == "serial:COM4" and start["plan_digest"] == "d" * 64
    run = list_runs(tmp_path)[0]
    assert run.cut_off and run.started_ns == START and run.channels == (AFT,)
    writer.stop("test")
    assert not list_runs(tmp_path)[0].cut_off


def test_a_run_that_was_cut_off_is_read_and_continued_in_a_new_run(tmp_path: Path) -> None:
    written(tmp_path, 300, stop=False)
    assert list_runs(tmp_path)[0].cut_off
    again = RunWriter(tmp_path, [AFT, MAST], "d" * 64, StoppedClock(START))
    assert again.start().name == "20260514T073000Z-2"
    again.append([heel(n) for n in range(400, 600)])
    again.stop("end of the day")
    aft = read_series(tmp_path, station="aft")[0]
    assert len(aft) == 500
    assert (np.diff(aft.time_ns) > 0).all()
    assert "20260514T073000Z-1, 20260514T073000Z-2" in aft.history[0]
    assert len(read_series(tmp_path, station="aft", runs=["20260514T073000Z-2"])[0]) == 200
    with pytest.raises(BadInput, match="one of"):
        read_series(tmp_path, runs=["20260101T000000Z-1"])


def test_only_one_logger_at_a_time(tmp_path: Path) -> None:
    first = RunWriter(tmp_path, [AFT], "", StoppedClock(START))
    first.start()
    with pytest.raises(BadInput, match="one logger at a time"):
        RunWriter(tmp_path, [AFT], "", StoppedClock(START)).start()
    first.stop("test")


def test_segments_are_sealed_on_the_way_and_nothing_is_counted_twice(tmp_path: Path) -> None:
    writer = written(tmp_path, 1000, limits=Limits(segment_rows=200))
    names = sorted(p.name for p in writer.folder.glob("readings-*.parquet"))
    assert names == [f"readings-{n:04d}.parquet" for n in range(1, len(names) + 1)] and len(names) >= 5
    assert not list(writer.folder.glob("journal-*"))
    aft, mast = read_series(tmp_path, repair=False)
    assert (len(aft), len(mast)) == (1000, 100)
    stop = json.loads((writer.folder / "stop.json").read_text(encoding="utf-8"))
    assert sum(segment["rows"] for segment in stop["segments"]) == 1100


def test_a_journal_beside_its_sealed_segment_counts_once(tmp_path: Path) -> None:
    writer = written(tmp_path, 100, stop=False)
    from logger.archive.seal import seal

    seal(writer.folder / "journal-0001.arrows", writer.folder / "readings-0001.parquet")
    assert len(read_series(tmp_path, station="aft")[0]) == 100


def test_flush_tells_which_rows_are_safe(tmp_path: Path) -> None:
    writer = RunWriter(tmp_path, [AFT], "", StoppedClock(START), Limits(sync_s=3600))
    writer.start()
    appended = writer.append([heel(0), heel(1)])
    assert (appended.first, appended.stop, appended.refused) == (0, 2, 0)
    result = writer.flush()
    assert result.visible_rows == 2 and result.safe_rows == 0
    assert writer.flush(sync=True).safe_rows == 2
    writer.stop("test")


def test_too_many_waiting_rows_are_refused_and_the_loss_is_flagged(tmp_path: Path) -> None:
    writer = RunWriter(tmp_path, [AFT], "", StoppedClock(START), Limits(waiting_rows=10))
    writer.start()
    assert writer.append([heel(n) for n in range(10)]).refused == 0
    assert writer.append([heel(10)]).refused == 1
    assert writer.flush().refused_rows == 1
    writer.append([heel(11)])
    writer.stop("test")
    flags = read_series(tmp_path, repair=False)[0].flags
    assert flags[-1] == Flag.DROPPED_BEFORE and not flags[:-1].any()


def test_a_full_disk_is_said_and_survived(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    writer = RunWriter(tmp_path, [AFT], "", StoppedClock(START))
    writer.start()
    writer.append([heel(n) for n in range(50)])
    writer.flush(sync=True)
    journal = writer._journals[-1]
    put = journal._put

    def half(data: bytes) -> None:
        put(data[: len(data) // 2])
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(journal, "_put", half)
    for number in range(50, 100):
        writer.append([heel(number)])
        result = writer.flush()
    assert result.error.startswith("No space left") and result.waiting_rows == 50 and result.safe_rows == 50
    assert len(read_series(tmp_path)[0]) == 50
    monkeypatch.setattr(journal, "_put", put)
    result = writer.flush(sync=True)
    assert not result.error and result.safe_rows == 100
    writer.stop("test")
    assert len(read_series(tmp_path, repair=False)[0]) == 100
    kinds = [
        json.loads(line)["kind"] for line in (writer.folder / "notes.jsonl").read_text(encoding="utf-8").splitlines()
    ]
    assert kinds == ["disk", "disk", "stopped"]


def test_every_whole_batch_before_a_cut_is_read(tmp_path: Path) -> None:
    writer = written(tmp_path, 300, stop=False)
    path = writer.folder / "journal-0001.arrows"
    data = path.read_bytes()
    whole = read_journal(path)
    ends = []
    offset = 0
    for count in range(1, len(whole.batches) + 1):
        offset = _end(data, count)
        ends.append(offset)
    rng = np.random.default_rng(3)
    for cut in [*rng.integers(0, len(data), 60).tolist(), *ends[:5], ends[0] + 1, ends[0] - 1]:
        path.write_bytes(data[:cut])
        expected = sum(end <= cut for end in ends)
        assert len(read_journal(path).batches) == expected, cut
    path.write_bytes(data)


def _end(data: bytes, count: int) -> int:
    import pyarrow as pa

    source = pa.BufferReader(pa.py_buffer(data))
    stream = pa.ipc.open_stream(source)
    for _ in range(count):
        stream.read_next_batch()
    return int(source.tell())


def test_a_damaged_batch_in_the_middle_costs_only_itself(tmp_path: Path) -> None:
    writer = written(tmp_path, 300, stop=False)
    path = writer.folder / "journal-0001.arrows"
    data = bytearray(path.read_bytes())
    total = len(read_journal(path).batches)
    for place in (_end(bytes(data), 10) + 40, _end(bytes(data), 11) - 40):
        damaged = bytearray(data)
        damaged[place] ^= 0x5A
        path.write_bytes(damaged)
        part = read_journal(path)
        assert len(part.batches) == total - 1 and len(part.damage) == 1 and not part.damage[0].at_end
    assert len(read_series(tmp_path, station="aft")[0]) >= 290


def test_tail_gives_each_reading_once(tmp_path: Path) -> None:
    writer = RunWriter(tmp_path, [AFT, MAST], "", StoppedClock(START), Limits(segment_rows=100))
    tail = Tail(tmp_path)
    assert tail.look() == []
    writer.start()
    seen: list[int] = []
    for number in range(0, 300, 10):
        writer.append([heel(n) for n in range(number, number + 10)])
        writer.flush()
        for arrived in tail.look():
            assert (arrived.station, arrived.unit) == ("aft", "deg")
            seen += arrived.time_ns.tolist()
    writer.stop("test")
    assert seen == [heel(n).host_ns for n in range(300)]


def test_hostile_values_are_stored_not_raised(tmp_path: Path) -> None:
    writer = RunWriter(tmp_path, [AFT], "", StoppedClock(START))
    writer.start()
    writer.append(
        [
            Reading("aft", Quantity.HEEL, START, 2**70, float("nan"), "\ud800 deg", Flag.NONE, 0),
            Reading("aft", Quantity.HEEL, START + 1, -1, float("inf"), "x" * 10_000, Flag.SUSPECT, 1),
        ]
    )
    assert not writer.flush().error
    writer.note("../../etc", {"odd": {1, 2}, "worse": float("nan")})
    writer.stop("test")
    frame = to_frame(tmp_path)
    assert len(frame) == 2 and frame["device_time"].isna().tolist() == [True, False]
    with pytest.raises(BadInput, match="announced"):
        writer.append([Reading("other", Quantity.HEEL, 0, None, 0.0, "")])


def test_a_run_as_a_frame_in_one_line(tmp_path: Path) -> None:
    folder = written(tmp_path).folder
    frame = to_frame(folder)
    assert len(frame) == 330 and frame["time"].is_monotonic_increasing
    assert set(frame["unit"]) == {"deg", "m/s"} and str(frame["time"].dtype) == "datetime64[ns, UTC]"
    part = to_frame(tmp_path, start_ns=START + 1_000_000_000, stop_ns=START + 2_000_000_000)
    assert len(part) == 11


def test_a_stretch_of_time_reads_only_what_lies_in_it(tmp_path: Path) -> None:
    written(tmp_path, 1000, limits=Limits(segment_rows=200))
    part = read_series(tmp_path, quantity="heel", start_ns=START + 30_000_000_000, stop_ns=START + 40_000_000_000)[0]
    assert len(part) == 100
    assert read_series(tmp_path, quantity=Quantity.TRIM) == []
    assert read_series(tmp_path / "nowhere") == []


def test_writing_sealing_and_reading_need_no_pandas(tmp_path: Path) -> None:
    """Its import would hold a starting logger up for as long as a second on a busy laptop."""
    script = f"""
import sys
from pathlib import Path
from logger.archive.reader import read_series
from logger.archive.tail import Tail
from logger.archive.writer import Limits, RunWriter
from logger.clock import StoppedClock
from logger.records import Channel, Quantity, Reading
record = Path({str(tmp_path)!r})
aft = Channel("aft", Quantity.HEEL, "deg", "")
writer = RunWriter(record, [aft], "", StoppedClock({START}), Limits(segment_rows=50))
writer.start()
for n in range(200):
    writer.append([Reading("aft", Quantity.HEEL, {START} + n * 10**8, None, 0.1 * n, "")])
    writer.flush()
assert Tail(record).look()
writer.stop("end")
assert len(read_series(record)[0]) == 200
assert "pandas" not in sys.modules, "pandas was imported"
"""
    root = Path(__file__).resolve().parents[3]
    done = subprocess.run([sys.executable, "-c", script], cwd=root, capture_output=True, text=True, timeout=60)
    assert done.returncode == 0, done.stderr
