"""What `verify` finds in a folder that is sound, cut off, damaged or full of gaps."""

from __future__ import annotations

import json
from pathlib import Path

from config.files import digest
from logger.archive.verify import verify
from logger.archive.writer import Limits, RunWriter
from logger.clock import StoppedClock
from logger.events import EventLog
from logger.records import Channel, Flag, Quantity, Reading

START = 1_778_743_800_000_000_000
AFT = Channel("aft", Quantity.HEEL, "deg", "serial:COM4")


def reading(number: int, sequence: int | None = None, flags: Flag = Flag.NONE) -> Reading:
    at = START + number * 100_000_000
    return Reading(
        "aft", Quantity.HEEL, at, None, number % 7 * 0.1, "", flags, number if sequence is None else sequence
    )


def folder(path: Path, rows: list[Reading], limits: Limits | None = None) -> tuple[Path, Path]:
    writer = RunWriter(path / "record", [AFT], "", StoppedClock(START), limits)
    writer.start()
    for begin in range(0, len(rows), 10):
        writer.append(rows[begin : begin + 10])
        writer.flush()
    writer.stop("end")
    EventLog(path).append("note", "mate", {"text": "one"})
    return path, writer.folder


def test_a_sound_folder(tmp_path: Path) -> None:
    path, _ = folder(tmp_path, [reading(n) for n in range(500)], Limits(segment_rows=100))
    report = verify(path)
    assert report.sound and not report.findings and not report.gaps
    assert report.lines() == ["1 run, 500 readings, 1 mark: sound"]
    assert report.events_digest == digest(path / "events.jsonl")


def test_gaps_and_losses_are_told_to_the_millisecond(tmp_path: Path) -> None:
    rows = [reading(n) for n in range(200)] + [reading(n + 34, n) for n in range(200, 300)]
    rows += [reading(n + 34, n + 7) for n in range(300, 400)]
    path, _ = folder(tmp_path, rows)
    report = verify(path)
    assert report.sound and report.channels[0].lost == 7
    assert [round(gap.seconds, 3) for gap in report.gaps] == [3.5]
    text = "\n".join(report.lines())
    assert "nothing for 3.500 s from 2026-05-14T07:30:19.900Z to 2026-05-14T07:30:23.400Z" in text
    assert "7 readings missing by their running numbers" in text


def test_a_byte_changed_in_a_segment_is_found(tmp_path: Path) -> None:
    path, run = folder(tmp_path, [reading(n) for n in range(500)])
    segment = run / "readings-0001.parquet"
    data = bytearray(segment.read_bytes())
    data[300] ^= 1
    segment.write_bytes(data)
    assert not verify(path).sound
    segment.unlink()
    assert "it is not there" in "\n".join(verify(path).lines())


def test_a_changed_start_record_is_found(tmp_path: Path) -> None:
    path, run = folder(tmp_path, [reading(n) for n in range(50)])
    start = json.loads((run / "start.json").read_text(encoding="utf-8"))
    start["channels"][0]["calibration"] = {"scale": 2}
    (run / "start.json").write_text(json.dumps(start), encoding="utf-8", newline="\n")
    assert "start.json: its digest is not that of the stop record" in "\n".join(verify(path).lines())


def test_a_cut_off_run_with_a_torn_tail(tmp_path: Path) -> None:
    writer = RunWriter(tmp_path / "record", [AFT], "", StoppedClock(START))
    writer.start()
    for number in range(100):
        writer.append([reading(number)])
        writer.flush()
    assert writer._lock is not None and writer._journals
    writer._lock.release()
    writer._journals[-1]._file.close()
    path = writer.folder / "journal-0001.arrows"
    path.write_bytes(path.read_bytes()[:-100])
    later = [reading(n) for n in range(700, 800)]
    folder(tmp_path, later)
    report = verify(tmp_path)
    text = "\n".join(report.lines())
    assert report.sound and "torn tail" in text and "no stop record" in text
    assert "nothing recorded for 60.200 s" in text
    assert sum(channel.rows for channel in report.channels) == 199


def test_a_stop_record_cannot_point_outside(tmp_path: Path) -> None:
    path, run = folder(tmp_path, [reading(n) for n in range(50)])
    stop = json.loads((run / "stop.json").read_text(encoding="utf-8"))
    stop["sha256"]["../../secret"] = "0"
    (run / "stop.json").write_text(json.dumps(stop), encoding="utf-8", newline="\n")
    assert verify(path).runs[0].digests == tuple(sorted((k, v) for k, v in stop["sha256"].items() if "/" not in k))
