"""An imported day from its two tables to the answer: intervals of moments, stations left out, marks, plan check."""

import json
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest

from config.errors import BadInput
from config.folder import TestFolder
from logger.events import EventLog
from quietheel.cli import run
from quietheel.jobs.importing import import_readings
from quietheel.jobs.marking import mark, state
from quietheel.jobs.plan import check_plan
from quietheel.jobs.reduce import ReducedDay, parse_settings, reduce_folder, with_settings
from quietheel.jobs.windows import windows
from quietheel.page.marking import next_section
from reduction.gm.curve import heel_at, wall_sided

MOMENTS = (0.0, 20.0, 40.0, 20.0, 0.0, -20.0, -40.0, -20.0, 0.0)
DISPLACEMENT_T, GM_M, BM_M = 1000.0, 1.0, 3.0
STATIONS = ("aft", "hold", "middle")
WINDOW_S, EVERY_S, RATE_HZ = 120, 180, 4
START = np.datetime64("2030-05-14T08:00:00.000", "ms")


def stamp(second: float) -> str:
    return f"{START + np.timedelta64(round(1000 * second), 'ms')}Z"


def make(folder: Path, intervals: tuple[str, ...] = (), scale: str = "scale_u95_percent = 0.1") -> Path:
    """A quiet day of GM 1 m, nine windows; ``intervals`` are cells of moment_u95_tm, one for each window."""
    rng = np.random.default_rng(7)
    made = folder / "made"
    made.mkdir()
    time = np.arange(0, EVERY_S * len(MOMENTS), 1 / RATE_HZ)
    steady = np.degrees(heel_at(np.array(MOMENTS) / DISPLACEMENT_T, GM_M, 0.0, wall_sided(BM_M)))
    steady = np.repeat(steady, EVERY_S * RATE_HZ)
    roll = 0.05 * np.sin(2 * np.pi * time / 7.0)
    rows = ["time,sensor,quantity,value,unit"]
    for name in STATIONS:
        heel = steady + roll + rng.normal(0.0, 0.003, time.size)
        rows += [f"{stamp(t)},{name},heel,{h:.5f},deg" for t, h in zip(time, heel, strict=True)]
    (folder / "readings.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    lines = ["movement,start,stop,moment_tm" + (",moment_u95_tm" if intervals else "")]
    for n, moment in enumerate(MOMENTS):
        at = EVERY_S * n + 30
        more = f",{intervals[n]}" if intervals else ""
        lines.append(f"{n},{stamp(at)},{stamp(at + WINDOW_S)},{moment}{more}")
    (folder / "windows.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    plan = [f"[vessel]\ndisplacement_t = {DISPLACEMENT_T}\ndisplacement_u95_t = 1.0\n[hydrostatics]\nbm_m = {BM_M}\n"]
    plan += [f'[[stations]]\nname = "{name}"\n[stations.calibration]\n{scale}\n' for name in STATIONS]
    (made / "plan.toml").write_text("".join(plan), encoding="utf-8")
    import_readings(made, folder / "readings.csv", folder / "windows.csv")
    return made


@pytest.fixture(scope="module")
def bare(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make(tmp_path_factory.mktemp("bare"))


@contextmanager
def without_further_marks(folder: Path) -> Iterator[None]:
    before = (folder / "events.jsonl").read_bytes()
    try:
        yield
    finally:
        (folder / "events.jsonl").write_bytes(before)


def line(reduced: ReducedDay, source: str) -> float:
    assert reduced.answer.gm.value is not None
    return sum(b.u for b in reduced.answer.gm.value.gm.budget if b.source == source)


def test_the_interval_of_a_moment_reaches_gm(tmp_path: Path, bare: Path) -> None:
    """0.4 % common to all moments is 0.4 % of GM; half of the variance is taken for common, the rest adds a little."""
    cells = tuple(f"{0.004 * abs(moment):g}" if moment else "" for moment in MOMENTS)
    given, plain = reduce_folder(make(tmp_path, cells)), reduce_folder(bare)
    assert line(plain, "moments as given") == 0.0
    assert np.sqrt(0.5) * 0.004 * GM_M < 1.959964 * line(given, "moments as given") < 0.004 * GM_M
    assert given.answer.gm.value is not None and plain.answer.gm.value is not None
    wider = given.answer.gm.value.gm.u**2 - plain.answer.gm.value.gm.u**2
    assert wider == pytest.approx(line(given, "moments as given") ** 2, rel=0.05)
    said = "\n".join(given.answer.assumptions)
    assert "Moments of windows 0, 4, 8 were taken as given" in said
    assert "half of the variance was taken as common" in said
    assert any("Moments typed in were taken as given" in one for one in plain.answer.assumptions)


def test_bm_and_zero_of_an_imported_day_take_an_interval(tmp_path: Path, bare: Path) -> None:
    made = make(tmp_path, scale="scale_u95_percent = 0.1\nzero_u95_deg = 0.02")
    plan = (
        (made / "plan.toml").read_text(encoding="utf-8").replace("bm_m = 3.0", "bm_m = 3.0\nbm_u95_m = 0.6\nkm_m = 5.0")
    )
    (made / "plan.toml").write_text(plan, encoding="utf-8")
    known, assumed = reduce_folder(made), reduce_folder(bare)
    assert line(known, "BM") > 0.0 == line(assumed, "BM")
    assert known.answer.as_inclined.value is not None
    assert "hydrostatics: BM" in {b.source for b in known.answer.as_inclined.value.kg.budget}
    zero = "stations.calibration.zero_u95_deg"
    assert known.answer.gm.value is not None and assumed.answer.gm.value is not None
    assert not any(zero in one for one in known.answer.gm.value.assumptions)
    assert any(zero in one for one in assumed.answer.gm.value.assumptions)
    assert known.answer.gm.value.list_upright.u < 0.2 * assumed.answer.gm.value.list_upright.u


@pytest.mark.parametrize(
    "typed",
    [
        ["leave_out=aft,hold"],
        ["leave_out=aft, hold"],
        ['leave_out=["aft","hold"]'],
        ["leave_out=[aft,hold]"],
        ["leave_out=aft", "leave_out=hold"],
        ['leave_out=["aft"]', "leave_out=hold"],
    ],
)
def test_two_stations_are_left_out_however_they_are_typed(bare: Path, typed: list[str]) -> None:
    plan = with_settings(windows(bare).recorded.plan, parse_settings(typed))
    assert plan.settings.leave_out == ("aft", "hold")


def test_what_is_left_out_is_not_used_and_said(bare: Path, capsys: pytest.CaptureFixture[str]) -> None:
    reduced = reduce_folder(bare, parse_settings(["leave_out=aft,hold"]))
    used = {s.station for w in reduced.heel.windows for s in w.stations if s.used}
    assert used == {"middle"}
    capsys.readouterr()
    run(["reduce", str(bare), "--set", "leave_out=aft,hold"])
    assert "Not read from aft and hold: left out" in " ".join(capsys.readouterr().out.split())


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        (["leave_out=aft,mast"], r"found mast; heel stations of this day, .*aft, hold, middle"),
        (["leave_out=aft,hold,middle"], r"at least one heel station has to be left, of aft, hold, middle"),
        (["leave_out="], r"leave_out"),
        (["confidence=0.9", "confidence=0.99"], r"confidence once"),
    ],
)
def test_what_cannot_be_left_out_is_refused(bare: Path, typed: list[str], says: str) -> None:
    with pytest.raises(BadInput, match=says):
        reduce_folder(bare, parse_settings(typed))


def test_plan_check_of_an_imported_day_asks_for_what_it_lacks(bare: Path) -> None:
    found = check_plan(bare)
    assert found.ready
    said = "\n".join((*found.missing, *found.advice))
    for wrong in ("weights", "estimated_gm_m", "moorings", "schedule", "pendulum", "people"):
        assert wrong not in said
    for right in ("moment_u95_tm", "zero_u95_deg", "KM", "waterline.csv", "survey.csv"):
        assert right in said


def test_an_imported_day_without_displacement_is_not_ready(tmp_path: Path) -> None:
    made = make(tmp_path)
    text = (made / "plan.toml").read_text(encoding="utf-8")
    kept = [one for one in text.splitlines() if not one.startswith("displacement")]
    (made / "plan.toml").write_text("\n".join(kept), encoding="utf-8")
    found = check_plan(made)
    assert not found.ready
    assert any(one.startswith("needed: vessel.displacement_t") for one in found.missing)
    mark(made, "overrule", {"window": "5", "verdict": "rejected", "reason": "a boat alongside"}, by="mate")
    reduced = reduce_folder(made)
    assert any("Window 5 taken as rejected" in one and "no GM" in one for one in reduced.answer.assumptions)
    row = next(w for w in reduced.as_json()["windows"] if w["label"] == "5")
    assert row["verdict"] == "rejected" and "a boat alongside (mate; the checks said " in row["overruled"]


def test_an_imported_day_is_over(bare: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with without_further_marks(bare):
        assert run(["mark", "note", "seen again", "--folder", str(bare)]) == 0
        told = capsys.readouterr().err
        assert "gangway" not in told and "imported" in told
        mark(bare, "void", {"window": "8", "reason": "no"}, by="mate")
        assert state(bare).imported and "quietheel reduce" in state(bare).next
        offered = next_section(TestFolder(bare).plan(), state(bare), None, EventLog(bare).read())
        assert offered["action"] is None
        assert "gangway" not in {other["kind"] for other in offered["others"]}


def test_an_overrule_of_an_imported_window_is_honoured(bare: Path) -> None:
    with without_further_marks(bare):
        mark(bare, "overrule", {"window": "3", "verdict": "rejected", "reason": "a boat alongside"}, by="mate")
        found = {w["label"]: w for w in json.loads(json.dumps(reduce_folder(bare).as_json()))["windows"]}
    assert not found["3"]["used"] and "a boat alongside" in found["3"]["overruled"]
    assert found["5"]["used"]
