"""A long day is judged alike live, played again and reduced, and no reading is lost in playing it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import page_day
import pytest

from config.folder import TestFolder
from dsp.day import evaluate_day
from dsp.types import Day
from logger.archive.reader import read_series
from logger.archive.thinned import ThinnedRecord, read_thinned
from logger.events import EventLog
from logger.marks import MarkedWindow, marked_windows
from quietheel.jobs import day as jobs
from quietheel.jobs.day import day_with, open_day, scanned_day
from quietheel.page.tail import TailSource
from quietheel.replay import reel
from quietheel.replay.play import play_through
from quietheel.replay.reel import Reel
from quietheel.replay.source import ReplaySource

RATE = 20.0


@pytest.fixture(scope="module")
def day(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("long") / "merrowby"
    page_day.make_day(folder, states=5, rate=RATE)
    return folder


@pytest.fixture
def long(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(jobs, "LONG_ROWS", 1000)


def windows_of(day: Path) -> tuple[MarkedWindow, ...]:
    return tuple(marked_windows(EventLog(day).read(), TestFolder(day).plan()))


def same(one: Day, other: Day) -> None:
    assert one.epoch_ns == other.epoch_ns
    assert one.windows == other.windows
    assert [trace.station for trace in one.heel] == [trace.station for trace in other.heel]
    for mine, theirs in zip(one.heel, other.heel, strict=True):
        assert np.array_equal(mine.time, theirs.time)
        assert np.array_equal(mine.value, theirs.value)
        assert np.array_equal(mine.count, theirs.count)


@pytest.mark.usefixtures("long")
def test_live_and_replay_are_handed_the_same_day_and_judge_it_alike(day: Path) -> None:
    place, windows = TestFolder(day), windows_of(day)
    live, played = TailSource(place), ReplaySource(place)
    # Window after window, as they close: what was read before is used again.
    for number in range(1, len(windows) + 1):
        some = windows[:number]
        stop_ns = some[-1].stop_ns or 0
        same(live.day(some, stop_ns), played.day(some, stop_ns))
    stop_ns = windows[-1].stop_ns or 0
    fresh = ReplaySource(place).day(windows, stop_ns)
    same(played.day(windows, stop_ns), fresh)
    assert fresh.heel[0].count.size and fresh.heel[0].count.max() > 1, "means between the windows"
    mine, theirs = evaluate_day(fresh), evaluate_day(live.day(windows, stop_ns))
    assert [w.heel for w in mine.windows] == [w.heel for w in theirs.windows]
    assert [(w.verdict, w.reasons) for w in mine.windows] == [(w.verdict, w.reasons) for w in theirs.windows]


def test_means_between_the_windows_change_no_verdict_and_hardly_the_heel(
    day: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = evaluate_day(open_day(day).day)
    monkeypatch.setattr(jobs, "LONG_ROWS", 1000)
    recorded = open_day(day)
    assert recorded.reader is not None
    assert open_day(day, whole=True).reader is None
    thin = evaluate_day(recorded.day)
    for one, other in zip(whole.windows, thin.windows, strict=True):
        assert one.verdict == other.verdict
        assert one.reasons == other.reasons
        assert other.heel == pytest.approx(one.heel, abs=0.2 * one.u)
        assert other.u == pytest.approx(one.u, rel=0.25)


@pytest.mark.usefixtures("long")
def test_other_windows_are_read_in_full(day: Path) -> None:
    scanned = scanned_day(day)
    assert np.diff(scanned.day.heel[0].time).min() == pytest.approx(0.5), "means, each as one reading"
    spans = open_day(day).day.windows[1:3]
    read = day_with(scanned, spans)
    assert read.day.windows == spans
    trace = read.day.heel[0]
    for span in spans:
        inside = (trace.time >= span.start) & (trace.time < span.stop)
        assert inside.sum() == pytest.approx(RATE * (span.stop - span.start), abs=2)
        assert (trace.count[inside] == 1).all()
    outside = trace.time < spans[0].start - 20.0
    assert (trace.count[outside] > 1).all()


def test_a_short_day_needs_no_second_reading(day: Path) -> None:
    scanned = scanned_day(day)
    spans = open_day(day).day.windows[1:3]
    read = day_with(scanned, spans)
    assert read.day.windows == spans
    assert read.day.heel is scanned.day.heel
    assert read.series is scanned.series


def test_what_was_kept_is_what_would_be_read(day: Path) -> None:
    record = TestFolder(day).record
    spans = [(w.start_ns, w.stop_ns or 0) for w in windows_of(day)]
    keeping = ThinnedRecord(record, jobs.THINNED, keep=True)
    for some in (spans[:1], spans[:3], [], spans[2:], spans):
        for one, other in zip(keeping.read(some), read_thinned(record, some, jobs.THINNED), strict=True):
            assert np.array_equal(one.series.time_ns, other.series.time_ns)
            assert np.array_equal(one.series.value, other.series.value)
            assert np.array_equal(one.count, other.count)
            assert one.series.history == other.series.history
    stop_ns = spans[1][1] + 33_333_333_333
    for one in keeping.read(spans[:2], stop_ns):
        half = 125_000_000 if one.count.size and one.count[-1] > 1 else 0
        assert int(one.series.time_ns[-1]) + half <= stop_ns
        assert int(one.series.time_ns[-1]) > stop_ns - 1_100_000_000


def test_the_reel_gives_every_reading_once_and_in_order(day: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reel, "CHUNK_NS", 100_000_000_000)
    record = TestFolder(day).record
    wound = Reel(record)
    got: dict[str, list[np.ndarray]] = {}
    times: dict[str, list[np.ndarray]] = {}
    at = wound.first_ns - 1_000_000_000
    for step_s in (0.5, 3.0, 77.0, 400.0, 20.0, 2000.0):
        for one in wound.between(at, at + round(step_s * 1e9)):
            got.setdefault(f"{one.station} {one.quantity}", []).append(one.value)
            times.setdefault(f"{one.station} {one.quantity}", []).append(one.time_ns)
        at += round(step_s * 1e9)
    for one in read_series(record):
        name = f"{one.station} {one.quantity}"
        assert np.array_equal(np.concatenate(got[name]), one.value), name
        time = np.concatenate(times[name])
        assert (np.diff(time) > 0).all()
        assert np.abs(time - one.time_ns).max() < 5_000_000


@pytest.mark.usefixtures("long")
def test_a_long_day_plays_through_in_pictures_far_apart(day: Path) -> None:
    seen: list[dict] = []  # type: ignore[type-arg]
    play_through(day, step_s=500.0, look=lambda view: seen.append(view.whole()))
    last = seen[-1]
    assert [window["label"] for window in last["windows"]] == ["4", "3", "2", "1", "0"]
    assert last["gm"]["value_m"] == pytest.approx(page_day.GM_M, rel=0.01)
    assert not any(station["ill"] for station in last["stations"] if station["name"] == "aft")
