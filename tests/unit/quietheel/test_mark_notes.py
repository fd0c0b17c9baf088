"""A mark that may stand but looks like a slip is said to, with the way back; one that cannot be is refused in words."""

from __future__ import annotations

import time
from datetime import UTC, datetime
from pathlib import Path

import pytest

from config.errors import BadInput
from logger.events import Event, EventLog
from quietheel.cli import run
from quietheel.jobs.mark_notes import notes_on
from quietheel.jobs.marking import mark, state
from quietheel.jobs.new import new

AT = round(datetime.now(UTC).timestamp() - 3600.0) * 10**9


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return new("fresh", tmp_path)


def put(folder: Path, kind: str, minute: float = 0.0, **data: object) -> Event:
    return mark(folder, kind, data, by="mate", at_ns=AT + round(minute * 60e9))


def said(folder: Path, kind: str, minute: float = 0.0, **data: object) -> str:
    return "; ".join(notes_on(folder, put(folder, kind, minute, **data)))


def test_an_orderly_day_is_not_remarked_upon(folder: Path) -> None:
    for number in range(3):
        if number:
            assert said(folder, "movement", 10 * number, movement=str(number)) == ""
        assert said(folder, "window_open", 10 * number + 2) == ""
        assert said(folder, "window_close", 10 * number + 5) == ""
        assert said(folder, "reading", 10 * number + 6, station="pendulum", deflections_mm=[-12, 14, -11]) == ""


def test_a_movement_out_of_order_and_one_marked_twice(folder: Path) -> None:
    assert "movement 2 follows movement 0 here; in the plan it is movement 1" in said(
        folder, "movement", 0, movement="2"
    )
    assert "movement 2 was marked before" in said(folder, "movement", 1, movement="2")
    assert 'quietheel mark void "why" --event 3' in said(folder, "movement", 2, movement="2")


def test_a_window_named_after_a_movement_that_was_not_made(folder: Path) -> None:
    assert "opened in the state of movement 0" in said(folder, "window_open", 0, window="1")
    assert state(folder).windows[0].movement == "0"


def test_readings_in_another_unit_and_readings_again(folder: Path) -> None:
    put(folder, "window_open")
    put(folder, "window_close", 3)
    assert "at 16 deg of heel" in said(folder, "reading", 4, station="pendulum", deflections_mm=[-1200, 1400, -1100])
    assert "line 3: this one takes its place" in said(
        folder, "reading", 5, station="pendulum", deflections_mm=[1, 2, 1]
    )


def test_a_batten_read_from_one_end_counts_from_its_first_reading(folder: Path) -> None:
    for number, middle in enumerate((1200.0, 1320.0)):
        put(folder, "window_open", 10 * number, window=str(number), movement=str(number))
        put(folder, "window_close", 10 * number + 3)
        swings = [middle - 12, middle + 14, middle - 11]
        assert said(folder, "reading", 10 * number + 4, station="pendulum", deflections_mm=swings) == ""


@pytest.mark.parametrize(("minutes", "words"), [(-3 * 1440, "is not the day of the marking"), (0, "")])
def test_a_typed_time_of_another_day(folder: Path, minutes: float, words: str) -> None:
    noted = notes_on(folder, put(folder, "note", minutes + 60, text="tea"), timed=True)
    assert any(words in note for note in noted) if words else not noted


def test_a_typed_time_to_come(folder: Path) -> None:
    event = mark(folder, "note", {"text": "tea"}, by="mate", at_ns=time.time_ns() + 300 * 10**9)
    noted = notes_on(folder, event, timed=True)
    assert any("in the future" in note or "is not the day" in note for note in noted)
    assert not notes_on(folder, event)


@pytest.mark.parametrize(
    ("kind", "data", "words"),
    [
        ("window_close", {}, "no window is open"),
        ("void", {"reason": "slip"}, "say what: --window LABEL, or --event"),
        ("note", {"text": " "}, "some words"),
    ],
)
def test_what_cannot_be_marked_is_refused_in_words(folder: Path, kind: str, data: dict[str, str], words: str) -> None:
    with pytest.raises(BadInput, match=words):
        put(folder, kind, 0, **data)


def test_nothing_is_voided_twice_and_voiding_the_void_lets_it_stand_again(folder: Path) -> None:
    put(folder, "window_open")
    put(folder, "window_close", 3)
    void = put(folder, "void", 4, window="0", reason="slip")
    with pytest.raises(BadInput, match=f"line {void.number} voids it already"):
        put(folder, "void", 5, window="0", reason="slip again")
    with pytest.raises(BadInput, match="voids it already"):
        put(folder, "void", 6, event=put(folder, "void", 5, event=2, reason="not closed").data["event"], reason="again")
    put(folder, "void", 7, event=void.number, reason="it was right")
    assert not state(folder).windows[0].voided


def test_ashore_may_be_typed_as_a_place(folder: Path) -> None:
    assert run(["mark", "people", "mate", "ashore", "-C", str(folder)]) == 0
    last = EventLog(folder).read()[-1]
    assert last.kind == "people"
    assert last.data["ashore"] is True
    assert not last.data.get("place")
