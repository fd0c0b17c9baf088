"""States of the weights: moments, heights, shifts, movements missed and repeated."""

from __future__ import annotations

import math

import numpy as np
import pytest

from config.errors import BadInput
from config.plan import Plan
from reduction.moments import COMMON_SHARE, Shift, WindowState, window_states
from tests.examples_answer import plan


def test_customary_sequence() -> None:
    """Four weights of 5 t at 4 m: 0, 40, 80, 40, 0 t m to starboard, then the same to port (layout: references 1.3)."""
    labels = [str(n) for n in range(9)]
    found = window_states(plan(), [WindowState(n) for n in labels])
    assert [s.moment / 1e3 for s in found.states] == pytest.approx([0, 40, 80, 40, 0, -40, -80, -40, 0])
    assert not found.missed
    assert found.inputs["mass of weight 1"] == pytest.approx(6 / 1.959964)


def test_missed_and_repeated() -> None:
    windows = [WindowState(n) for n in ("0", "1", "2")] + [WindowState("2 again", "2")]
    found = window_states(plan(), windows)
    assert found.missed == ("3", "4", "5", "6", "7", "8")
    assert found.repeated == ("2",)
    assert found.states[2].moment == found.states[3].moment


def test_typed_moment_goes_before_the_plan() -> None:
    found = window_states(plan(), [WindowState("x", "x", 12e3), WindowState("0")])
    assert found.states[0].moment == 12e3
    assert any("typed" in n for n in found.assumptions)


def test_variance_of_a_typed_moment_is_shared_and_own() -> None:
    found = window_states(plan(), [WindowState(n, n, m, 50.0) for n, m in (("a", 12e3), ("b", -9e3), ("c", 0.0))])
    common = [s.sensitivities.get("moment given, common", 0.0) for s in found.states]
    whole = [math.sqrt(sum(v**2 for v in s.sensitivities.values())) for s in found.states]
    assert common == pytest.approx([50 / math.sqrt(2), -50 / math.sqrt(2), 0.0])
    assert whole == pytest.approx([50.0, 50.0, 50.0])
    assert all(found.inputs[name] == 1.0 for s in found.states for name in s.sensitivities)


def test_common_share_of_a_typed_moment_stands_for_weights_with_masses_of_their_own() -> None:
    """Customary sequence, each mass in error by itself: the variance of GM lies as far between own and common."""
    found = window_states(plan(), [WindowState(str(n)) for n in range(9)])
    moment = np.array([s.moment for s in found.states])
    names = [f"mass of weight {w.name}" for w in plan().weights]
    columns = np.array([[s.sensitivities[name] for name in names] for s in found.states])
    u = np.linalg.norm(columns, axis=1)
    gain = moment / (moment @ moment)
    real, own = float(np.sum((gain @ columns) ** 2)), float(np.sum(gain**2 * u**2))
    common = float(np.sum(gain * u * np.sign(moment)) ** 2)
    assert (real - own) / (common - own) == pytest.approx(COMMON_SHARE, abs=0.05)


def test_unknown_movement_is_named() -> None:
    with pytest.raises(BadInput, match=r"window 11.*a movement of the plan"):
        window_states(plan(), [WindowState("11")])


def test_sensitivities_are_derivatives() -> None:
    base = plan()
    state = window_states(base, [WindowState("2")]).states[0]
    heavier = base.model_copy(
        update={"weights": (base.weights[0].model_copy(update={"mass_t": 5.001}), *base.weights[1:])}
    )
    moved = window_states(heavier, [WindowState("2")]).states[0]
    assert moved.moment - state.moment == pytest.approx(state.sensitivities["mass of weight 1"] * 1.0)
    assert state.sensitivities["position of weight 1 to starboard"] == 5000.0


def test_weights_moved_at_different_heights() -> None:
    base = plan()
    high = base.weights[0].model_copy(update={"port_m": (18.0, -4.0, 8.0)})
    found = window_states(base.model_copy(update={"weights": (high, *base.weights[1:])}), [WindowState("3")])
    assert found.states[0].vertical == pytest.approx(5000.0 * 2.0)


def test_people_and_tanks() -> None:
    mate = Shift("mate at the aft deck", "people", 75.0, (30, 0, 9), (6, -3, 6), ("1",))
    pumped = Shift("ballast to starboard", "tanks", 10250.0, (20, -4, 1), (20, 4, 1), ("1", "2"))
    found = window_states(plan(), [WindowState(n) for n in "012"], [mate, pumped])
    zero, one, two = found.states
    assert one.moment == pytest.approx(40e3 - 225.0 + 82e3)
    assert two.moment == pytest.approx(80e3 + 82e3)
    assert zero.moment == pytest.approx(0.0)
    assert one.vertical == pytest.approx(75 * -3)
    assert found.inputs["mass: mate at the aft deck"] == 10.0


def test_weight_found_elsewhere_than_planned() -> None:
    found = window_states(plan(), [WindowState("0")], placed={"0": {"1": (18.0, 3.9, 6.0)}})
    assert found.states[0].moment == pytest.approx(-500.0)


def test_no_weights_no_windows() -> None:
    assert window_states(Plan(), []).states == ()


def test_the_interval_of_a_moment_is_that_of_masses_and_places() -> None:
    """Four weights of 5 t at 4 m, half widths 6 kg and 10 mm: each adds 24 kg m by mass and 50 kg m by place."""
    found = window_states(plan(), [WindowState("0"), WindowState("2"), WindowState("x", "x", 12e3, 25.0)])
    half = 1.959964 * np.array(found.whole_u)
    weight = plan().weights[0]
    assert weight.mass_u95_kg is not None and weight.position_u95_m is not None
    each = math.hypot(weight.mass_u95_kg * weight.starboard_m[1], weight.mass_t * 1e3 * weight.position_u95_m)
    assert half == pytest.approx([2 * each, 2 * each, 1.959964 * 25.0])
    walked = Shift("rigger moved", "people", 80.0, (20.0, -4.0, 5.0), (20.0, 4.0, 5.0), ("0",))
    wider = window_states(plan(), [WindowState("0")], [walked]).whole_u[0]
    extra = math.hypot(8.0 * 10.0, 80.0 * 0.3 * math.sqrt(2.0))
    assert wider == pytest.approx(math.hypot(found.whole_u[0], extra))


def test_a_moment_of_which_not_all_is_known_has_no_interval() -> None:
    bare = [w.model_dump() | ({"mass_u95_kg": None} if w.name == "3" else {}) for w in plan().weights]
    made = plan().model_copy(update={"weights": [type(plan().weights[0]).model_validate(w) for w in bare]})
    found = window_states(made, [WindowState("0"), WindowState("x", "x", 12e3)])
    assert all(math.isnan(u) for u in found.whole_u)


def test_what_comes_aboard_or_goes_ashore_counts_from_the_waterline() -> None:
    """Mass w at height z above a draught T changes displacement times GM by w (T - z), upright sides."""
    came = Shift("stores", "other", 2000.0, None, (20.0, 1.0, 7.0), ("1",))
    went = Shift("agent", "people", 80.0, (30.0, -2.0, 9.0), None, ("2",))
    bare = window_states(plan(), [WindowState("1"), WindowState("2")], draught=3.0).states
    found = window_states(plan(), [WindowState("1"), WindowState("2")], (came, went), draught=3.0).states
    assert found[0].moment - bare[0].moment == pytest.approx(2000.0 * 1.0)
    assert found[0].vertical - bare[0].vertical == pytest.approx(2000.0 * (7.0 - 3.0))
    assert found[1].vertical - bare[1].vertical == pytest.approx(-80.0 * (9.0 - 3.0))
