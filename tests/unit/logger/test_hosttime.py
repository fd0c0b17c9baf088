import json
from pathlib import Path

import pytest

from logger.clock import SECOND, SystemClock, monotonic_ns
from logger.hosttime import host_clock
from quietheel.page.notes import Notes

HOUR = 3600 * SECOND


def recording(record: Path, offset_ns: int) -> Path:
    """A run being recorded, whose time is so far off the system clock because somebody set that one since."""
    run = record / "20310514T073000Z-1"
    run.mkdir(parents=True)
    start = {"run": run.name, "started_ns": 1, "plan_digest": "", "channels": []}
    (run / "start.json").write_text(json.dumps(start), encoding="utf-8")
    anchor = {"monotonic_ns": monotonic_ns(), "utc_ns": SystemClock().utc_ns() + offset_ns, "doubt_ns": 0}
    note = {"kind": "clock", "data": {"anchor": anchor, "speed": 1.0}}
    (run / "notes.jsonl").write_text(json.dumps(note) + "\n", encoding="utf-8")
    return run


@pytest.mark.parametrize("hours", [-2, -1, 1, 2, 5])
def test_page_and_command_line_stamp_a_mark_alike_after_the_clock_was_set(tmp_path: Path, hours: int) -> None:
    run = recording(tmp_path, hours * HOUR)
    notes = Notes()
    notes.look(run)
    page, typed, system = notes.run_clock().utc_ns(), host_clock(tmp_path).utc_ns(), SystemClock().utc_ns()
    assert abs(page - typed) < SECOND
    assert abs(typed - system - hours * HOUR) < SECOND


def test_an_anchor_from_before_a_restart_is_not_used(tmp_path: Path) -> None:
    recording(tmp_path, -48 * HOUR)
    assert abs(host_clock(tmp_path).utc_ns() - SystemClock().utc_ns()) < SECOND


@pytest.mark.parametrize(
    "line",
    [
        '{"kind": "clock", "data": {"anchor": {"monotonic_ns": Infinity, "utc_ns": 1}, "speed": 1.0}}',
        '{"kind": "clock", "data": [1, 2]}',
        '{"kind": "clock", "data": "text"}',
        "[" * 100_000,
        "\ufeff{}",
        '{"kind": "clock"',
    ],
    ids=["infinite", "list", "text", "deep", "mark", "torn"],
)
def test_a_damaged_note_stops_neither_marks_nor_the_page(tmp_path: Path, line: str) -> None:
    run = recording(tmp_path, 2 * HOUR)
    with (run / "notes.jsonl").open("a", encoding="utf-8") as file:
        file.write(line + "\n")
    notes = Notes()
    notes.look(run)
    assert abs(notes.run_clock().utc_ns() - host_clock(tmp_path).utc_ns()) < SECOND
    assert abs(host_clock(tmp_path).utc_ns() - SystemClock().utc_ns() - 2 * HOUR) < SECOND
