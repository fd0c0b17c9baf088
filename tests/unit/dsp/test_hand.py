"""Windows that rest on readings by hand alone are asked what can be asked of them."""

from __future__ import annotations

import math

import pytest

from dsp.day import evaluate_day
from dsp.hand import hand_checks
from dsp.types import Day, WindowSpan

ASKED = frozenset({"lines", "muster"})


def read(label: str, length: float, confirmed: frozenset[str]) -> WindowSpan:
    start = 600.0 * float(label)
    return WindowSpan(
        label,
        start,
        start + length,
        confirmed=confirmed,
        expected_confirmations=ASKED,
        hand_readings=(("u", 0.01, 1e-4),),
    )


def test_a_short_window_and_one_that_nobody_confirmed_are_no_better_for_being_read_by_hand() -> None:
    spans = (read("0", 180.0, ASKED), read("1", 10.0, ASKED), read("2", 180.0, frozenset({"lines"})))
    good, short, bare = evaluate_day(Day(epoch_ns=0, heel=(), windows=spans)).windows
    assert (good.verdict, good.reasons) == ("fine", ())
    assert (short.verdict, short.reasons) == ("caution", ("short",))
    assert (bare.verdict, bare.reasons) == ("caution", ("unconfirmed",))
    assert "everyone at their muster station" in bare.checks[1].says
    assert math.isfinite(short.heel)


@pytest.mark.parametrize(("length", "verdict"), [(5.0, "rejected"), (20.0, "caution"), (33.0, "fine")])
def test_length_is_held_against_the_roll_where_it_is_known(length: float, verdict: str) -> None:
    assert hand_checks(read("0", length, ASKED), 8.0)[0].verdict == verdict
