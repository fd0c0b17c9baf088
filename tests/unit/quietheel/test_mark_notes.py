"""A mark that may stand but looks like a slip is said to, with the way back; one that cannot be is refused in words."""

from __future__ import annotations

import time
from datetime import UTC, datetime
from pathlib import Path

import pytest

from config.errors import BadInput
from config.folder import TestFolder
from logger.events import Event, EventLog
from quietheel.cli import run
from quietheel.jobs.mark_notes import notes_on
from quietheel.jobs.marking import mark, state
from quietheel.jobs.new import new
from quietheel.page.marking import next_section

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


def test_a_window_marked_afterwards_takes_nobodys_closing(folder: Path) -> None:
    put(folder, "window_open", 10, window="1", movement="1")
    close = put(folder, "window_close", 13)
    assert close.data == {"window": "1", "opened": 1}
    noted = said(folder, "window_open", 11, window="2", movement="2")
    assert "window 2 is opened inside window 1, " in noted
    assert 'quietheel mark void "why" --event 3' in noted
    one, two = state(folder).windows
    assert (one.stop_ns, two.stop_ns) == (AT + round(13 * 60e9), None)
    assert ", overlaps window 1, " in said(folder, "window_close", 12)
    assert state(folder).windows[1].stop_ns == AT + round(12 * 60e9)


def test_a_window_marked_afterwards_takes_nobodys_label(folder: Path) -> None:
    put(folder, "window_open", 10)
    put(folder, "window_close", 13)
    assert said(folder, "window_open", 20, window="0") == ""
    put(folder, "window_close", 23)
    assert "window 0c is opened before window 0, " in said(folder, "window_open", 2)
    put(folder, "window_close", 5)
    spans = [(w.label, (w.start_ns - AT) / 60e9, ((w.stop_ns or 0) - AT) / 60e9) for w in state(folder).windows]
    assert spans == [("0c", 2, 5), ("0", 10, 13), ("0b", 20, 23)]


def test_a_closing_at_an_earlier_time_is_that_of_the_window_open_then(folder: Path) -> None:
    put(folder, "window_open", 0)
    put(folder, "movement", 5, movement="1")
    put(folder, "window_open", 10)
    assert put(folder, "window_close", 4).data["window"] == "0"
    assert put(folder, "window_close", 14).data["window"] == "1"


def test_two_windows_at_once_and_a_label_of_no_movement(folder: Path) -> None:
    put(folder, "window_open")
    noted = said(folder, "window_open", 1, window="99")
    assert "window 99 is named after no movement of the plan, and its moment is that of movement 0" in noted
    assert "window 99 is opened while window 0 is, open since " in noted
    assert "`quietheel mark close 0` closes that one" in noted
    put(folder, "window_close", 5, window="0")
    put(folder, "window_close", 6, window="99")
    assert said(folder, "window_open", 8, window="0b") == ""


@pytest.mark.parametrize(
    ("minutes", "words"), [(0.05, "was open for 3 s; 20 s is the least"), (60 * 24 * 400, "9,600 h long")]
)
def test_a_window_that_is_too_short_or_too_long(folder: Path, minutes: float, words: str) -> None:
    put(folder, "window_open", -minutes)
    assert words in said(folder, "window_close", 0)


def test_what_is_odd_is_said_once(folder: Path) -> None:
    put(folder, "window_open")
    assert "window 0: still open when movement 1 was made" in said(folder, "movement", 5, movement="1")
    assert said(folder, "note", 6, text="tea") == ""
    assert state(folder).remarks == ("window 0: still open when movement 1 was made",)


def test_what_is_odd_is_shown_on_the_page_until_the_next_mark(folder: Path) -> None:
    plan = TestFolder(folder).plan()

    def shown() -> str:
        return str(next_section(plan, state(folder), None, EventLog(folder).read())["then"])

    put(folder, "window_open")
    put(folder, "movement", 5, movement="1")
    assert "Odd: window 0: still open when movement 1 was made." in shown()
    put(folder, "note", 6, text="tea")
    assert "Odd" not in shown()
    marks = folder / "events.jsonl"
    marks.write_text(marks.read_text(encoding="utf-8").replace('"1"', '"2"'), encoding="utf-8")
    assert "Odd: line 3 of events.jsonl does not carry the digest" in shown()


def test_a_reading_says_which_window_it_counts_in(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert "it counts in none" in said(folder, "reading", 0, station="pendulum", deflections_mm=[1, 2, 1])
    put(folder, "window_open", 1)
    assert run(["mark", "reading", "pendulum", "-C", str(folder), "--", "1", "2", "1"]) == 0
    assert "it counts in window 0; --window names another one" in capsys.readouterr().err
