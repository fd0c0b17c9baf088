"""Windows of one state of the weights share a group; a window in which something else stood elsewhere has its own."""

import numpy as np
import pytest

from config.errors import BadInput
from config.plan import Movement, Plan, Sequence, Settings, Vessel, Weight
from config.shifts_table import parse_shifts
from dsp.types import Day, Trace, WindowSpan
from logger.marks import MarkedWindow
from quietheel.jobs.told import as_told

WEIGHTS = tuple(Weight(name=n, mass_t=1, port_m=(0, -4, 5), starboard_m=(0, 4, 5)) for n in "1234")
STANDARD = Plan(weights=WEIGHTS, sequence=Sequence(standard="four_weights_eight_movements"))
LABELS = [str(number) for number in range(9)]


def marked(label: str, **given: object) -> MarkedWindow:
    return MarkedWindow(label=label, movement=given.pop("movement", label), start_ns=0, stop_ns=1, **given)  # type: ignore[arg-type]


def groups(plan: Plan, windows: list[MarkedWindow], **given: object) -> list[str]:
    day = Day(0, (), tuple(WindowSpan(w.label, 0.0, 1.0) for w in windows))
    return [w.group for w in as_told(day, plan, windows, **given).windows]  # type: ignore[arg-type]


def test_equal_weights_make_the_zeros_of_the_customary_sequence_one_state() -> None:
    found = groups(STANDARD, [marked(label) for label in LABELS])
    assert found[0] == found[4] == found[8] != ""
    assert found[1] == found[3] and found[5] == found[7]
    assert len(set(found)) == 5


def test_weights_that_differ_make_the_middle_zero_another_state() -> None:
    heavier = (WEIGHTS[0].model_copy(update={"mass_t": 1.02}), *WEIGHTS[1:])
    found = groups(STANDARD.model_copy(update={"weights": heavier}), [marked(label) for label in LABELS])
    assert found[0] == found[8] != found[4]


def test_a_window_taken_again_shares_the_state_of_the_first() -> None:
    found = groups(STANDARD, [marked("2"), marked("2 again", movement="2")])
    assert found[0] == found[1] != ""


def test_people_or_liquids_elsewhere_make_a_state_of_their_own() -> None:
    head = "what,group,windows,mass_t,x_m,y_m,z_m,to_x_m,to_y_m,to_z_m"
    rows = parse_shifts(f"{head}\nboom,crane,4,1.5,10,0,8,10,2,8\n")
    found = groups(STANDARD, [marked("0", people_moment_tm=0.3), marked("4"), marked("8")], shifts=rows)
    assert found[:2] == ["", ""]
    assert found[2] != ""


def test_typed_moments_tell_the_state_by_themselves() -> None:
    windows = [marked("a", moment_tm=0.0), marked("b", moment_tm=12.5), marked("c", moment_tm=0.0)]
    found = groups(Plan(), windows)
    assert found[0] == found[2] != found[1]
    own = Plan(sequence=Sequence(standard="own"), movements=(Movement(label="x", moment_tm=3.0), Movement(label="y")))
    assert groups(own, [marked("x"), marked("y"), marked("z")]) == ["3 t m", "", ""]


def left(*names: str) -> Day:
    heel = tuple(Trace(name, np.arange(3.0), np.arange(3.0)) for name in ("aft", "middle"))
    day = Day(0, heel, (WindowSpan("0", 0.0, 1.0, hand_readings=(("hold", 0.01, 1e-4),)),))
    return as_told(day, Plan(settings=Settings(leave_out=names)), [])


def test_a_station_left_out_by_hand_is_not_used_and_named() -> None:
    assert [trace.station for trace in left("aft").heel] == ["middle"]
    assert left("aft").left_out == ("aft",)
    assert left("hold").windows[0].hand_readings == ()
    assert left().left_out == ()


def test_a_station_to_leave_out_has_to_be_there_and_one_has_to_stay() -> None:
    with pytest.raises(BadInput, match=r"leave_out.*mast.*aft, hold, middle"):
        left("mast")
    with pytest.raises(BadInput, match="at least one"):
        left("aft", "middle", "hold")


def bounds(
    vessel: Vessel, moments: tuple[float, ...] = (-10.0, 0.0, 10.0), gm: float = 1.0
) -> tuple[float, float] | None:
    """What is told of the roll's period by a vessel of 1000 t that answers moments (t m) with this GM (m)."""
    time = np.arange(10.0 * len(moments))
    heel = np.repeat(np.array(moments) / (1000.0 * gm), 10)
    spans = tuple(WindowSpan(str(k), 10.0 * k, 10.0 * (k + 1)) for k in range(len(moments)))
    marks = [marked(str(k), moment_tm=moment) for k, moment in enumerate(moments)]
    return as_told(Day(0, (Trace("a", time, heel),), spans), Plan(vessel=vessel), marks).roll_between


def test_breadth_and_the_heel_under_known_moments_bound_the_roll_period() -> None:
    found = bounds(Vessel(breadth_m=10.0, displacement_t=1000.0, estimated_period_s=30.0))
    assert found == pytest.approx((2 * np.pi * 3.0 / 9.80665**0.5, 2 * np.pi * 5.0 / 9.80665**0.5))
    assert bounds(Vessel(breadth_m=10.0, displacement_t=1000.0), gm=4.0) == pytest.approx(np.array(found) / 2.0)


def test_without_breadth_displacement_or_moments_the_estimate_bounds_it_or_nothing() -> None:
    assert bounds(Vessel(displacement_t=1000.0)) is None
    assert bounds(Vessel(breadth_m=10.0)) is None
    assert bounds(Vessel(breadth_m=10.0, displacement_t=1000.0), (0.0, 0.0)) is None
    assert bounds(Vessel(breadth_m=10.0, estimated_period_s=13.0)) == pytest.approx((10.0, 16.9))
