"""Marks: chained, several hands at once, undone by voiding; what the day comes to."""

from __future__ import annotations

import json
import math
import multiprocessing
from pathlib import Path
from typing import Any

import pytest

from config.errors import BadInput
from config.plan import MusterStation, Person, Plan, Sequence, Weight
from config.stations import ChannelMap, Station
from logger.chain import append_line
from logger.daystate import state_of_day
from logger.events import EventLog
from logger.hand_read import hand_heel, swing_mean
from logger.marks import marked_windows

T0 = 1_778_743_800_000_000_000
MINUTE = 60_000_000_000
ALL = ["lines", "muster", "crane", "clear", "quiet"]
PLAN = Plan(
    weights=tuple(
        Weight(name=n, mass_t=2.5, port_m=(20, -4, 6), starboard_m=(20, 4, 6), start=s)
        for n, s in zip("1234", ("starboard", "port", "starboard", "port"), strict=True)
    ),
    sequence=Sequence(standard="four_weights_eight_movements"),
    muster_stations=(
        MusterStation(name="wheelhouse", position_m=(30, 0, 9)),
        MusterStation(name="port rail", position_m=(24, -5, 6)),
    ),
    people=(
        Person(name="mate", mass_kg=80, muster_station="wheelhouse"),
        Person(name="cook", muster_station="wheelhouse"),
    ),
    stations=(Station(name="pendulum", kind="pendulum", length_m=4.5, reading_u95_mm=1.0),),
)


def append(log: EventLog, minute: float, kind: str, **data: object) -> int:
    return log.append(kind, str(data.pop("by", "coordinator")), data, at_ns=T0 + round(minute * MINUTE)).number


def test_a_day_of_marks_becomes_windows_and_says_what_comes_next(tmp_path: Path) -> None:
    log = EventLog(tmp_path)
    assert state_of_day(log.read(), PLAN).next.startswith("pull the gangway")
    append(log, 0, "gangway", state="pulled")
    assert state_of_day(log.read(), PLAN).next.startswith("movement 0 stands: lines slack and drooping, all mustered")
    append(log, 1, "confirm", what=ALL)
    assert state_of_day(log.read(), PLAN).next == "movement 0 stands and all is confirmed: open window 0"
    append(log, 2, "window_open")
    state = state_of_day(log.read(), PLAN)
    assert state.open_window is not None and state.open_window.label == "0" and state.missing == ()
    append(log, 4, "window_close")
    state = state_of_day(log.read(), PLAN)
    assert state.next == (
        "movement 1: weight 2 to starboard; then lines slack and drooping, all mustered, crane stowed, "
        "tug, fenders and small craft clear, decks quiet, services off"
    )
    append(log, 10, "movement", movement="1")
    append(log, 11, "confirm", what=["lines", "crane"])
    state = state_of_day(log.read(), PLAN)
    assert state.missing == ("muster", "clear", "quiet") and state.done == ("0",)
    append(log, 12, "window_open")
    append(log, 14, "window_close")
    zero, one = marked_windows(log.read(), PLAN)
    assert (zero.label, zero.movement, zero.start_ns, zero.stop_ns) == ("0", "0", T0 + 2 * MINUTE, T0 + 4 * MINUTE)
    assert zero.missing == () and zero.moved_ns is None
    assert one.confirmed == {"lines", "crane"} and one.moved_ns == T0 + 10 * MINUTE
    assert log.verify().intact


def test_voiding_undoes_and_a_void_can_be_undone(tmp_path: Path) -> None:
    log = EventLog(tmp_path)
    append(log, 2, "window_open")
    append(log, 4, "window_close")
    void = append(log, 5, "void", window="0", reason="mate walked to the rail")
    window = marked_windows(log.read(), PLAN)[0]
    assert window.voided and window.reason == "mate walked to the rail"
    assert state_of_day(log.read(), PLAN).to_come[0] == "0"
    append(log, 6, "window_open")
    append(log, 8, "window_close")
    assert [w.label for w in marked_windows(log.read(), PLAN)] == ["0", "0b"]
    undo = append(log, 9, "void", event=void, reason="it was another window")
    assert not marked_windows(log.read(), PLAN)[0].voided
    append(log, 10, "void", event=undo, reason="no, it was this one")
    assert marked_windows(log.read(), PLAN)[0].voided


def test_a_wrong_closing_is_undone(tmp_path: Path) -> None:
    log = EventLog(tmp_path)
    append(log, 2, "window_open")
    close = append(log, 2.2, "window_close")
    append(log, 3, "void", event=close, reason="pressed by mistake")
    assert marked_windows(log.read(), PLAN)[0].stop_ns is None
    append(log, 4, "window_close")
    assert marked_windows(log.read(), PLAN)[0].stop_ns == T0 + 4 * MINUTE


def test_two_marks_at_once_both_stand(tmp_path: Path) -> None:
    log = EventLog(tmp_path)
    append(log, 2, "window_open", by="coordinator")
    append(log, 2, "window_open", by="technician")
    append(log, 4, "window_close", by="technician")
    append(log, 4, "window_close", by="coordinator")
    assert len(log.read()) == 4
    windows = marked_windows(log.read(), PLAN)
    assert len(windows) == 1 and "opened again by technician" in windows[0].remarks[0]


def test_a_movement_with_a_window_still_open_is_remarked(tmp_path: Path) -> None:
    log = EventLog(tmp_path)
    append(log, 2, "window_open")
    append(log, 5, "movement", movement="1")
    assert "still open when movement 1 was made" in state_of_day(log.read(), PLAN).remarks[0]


def test_people_who_change_place_make_a_moment(tmp_path: Path) -> None:
    log = EventLog(tmp_path)
    append(log, 1, "people", person="mate", place="port rail")
    append(log, 1, "people", person="cook", ashore=True)
    append(log, 2, "window_open")
    append(log, 4, "window_close")
    assert marked_windows(log.read(), PLAN)[0].people_moment_tm == pytest.approx(-0.4)
    changes = state_of_day(log.read(), PLAN).changes
    assert changes[0] == "mate is at port rail, not at wheelhouse: 400 kg m to port"
    assert changes[1].startswith("cook is ashore")


def test_a_pendulum_read_by_hand_stands_in_its_window(tmp_path: Path) -> None:
    log = EventLog(tmp_path)
    for minute, deflections in ((2, [501, 499]), (12, [655, 659, 656])):
        append(log, minute, "window_open")
        append(log, minute + 1, "reading", station="pendulum", deflections_mm=deflections)
        append(log, minute + 2, "window_close")
        append(log, minute + 5, "movement", movement="1")
    zero, one = marked_windows(log.read(), PLAN)
    assert zero.hand_readings[0][:2] == ("pendulum", 0.0)
    station, heel, u = one.hand_readings[0]
    assert station == "pendulum" and math.tan(heel) == pytest.approx(157.25 / 4500)
    assert 0 < u < 0.51 / 4500


def test_overrule_carries_verdict_and_reason(tmp_path: Path) -> None:
    log = EventLog(tmp_path)
    append(log, 2, "window_open")
    append(log, 4, "window_close")
    append(log, 60, "overrule", window="0", verdict="fine", reason="the step was the crane driver, seen by all")
    window = marked_windows(log.read(), PLAN)[0]
    assert (window.overruled, window.overruled_by) == ("fine", "coordinator")


def test_an_imported_window_brings_its_moment_and_is_asked_nothing(tmp_path: Path) -> None:
    log = EventLog(tmp_path)
    append(log, 0, "window_open", window="A", movement="A", moment_tm=12.5, imported=True)
    append(log, 2, "window_close", window="A")
    window = marked_windows(log.read(), Plan())[0]
    assert (window.label, window.moment_tm, window.missing) == ("A", 12.5, ())


@pytest.mark.parametrize(
    ("kind", "data"),
    [
        ("gangaway", {}),
        ("gangway", {"state": "half"}),
        ("confirm", {"what": "crew"}),
        ("void", {"reason": "x"}),
        ("void", {"event": 1}),
        ("reading", {"station": "pendulum", "deflections_mm": ["abc"]}),
        ("note", {"text": "x" * 5000}),
        ("overrule", {"window": "0", "verdict": "good", "reason": "so"}),
    ],
)
def test_a_mark_that_says_nothing_usable_is_refused(tmp_path: Path, kind: str, data: dict[str, object]) -> None:
    with pytest.raises(BadInput):
        EventLog(tmp_path).append(kind, "mate", data)
    assert not (tmp_path / "events.jsonl").exists()


def test_a_changed_line_is_found(tmp_path: Path) -> None:
    log = EventLog(tmp_path)
    for minute in range(5):
        append(log, minute, "note", text=f"line {minute}")
    text = log.path.read_text(encoding="utf-8")
    log.path.write_text(text.replace("line 2", "line 7"), encoding="utf-8", newline="\n")
    report = log.verify()
    assert report.faults == ("events.jsonl: line 4 does not carry the digest of line 3",)
    assert len(log.read()) == 5 and not log.read()[3].intact
    log.path.write_text(
        "".join(line for n, line in enumerate(text.splitlines(True)) if n != 1), encoding="utf-8", newline="\n"
    )
    assert not log.verify().intact


def test_a_torn_last_line_is_kept_and_reported(tmp_path: Path) -> None:
    log = EventLog(tmp_path)
    append(log, 0, "note", text="first")
    append(log, 1, "note", text="second")
    whole = log.path.read_bytes()
    log.path.write_bytes(whole[:-30])
    torn = whole[:-30].splitlines()[-1]
    assert "torn" in log.verify().faults[0] and len(log.read()) == 1
    mark = log.append("note", "mate", {"text": "third"})
    assert mark.number == 3
    lines = log.path.read_bytes().splitlines()
    assert lines[1] == torn and json.loads(lines[2])["data"]["text"] == "third"
    assert len(log.verify().faults) == 1 and log.read()[-1].intact


def _hand(folder: str, name: str) -> None:
    log = EventLog(Path(folder))
    for number in range(25):
        log.append("note", name, {"text": str(number)})


def test_several_processes_mark_at_once(tmp_path: Path) -> None:
    context = multiprocessing.get_context("spawn")
    hands = [context.Process(target=_hand, args=(str(tmp_path), name)) for name in ("mate", "bosun", "cook")]
    for hand in hands:
        hand.start()
    for hand in hands:
        hand.join(60)
    log = EventLog(tmp_path)
    events = log.read()
    assert len(events) == 75 and log.verify().intact
    assert [event.number for event in events] == list(range(1, 76))


def test_mean_of_swings_removes_a_steady_decay() -> None:
    swings = [20 + 8 * 0.95**n * (-1) ** n for n in range(6)]
    assert swing_mean(swings, 0.5)[0] == pytest.approx(20, abs=0.11)
    assert abs(sum(swings) / 6 - 20) > 0.15
    assert swing_mean([147.0], 0.5) == (147.0, 0.5)


def test_u_tube_and_sign_of_a_device_that_reads_to_port() -> None:
    tube = Station(name="tube", kind="u_tube", length_m=8.0, reading_u95_mm=1.0)
    assert math.tan(hand_heel(tube, [140]).heel) == pytest.approx(0.0175)
    assert math.tan(hand_heel(tube, [70], one_leg=True).heel) == pytest.approx(0.0175)
    port = tube.model_copy(update={"channels": (ChannelMap(quantity="heel", positive="port"),)})
    assert hand_heel(port, [140]).heel == -hand_heel(tube, [140]).heel
    with pytest.raises(ValueError, match="not a pendulum"):
        hand_heel(Station(name="aft"), [1.0])


@pytest.mark.parametrize(
    ("kind", "data"),
    [
        ("confirm", {}),
        ("confirm", {"what": True}),
        ("confirm", {"what": [["lines"]]}),
        ("movement", {}),
        ("gangway", {"state": "half"}),
        ("reading", {"station": "pendulum", "deflections_mm": {"1": 2}}),
        ("reading", {"station": "pendulum", "deflections_mm": [1, None]}),
        ("reading", {"station": "pendulum", "deflections_mm": [1], "zero_mm": "nothing"}),
        ("people", {"person": "mate", "position_m": [1, "x", 2]}),
        ("people", {"person": "guest", "mass_kg": [75]}),
        ("overrule", {"window": "1", "verdict": "fine"}),
        ("note", {"text": {"deep": "er"}}),
        (["note"], {"text": "x"}),
    ],
)
def test_a_line_that_no_mark_could_have_left_is_named_and_the_day_goes_on(
    tmp_path: Path, kind: object, data: dict[str, object]
) -> None:
    log = EventLog(tmp_path)
    log.append("gangway", "mate", {"state": "pulled"}, at_ns=1_900_000_000_000_000_000)
    append_line(log.path, lambda _: {"at_ns": 1_900_000_000_000_000_000, "kind": kind, "by": "mate", "data": data})
    log.append("note", "mate", {"text": "on we go"}, at_ns=1_900_000_001_000_000_000)
    assert [event.kind for event in log.read()] == ["gangway", "note"]
    assert log.verify().faults == ("events.jsonl: line 2 is no mark",)
    assert state_of_day(log.read(), Plan()).gangway == "pulled"


@pytest.mark.parametrize("at_ns", [-1, 2**63, 10**30, True, 1.5, "now"])
def test_a_mark_at_no_time_is_none(tmp_path: Path, at_ns: Any) -> None:
    log = EventLog(tmp_path)
    with pytest.raises(BadInput):
        log.append("note", "mate", {"text": "x"}, at_ns=at_ns)
    append_line(log.path, lambda _: {"at_ns": at_ns, "kind": "note", "by": "mate", "data": {"text": "x"}})
    assert log.read() == []


def test_the_simulator_names_the_weights_of_a_movement(tmp_path: Path) -> None:
    log = EventLog(tmp_path)
    log.append("movement", "simulator", {"movement": "1", "to_port": [], "to_starboard": ["2"]}, 10)
    assert log.read()[0].data["to_starboard"] == ["2"]
    with pytest.raises(BadInput, match="names of weights"):
        log.append("movement", "simulator", {"movement": "2", "to_port": [3]}, 20)


def test_what_else_a_mark_holds_is_kept_as_it_is(tmp_path: Path) -> None:
    data = {"movement": "1", "to_port": [], "to_starboard": ["A"], "by_crane": {"outreach_m": 9}}
    log = EventLog(tmp_path)
    log.append("movement", "mate", data)
    assert [event.data for event in log.read()] == [data]


def test_a_guest_of_no_known_mass_weighs_as_much_as_anybody(tmp_path: Path) -> None:
    log = EventLog(tmp_path)
    log.append("people", "mate", {"person": "guest", "position_m": [20, 2, 6], "mass_kg": None})
    assert state_of_day(log.read(), PLAN).people[-1].moment_tm == pytest.approx(0.150)


def test_a_single_deflection_is_as_uncertain_as_a_swing_is_wide(tmp_path: Path) -> None:
    log = EventLog(tmp_path)
    append(log, 2, "window_open")
    append(log, 3, "reading", station="pendulum", deflections_mm=[5])
    append(log, 4, "window_close")
    (window,) = marked_windows(log.read(), PLAN)
    assert window.hand_readings[0][2] == pytest.approx(math.radians(0.25), rel=0.01)
    assert window.remarks[0].startswith("pendulum was read once, line 2: it may be the end of a swing")
    append(log, 12, "window_open", window="1")
    append(log, 13, "reading", station="pendulum", deflections_mm=[655, 665, 657])
    window = marked_windows(log.read(), PLAN)[0]
    assert window.hand_readings[0][2] == pytest.approx(5.0 / 4500, rel=0.02)
    append(log, 14, "reading", station="pendulum", deflections_mm=[5, 7, 5], window="0")
    window = marked_windows(log.read(), PLAN)[0]
    assert window.hand_readings[0][2] < 0.51 / 4500
    assert window.remarks == ()


def test_a_deflection_of_minus_nothing_is_nothing(tmp_path: Path) -> None:
    log = EventLog(tmp_path)
    mark = log.append("reading", "mate", {"station": "pendulum", "deflections_mm": ["29", "-0", -0.0, "29"]})
    assert [f"{value:g}" for value in mark.data["deflections_mm"]] == ["29", "0", "0", "29"]
    log.path.write_text(log.path.read_text(encoding="utf-8").replace("0.0, 0.0", "-0.0, -0.0"), encoding="utf-8")
    assert "-0.0" in log.path.read_text(encoding="utf-8")
    assert "-0.0" not in str(log.read()[0].data)
