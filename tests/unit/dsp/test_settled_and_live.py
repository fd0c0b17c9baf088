"""When she has settled, how long a window must still run, and what the live view says of it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from dsp.bins import Grid
from dsp.day import evaluate_day
from dsp.estimate import evaluate_window
from dsp.evidence import evidence_of
from dsp.live import LiveView, suggest_windows
from dsp.model import learnt_from
from dsp.motion import Hats
from dsp.settled import interval_after, settled
from dsp.types import Day, RollMotion, Trace, WindowSpan

DEG = np.pi / 180.0


def day_of_two_levels(seed: int = 8) -> Day:
    """Two states, a decaying swing after the step at 600 s."""
    rng = np.random.default_rng(seed)
    time = np.arange(0.0, 1200.0, 0.2)
    after = np.maximum(time - 600.0, 0.0)
    swing = (time > 600.0) * 0.004 * np.exp(-0.02 * 0.785 * after) * np.cos(0.785 * after)
    roll = 0.0003 * np.sin(0.785 * time + np.cumsum(rng.normal(0, 0.03, time.size)))
    slow = np.interp(time, np.arange(0.0, 1240.0, 20.0), 2e-5 * rng.standard_normal(62))
    value = np.where(time < 600.0, 0.0, 0.02) + swing + roll + slow + 5e-5 * rng.standard_normal(time.size)
    return Day(0, (Trace("a", time, value),), (WindowSpan("0", 200.0, 320.0), WindowSpan("1", 900.0, 1020.0)))


def test_budget_and_covariance_tell_the_same() -> None:
    found = evaluate_day(day_of_two_levels())
    for k, window in enumerate(found.windows):
        assert window.u**2 == pytest.approx(sum(line.u**2 for line in window.budget))
        assert window.u**2 == pytest.approx(found.covariance[k, k], rel=0.1)
        assert window.dof > 1.0
    assert abs(found.windows[1].heel - found.windows[0].heel - 0.02) < 4 * np.hypot(*[w.u for w in found.windows])
    assert found.roll_comparison is not None and found.roll_comparison.agree
    assert found.roll.period == pytest.approx(8.0, rel=0.02)
    assert found.spectrum["model"].shape == found.spectrum["frequency"].shape


def test_settled_only_when_the_level_rests_and_the_swing_is_small() -> None:
    rng = np.random.default_rng(9)
    grid = Grid(0.0, 0.8, 900)
    after = np.maximum(grid.time - 400.0, 0.0)
    swing = (grid.time > 400.0) * 0.02 * np.exp(-0.02 * 0.785 * after) * np.cos(0.785 * after)
    heel = np.where(grid.time < 400.0, 0.0, 0.02) + swing + 2e-5 * rng.standard_normal(900)
    before = settled(grid, heel[:490], 8.0, 0.02, spread=1e-5)
    moving = settled(grid, heel[:515], 8.0, 0.02, spread=1e-5)
    swinging = settled(grid, heel[:600], 8.0, 0.02, wanted=0.001 * DEG, spread=1e-5)
    late = settled(grid, heel, 8.0, 0.02, spread=1e-5)
    assert before.settled and before.wait == 0.0
    assert not moving.settled
    assert not swinging.settled and 20.0 < swinging.wait < 400.0
    assert late.settled and late.level == pytest.approx(0.02, abs=2e-4)


def test_a_step_in_a_short_record_does_not_pass_for_her_restlessness() -> None:
    rng = np.random.default_rng(10)
    grid = Grid(0.0, 0.8, 200)
    moved = 0.03 * np.clip((grid.time - 90.0) / 12.0, 0.0, 1.0)
    heel = moved + 2e-5 * rng.standard_normal(200)
    just = settled(grid, heel[:140], 8.0, 0.02)
    later = settled(grid, heel, 8.0, 0.02)
    assert not just.settled and just.says == "The level is still moving."
    assert later.settled and later.since > 100.0


def test_live_view_knows_how_restless_the_windows_were() -> None:
    day = day_of_two_levels()
    view = LiveView(wanted=0.002 * DEG)
    view.know(learnt_from(replace(day, heel=(_until(day.heel[0], 600.0),), windows=day.windows[:1])))
    moving = view.look(replace(day, heel=(_until(day.heel[0], 640.0),)), 640.0, None)
    assert not moving.settled.settled


def test_suggested_windows_hold_still_and_live_counts_down() -> None:
    day = day_of_two_levels()
    spans = suggest_windows(day)
    assert len(spans) == 2 and spans[0].stop < 600.0 < spans[1].start
    view = LiveView(wanted=0.002 * DEG)
    view.learn(replace(day, heel=(_until(day.heel[0], 600.0),), windows=day.windows[:1]))
    more, seen = [], []
    for at in (930.0, 960.0, 1010.0):
        look = view.look(replace(day, heel=(_until(day.heel[0], at),)), at, 900.0)
        assert look.needed is not None
        more.append(look.u95)
        seen.append(look.heel)
    assert more[0] > more[1] > more[2]
    assert seen[2] == pytest.approx(0.02, abs=2e-4)
    assert view.look(replace(day, heel=(_until(day.heel[0], 150.0),)), 150.0, None).needed is None


def _until(trace: Trace, stop: float) -> Trace:
    keep = trace.time < stop
    return Trace(trace.station, trace.time[keep], trace.value[keep])


def test_longer_windows_have_smaller_intervals() -> None:
    from dsp.motion import MotionModel

    hats = Hats.between(0.003, 0.07, 0.6)
    model = MotionModel(hats, np.full(hats.node.size, 1e-8), 0.12, 0.03, 1e-7, 1e-12)
    widths = [interval_after(model, length, 10.0, 1e-12, 0.8) for length in (40.0, 80.0, 160.0, 320.0)]
    assert widths == sorted(widths, reverse=True)
    assert widths[3] / widths[2] == pytest.approx(1.0 / np.sqrt(2.0), rel=0.1)


def test_an_interval_out_of_reach_is_named_with_its_setting() -> None:
    from dsp.motion import MotionModel
    from dsp.settled import more_seconds

    hats = Hats.between(0.003, 0.07, 0.6)
    model = MotionModel(hats, np.full(hats.node.size, 1e-8), 0.12, 0.03, 1e-7, 1e-12)
    found = more_seconds(model, 60.0, 0.02 * DEG, 1e-5 * DEG, 10.0, 1e-12, 0.8)
    assert found.more == float("inf")
    assert "interval of 1e-05 deg that is wanted (settings.wanted_heel_u95_deg)" in found.says
    assert "0.0200 deg now" in found.says
    assert more_seconds(model, 60.0, 0.02 * DEG, 0.015 * DEG, 10.0, 1e-12, 0.8).says.endswith(" s more for 0.015 deg.")


def test_what_the_stations_leave_no_longer_window_mends() -> None:
    from dsp.motion import MotionModel
    from dsp.settled import more_seconds

    hats = Hats.between(0.003, 0.07, 0.6)
    model = MotionModel(hats, np.full(hats.node.size, 1e-8), 0.12, 0.03, 1e-7, 1e-12)
    told = [more_seconds(model, 60.0, 0.004 * DEG, 0.005 * DEG, 10.0, 1e-12, 0.8, s * DEG) for s in (0.0, 0.004, 0.006)]
    assert [round(one.u95 / DEG, 4) for one in told] == [0.004, 0.0057, 0.0072]
    assert told[0].more == 0.0 and told[0].says.endswith("reached.")
    assert told[1].more > 0.0 and told[1].says.endswith(" s more for 0.005 deg.")
    assert told[2].more == 0.0 and "0.0060 deg that scale and drift of the stations leave" in told[2].says
    longer = more_seconds(model, 60.0, 0.01 * DEG, 0.005 * DEG, 10.0, 1e-12, 0.8, 0.006 * DEG)
    assert longer.more > 60.0 and "0.005 deg beside the 0.0060 deg" in longer.says


def test_live_interval_is_that_of_the_closed_window() -> None:
    day = day_of_two_levels()
    learnt = learnt_from(replace(day, heel=(_until(day.heel[0], 600.0),), windows=day.windows[:1]))
    assert not isinstance(learnt, str)
    view = LiveView(wanted=0.002 * DEG)
    view.know(learnt)
    live = view.look(replace(day, heel=(_until(day.heel[0], 1020.0),)), 1020.0, 900.0)
    closed = evaluate_day(replace(day, heel=(_until(day.heel[0], 1020.0),)))
    scale = closed.scale_u * abs(closed.windows[1].heel - closed.windows[0].heel)
    assert live.u95 > 1.96 * scale
    assert live.u95 == pytest.approx(1.96 * np.hypot(closed.windows[1].u, scale), rel=0.15)
    assert "scale and drift of the stations leave" in live.says


def test_what_was_learnt_once_serves_the_live_view_and_the_windows() -> None:
    day = day_of_two_levels()
    learnt = learnt_from(day)
    again, alone = evaluate_day(day, learnt), evaluate_day(day)
    assert [w.heel for w in again.windows] == [w.heel for w in alone.windows]
    assert [w.u for w in again.windows] == [w.u for w in alone.windows]
    told, taught = LiveView(wanted=0.002 * DEG), LiveView(wanted=0.002 * DEG)
    told.know(learnt)
    told.know("nothing to work on")
    taught.learn(day)
    until = replace(day, heel=(_until(day.heel[0], 1010.0),))
    assert told.look(until, 1010.0, 900.0).u95 == taught.look(until, 1010.0, 900.0).u95 < np.inf


def test_only_what_is_slower_than_the_roll_counts_as_restlessness() -> None:
    learnt = learnt_from(day_of_two_levels())
    assert not isinstance(learnt, str)
    prepared, model = learnt.prepared, learnt.model
    one = evaluate_window(prepared, prepared.windows[0], model.rolls[0], model)
    assert not isinstance(one, str)
    roll = RollMotion(8.0, 0.1, 0.02, 0.01, 0.0)
    seen = evidence_of(day_of_two_levels(), prepared, one, model.low, None, roll, float("nan"), 0, model.still[0])
    hats, density = one.model.hats, one.model.density
    slow = np.tensordot(density[: hats.low], hats.covariance(np.zeros(1))[: hats.low], axes=1)[0]
    assert np.diag(seen.low_covariance) == pytest.approx(slow + one.parts.noise)
    assert np.all(np.diag(one.parts.low) > slow)
