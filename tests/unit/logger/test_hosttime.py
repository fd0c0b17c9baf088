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
