from __future__ import annotations

import json
from pathlib import Path

import page_day
import pytest

from config.errors import BadInput
from config.folder import TestFolder
from logger.archive.reader import read_series
from logger.events import EventLog
from logger.marks import marked_windows
from quietheel.jobs.marking import standing_void
from quietheel.page.app import render
from quietheel.page.broadcast import as_text
from quietheel.page.tail import TailSource
from quietheel.page.view import DayView
from quietheel.replay.play import play_through
from quietheel.replay.source import ReplaySource


@pytest.fixture(scope="module")
def day(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("view") / "merrowby"
    page_day.make_day(folder, states=4)
    return folder


class Wall:
    def __init__(self) -> None:
        self.ns = 0

    def __call__(self) -> int:
        return self.ns


def test_the_day_plays_through_with_verdicts_and_gm(day: Path) -> None:
    seen: list[dict] = []  # type: ignore[type-arg]
    times = play_through(day, step_s=20.0, look=lambda view: seen.append(view.whole()))
    assert times > 20
    last = seen[-1]
    assert [window["label"] for window in last["windows"]] == ["3", "2", "1", "0"]
    assert all(window["verdict"] for window in last["windows"])
    assert last["gm"]["value_m"] == pytest.approx(page_day.GM_M, rel=0.01)
    assert len(last["plot"]["points"]) == 4
    assert [bar["label"] for bar in last["gm"]["history"]] == ["1", "2", "3"]
    assert last["people"]["changes"] == ["Mate is at wheelhouse, not at main deck aft: 240 kg m to port."]
    sentences = {one["next"]["sentence"] for one in seen}
    assert any(s.startswith("Movement 2: weight 4 to starboard; then lines slack") for s in sentences)
    json.loads(as_text(last))


def test_deltas_add_up_to_the_whole(day: Path) -> None:
    wall = Wall()
    view = DayView(TestFolder(day), ReplaySource(TestFolder(day), 1.0, monotonic_ns=wall))
    rows: list[list[int | None]] = []
    state: dict[str, object] = {}
    for second in range(0, 400, 7):
        wall.ns = second * 1_000_000_000
        delta = view.step()
        rows += delta.pop("strip")["rows"]
        state.update(delta)
    view.wait()
    state.update({k: v for k, v in view.step().items() if k != "strip"})
    whole = view.whole()
    strip = whole.pop("strip")
    view.close()
    assert state == whole
    assert rows[-len(strip["rows"]) :] == strip["rows"]
    assert any(row[0] is not None for row in strip["rows"])


def test_a_day_that_begins_anew_forgets(day: Path) -> None:
    wall = Wall()
    source = ReplaySource(TestFolder(day), 1.0, monotonic_ns=wall)
    view = DayView(TestFolder(day), source)
    wall.ns = 300_000_000_000
    view.step()
    source.steer(again=True)
    delta = view.step()
    view.close()
    assert delta["strip"]["anew"]
    assert delta["windows"] == []
    assert delta["marks"] == []


def test_the_played_day_can_be_held_and_hurried(day: Path) -> None:
    wall = Wall()
    source = ReplaySource(TestFolder(day), 2.0, monotonic_ns=wall)
    source.steer(paused=True)
    wall.ns += 10_000_000_000
    assert source.clock.now_ns() == page_day.START_NS
    source.steer(paused="turn", factor=50)
    wall.ns += 1_000_000_000
    assert source.clock.now_ns() == page_day.START_NS + 100_000_000_000
    source.steer(factor=float("nan"), paused=None)
    assert source.clock.speed == 100
    wall.ns += 10**15
    assert source.clock.over


def test_a_played_day_takes_no_marks_and_a_rehearsal_does(day: Path, tmp_path: Path) -> None:
    view = DayView(TestFolder(day), ReplaySource(TestFolder(day), 1.0, monotonic_ns=Wall()))
    with pytest.raises(BadInput, match="played again"):
        view.mark({"kind": "note", "text": "x", "by": "mate"})
    view.close()
    wall = Wall()
    view = DayView(TestFolder(day), ReplaySource(TestFolder(day), 1.0, rehearse_in=tmp_path, monotonic_ns=wall))
    wall.ns = 5_000_000_000
    first = view.mark({"kind": "gangway", "label": "pulled", "by": "mate", "press": "a"})
    again = view.mark({"kind": "gangway", "label": "pulled", "by": "mate", "press": "a"})
    other = view.mark({"kind": "gangway", "label": "pulled", "by": "bosun", "press": "b"})
    view.close()
    assert first == again
    assert other != first, "two people at once: both marks stand"
    events = EventLog(tmp_path).read()
    assert [event.by for event in events] == ["mate", "bosun"]
    assert events[0].at_ns == page_day.START_NS + 5_000_000_000


@pytest.mark.parametrize(
    "body",
    [
        {"kind": "gangway", "label": "gone", "by": "mate"},
        {"kind": "void", "event": 1, "reason": "", "by": "mate"},
        {"kind": "void", "event": True, "reason": "x", "by": 7},
        {"kind": "reading", "station": "aft", "text": "143 151", "by": "mate"},
        {"kind": "reading", "station": "pendulum", "text": "one two", "by": "mate"},
        {"kind": "reading", "station": "pendulum", "text": "", "by": "mate"},
        {"kind": "waterline", "by": "mate"},
        {"kind": "note", "text": "  ", "by": "mate"},
        {"kind": "confirm", "what": "weather", "by": "mate"},
        {"kind": ["note"], "by": "mate"},
        {},
    ],
)
def test_marks_that_make_no_sense_are_refused(day: Path, tmp_path: Path, body: dict[str, object]) -> None:
    view = DayView(TestFolder(day), ReplaySource(TestFolder(day), 1.0, rehearse_in=tmp_path, monotonic_ns=Wall()))
    with pytest.raises(BadInput):
        view.mark(body)
    view.close()
    assert EventLog(tmp_path).read() == []


def test_every_kind_of_mark_from_the_page(day: Path, tmp_path: Path) -> None:
    wall = Wall()
    view = DayView(TestFolder(day), ReplaySource(TestFolder(day), 1.0, rehearse_in=tmp_path, monotonic_ns=wall))
    bodies: list[dict[str, object]] = [
        {"kind": "gangway", "label": "pulled"},
        {"kind": "confirm", "what": "lines"},
        {"kind": "window_open", "label": "0"},
        {"kind": "confirm", "what": "crane", "label": "0"},
        {"kind": "reading", "station": "pendulum", "text": "143 151,5 144"},
        {"kind": "window_close", "label": "0"},
        {"kind": "movement", "label": "1"},
        {"kind": "people", "person": "mate", "place": "ashore"},
        {"kind": "note", "text": "tug passed\u0000"},
        {"kind": "overrule", "label": "0", "verdict": "caution", "reason": "seen from the pier"},
        {"kind": "void", "label": "0", "reason": "someone moved"},
    ]
    for second, body in enumerate(bodies):
        wall.ns = second * 10_000_000_000
        view.mark({**body, "by": "mate"})
    view.step()
    whole = view.whole()
    view.close()
    events = EventLog(tmp_path).read()
    assert [event.kind for event in events] == [str(body["kind"]) for body in bodies]
    assert events[4].data["deflections_mm"] == [143.0, 151.5, 144.0]
    assert events[8].data["text"] == "tug passed"
    assert whole["windows"][0]["void"] == "someone moved"
    assert "someone moved" in whole["windows"][0]["words"]
    assert whole["next"]["action"]["kind"] in ("window_open", "movement")


def test_a_void_window_takes_no_verdict_and_can_be_let_stand_again(day: Path, tmp_path: Path) -> None:
    wall = Wall()
    view = DayView(TestFolder(day), ReplaySource(TestFolder(day), 1.0, rehearse_in=tmp_path, monotonic_ns=wall))
    for second, body in enumerate(
        [
            {"kind": "window_open", "label": "0"},
            {"kind": "window_close", "label": "0"},
            {"kind": "void", "label": "0", "reason": "tug came alongside"},
        ]
    ):
        wall.ns = (100 + 60 * second) * 1_000_000_000
        view.mark({**body, "by": "mate"})
    view.step()
    window = view.whole()["windows"][0]
    assert window["void"] == "tug came alongside" and window["void_id"] == 3
    opened = next(mark for mark in view.whole()["marks"] if mark["id"] == 1)
    assert opened["void_id"] == 3
    with pytest.raises(BadInput, match=r"void \(tug came alongside, mate\).*void --event 3"):
        view.mark({"kind": "overrule", "label": "0", "verdict": "fine", "reason": "seen", "by": "mate"})
    view.mark({"kind": "void", "event": window["void_id"], "reason": "she was well clear", "by": "mate"})
    view.mark({"kind": "overrule", "label": "0", "verdict": "fine", "reason": "seen", "by": "mate"})
    view.step()
    window = view.whole()["windows"][0]
    view.close()
    assert window["void"] is None and window["void_id"] is None
    assert [event.kind for event in EventLog(tmp_path).read()][2:] == ["void", "void", "overrule"]


def test_a_window_taken_again_goes_by_one_name_everywhere(day: Path, tmp_path: Path) -> None:
    wall = [0]
    source = ReplaySource(TestFolder(day), 1.0, rehearse_in=tmp_path, monotonic_ns=lambda: wall[0])
    view = DayView(TestFolder(day), source)
    log = EventLog(tmp_path)
    for second, kind, data in (
        (100, "window_open", {"movement": "0"}),
        (150, "window_close", {}),
        (160, "void", {"window": "0", "reason": "tug came alongside"}),
        (180, "window_open", {"movement": "0"}),
    ):
        log.append(kind, "mate", data, page_day.START_NS + second * 1_000_000_000)
    wall[0] = 180_000_000_000
    view.step()
    whole = view.whole()
    view.close()
    label = whole["windows"][0]["label"]
    assert label != "0"
    assert [mark["says"] for mark in whole["marks"]] == [f"window {label} opened", "window 0 closed", "window 0 opened"]
    assert whole["next"]["sentence"].startswith(f"Window {label} is open")
    assert "start before its stop" not in whole["still"]["words"], "opened this very moment"


def test_a_window_struck_out_by_its_opening_names_that_void(day: Path, tmp_path: Path) -> None:
    log = EventLog(tmp_path)
    log.append("window_open", "mate", {"movement": "0"}, page_day.START_NS + 10)
    log.append("window_close", "mate", {}, page_day.START_NS + 20)
    log.append("void", "mate", {"event": 1, "reason": "wash"}, page_day.START_NS + 30)
    log.append("void", "bosun", {"window": "0", "reason": "and a gust"}, page_day.START_NS + 40)
    events, plan = log.read(), TestFolder(day).plan()
    window = marked_windows(events, plan)[0]
    void = standing_void(window, events)
    assert void is not None and void.number == 4
    log.append("void", "mate", {"event": 4, "reason": "no gust"}, page_day.START_NS + 50)
    events = log.read()
    void = standing_void(marked_windows(events, plan)[0], events)
    assert void is not None and void.number == 3


def test_the_record_is_followed_while_it_grows(tmp_path: Path) -> None:
    from logger.archive.writer import RunWriter
    from logger.records import Channel, Quantity, Reading

    (tmp_path / "plan.toml").write_text(page_day.plan_text(1), encoding="utf-8")
    clock = page_day.At(page_day.START_NS)
    writer = RunWriter(tmp_path / "record", [Channel("aft", Quantity.HEEL, "deg", "")], "", clock)
    source = TailSource(TestFolder(tmp_path), clock=clock)
    view = DayView(TestFolder(tmp_path), source)
    assert "nothing recorded yet" in str(view.step()["kit"])
    writer.start()
    number = 0
    for second in range(30):
        rows = []
        for tenth in range(10):
            at = page_day.START_NS + second * 1_000_000_000 + tenth * 100_000_000
            rows.append(Reading("aft", Quantity.HEEL, at, None, 0.1 + 0.001 * tenth, "", sequence=number))
            number += 1
        writer.append(rows)
        writer.flush(sync=False)
        clock.ns = page_day.START_NS + (second + 1) * 1_000_000_000
        view.step()
    whole = view.whole()
    station = whole["stations"][0]
    assert station["reads"] == "0.105° stbd"
    assert not station["ill"]
    assert whole["kit"][0]["says"].endswith("is being written")
    drawn = [row[0] for row in whole["strip"]["rows"] if row[0] is not None]
    assert len(drawn) == 29
    clock.ns += 9_000_000_000
    view.step()
    silent = view.whole()["stations"][0]
    assert "silent for 9 s" in silent["says"]
    assert (silent["reads"], silent["now_deg"]) == ("–", None), "an old figure is not shown as one of now"
    writer.stop("end of the day")
    view.step()
    assert "was stopped (end of the day)" in view.whole()["kit"][0]["says"]
    view.close()


def test_names_cannot_break_out_of_the_page(day: Path) -> None:
    view = DayView(TestFolder(day), ReplaySource(TestFolder(day), 1.0, monotonic_ns=Wall()))
    view.step()
    whole = view.whole()
    view.close()
    whole["day"]["vessel"] = "</script><script>alert(1)</script> @WHOLE@"
    text = render("<title>@TITLE@</title><script type='application/json'>@WHOLE@</script>", whole)
    assert "<script>alert" not in text
    assert text.count("</script>") == 1
    assert "&lt;/script&gt;" in text


def test_evidence_of_a_window_and_of_none(day: Path) -> None:
    wall = Wall()
    view = DayView(TestFolder(day), ReplaySource(TestFolder(day), 1.0, monotonic_ns=wall))
    wall.ns = 900_000_000_000
    view.step()
    view.wait()
    view.step()
    number = view.whole()["windows"][-1]["id"]
    detail = view.window_detail(str(number))
    assert isinstance(detail, dict)
    assert [row["name"] for row in detail["stations"]][:1] == ["aft"]
    json.loads(as_text(detail))
    assert detail["people"] == ["Everyone at the muster station."]
    last = view.window_detail(str(view.whole()["windows"][0]["id"]))
    assert isinstance(last, dict)
    assert last["people"] == ["mate: wheelhouse, not main deck aft; 0.240 t m to port."]
    assert view.window_detail("99") == "no such window"
    assert view.window_detail("../x") == "no such window"
    view.close()


def test_without_new_readings_nothing_is_said_of_rest(tmp_path: Path) -> None:
    made = page_day.make_day(tmp_path / "day", states=2)
    place = TestFolder(made.folder)
    newest = max(int(one.time_ns[-1]) for one in read_series(place.record) if str(one.quantity) == "heel")
    now = [newest + 1_000_000_000]

    class At:
        def utc_ns(self) -> int:
            return now[0]

    view = DayView(place, TailSource(place, clock=At()))
    view.step()
    fresh = view.whole()["still"]
    now[0] = newest + 124_000_000_000
    view.step()
    stale = view.whole()["still"]
    view.close()
    assert "No heel for" not in fresh["words"]
    assert stale == {"words": "No heel for 2 min 04 s: whether she lies still is not known.", "part": 0.0}
    assert "more" not in stale["words"]
