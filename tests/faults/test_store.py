"""The store under faults, reduced from tests/bench/store_faults.py and kills.py; the full sizes are marked soak."""

from __future__ import annotations

import importlib.util
import os
import sys
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from hand_clock import HandClock

from logger.archive.layout import list_runs
from logger.archive.reader import read_series
from logger.archive.writer import RunWriter
from logger.clock import StoppedClock
from logger.records import Channel, Quantity, Reading

BENCH = Path(__file__).resolve().parents[1] / "bench"


def bench(name: str) -> ModuleType:
    sys.path.insert(0, str(BENCH))
    try:
        spec = importlib.util.spec_from_file_location(f"bench_{name}", BENCH / f"{name}.py")
        assert spec is not None and spec.loader is not None
        module = importlib.util.module_from_spec(spec)
        sys.modules[spec.name] = module
        spec.loader.exec_module(module)
        return module
    finally:
        sys.path.remove(str(BENCH))


@pytest.mark.parametrize("cuts", [40, pytest.param(500, marks=pytest.mark.soak)])
def test_a_journal_cut_anywhere_gives_every_whole_batch(cuts: int) -> None:
    found = bench("store_faults").cut_anywhere(cuts)
    assert (found["whole batches missed"], found["wrong rows"]) == (0, 0)


@pytest.mark.parametrize("times", [60, pytest.param(2000, marks=pytest.mark.soak)])
def test_a_damaged_journal_gives_no_wrong_row(times: int) -> None:
    found = bench("store_faults").damage_anywhere(times)
    assert (found["wrong rows"], found["more than two batches lost"]) == (0, 0)


@pytest.mark.skipif(os.name != "posix", reason="needs a small disk or a limit on the size of files")
def test_a_full_disk_loses_nothing_that_was_accepted() -> None:
    found = bench("store_faults").full_disk()
    assert found["alarm at row"] > 0
    assert (found["accepted but missing"], found["wrong rows"], found["verify"]) == (0, 0, "sound")
    assert found["error after space came back"] == ""


def test_a_twentieth_sent_twice_counts_once() -> None:
    found = bench("store_faults").everything_twice()
    assert found["twice"] > 0 and found["left after repair"] == found["should be"]
    assert found["more than 1 ms off"] == 0


def _holds(outcome: Any) -> None:
    assert not outcome.damaged and outcome.marks_lost == 0 and outcome.holes == 0
    assert outcome.marks > 0 and max(outcome.missing_s) <= 1.0


@pytest.mark.skipif(os.name != "posix", reason="kill -9")
def test_killed_while_writing_and_sealing() -> None:
    _holds(bench("kills").kill_again_and_again(3, "writer", 4))


@pytest.mark.soak
@pytest.mark.broker
@pytest.mark.timeout(3600)
@pytest.mark.skipif(os.name != "posix", reason="kill -9, ptys")
def test_the_whole_logger_killed_two_hundred_times() -> None:
    _holds(bench("kills").kill_again_and_again(200, "logger", 1))


@pytest.mark.parametrize("hours", [1, -1])
def test_a_clock_stepped_by_an_hour_between_two_runs_keeps_every_reading_in_order(tmp_path: Path, hours: int) -> None:
    channel = Channel("aft", Quantity.HEEL, "deg", "test")
    clock = HandClock()
    for part in range(2):
        start = clock.utc_ns() + part * hours * 3_600_000_000_000
        writer = RunWriter(tmp_path, [channel], "", StoppedClock(start))
        writer.start()
        writer.append(
            [
                Reading("aft", Quantity.HEEL, start + n * 100_000_000, None, part + n / 1000, "", sequence=n)
                for n in range(600)
            ]
        )
        writer.stop("end")
    assert len(list_runs(tmp_path)) == 2
    series = read_series(tmp_path)[0]
    assert len(series) == 1200 and bool((series.time_ns[1:] > series.time_ns[:-1]).all())
    first = series.value < 0.9
    assert bool((series.value[first][1:] > series.value[first][:-1]).all())
    assert bool((series.value[~first][1:] > series.value[~first][:-1]).all())
