"""A record of a day that is over is shown as it stood at its end, whatever this machine's clock says."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import page_day
import pytest

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
    closed = {"0": [10 * MINUTE], "1": [20 * MINUTE]}
    assert time_section(plan, closed, 2, 5 * MINUTE, 400 * MINUTE)["says"].startswith("2 of 2 windows in 15 min")


def test_several_windows_of_one_state_are_no_states_and_midnight_ends_no_time_table(tmp_path: Path) -> None:
    made = page_day.make_day(tmp_path / "day", states=1)
    plan = TestFolder(made.folder).plan()  # steps at 09:30, 10:00 and 11:00 local, two hours ahead of UTC
    hour = 60 * MINUTE
    closed = {"0": [8 * hour, 9 * hour], "1": [10 * hour]}
    says = time_section(plan, closed, 4, 7 * hour, 11 * hour)["says"]
    assert says == "3 windows, in 2 of 4 states of the weights, in 4 h 00 min; at this pace the last closes at 16:00."
    early = time_section(plan, {}, 4, None, 6 * hour)
    assert early["says"] == "No window of 4 yet. Next on the time table: 09:30, walk-through of every space."
    late = time_section(plan, {"0": [8 * hour], "1": [26 * hour]}, 2, 7 * hour, 27 * hour)
    assert late["says"] == "2 of 2 windows in 19 h 00 min: every planned window is there."
    assert {step["state"] for step in late["steps"]} == {"gone"}


def test_a_time_table_over_midnight(tmp_path: Path) -> None:
    made = page_day.make_day(tmp_path / "day", states=1)
    plan = TestFolder(made.folder).plan()
    night = plan.model_copy(
        update={
            "schedule": tuple(
                step.model_copy(update={"at": dt.time(at), "what": what})
                for step, at, what in zip(plan.schedule, (22, 23, 2), ("muster", "movements", "gangway"), strict=True)
            )
        }
    )
    hour = 60 * MINUTE
    for first in (21 * hour, 22 * hour + 30 * MINUTE):  # 23:00 and 00:30 local
        says = time_section(night, {"0": [first + MINUTE]}, 2, first, 23 * hour)["says"]
        assert says.endswith("Next on the time table: 02:00, gangway."), says
