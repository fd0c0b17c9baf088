"""A record of a day that is over is shown as it stood at its end, whatever this machine's clock says."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "bench"))

import page_day

from config.folder import TestFolder
from quietheel.page.hours import time_section
from quietheel.page.tail import TailSource
from quietheel.page.view import DayView

MINUTE = 60_000_000_000


def test_a_day_dated_ahead_of_the_clock_shows_its_last_rates_and_its_own_length(tmp_path: Path) -> None:
    made = page_day.make_day(tmp_path / "day", states=3)
    view = DayView(TestFolder(made.folder), TailSource(TestFolder(made.folder)))
    try:
        view.step()
        whole = view.whole()
    finally:
        view.close()
    says = next(one["says"] for one in whole["stations"] if one["name"] == "aft")
    assert float(says.split()[0]) == pytest.approx(10.0, abs=0.3), says


def test_windows_are_counted_to_the_last_close_once_all_are_there(tmp_path: Path) -> None:
    made = page_day.make_day(tmp_path / "day", states=1)
    plan = TestFolder(made.folder).plan()
    closed = [10 * MINUTE, 20 * MINUTE]
    assert time_section(plan, closed, 2, 5 * MINUTE, 400 * MINUTE)["says"].startswith("2 of 2 windows in 15 min")
