"""Numbers are printed by their interval."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reduction.report.numbers import TONNES, decimals_for, fixed, quantity, shown, significant
from reduction.report.traces import plot_traces
from reduction.types import Quantified


@pytest.mark.parametrize(
    ("value", "u95", "printed"),
    [
        (1.21134, 0.01234, "1.211 ± 0.012"),
        (1.21134, 0.0996, "1.21 ± 0.10"),
        (1150.44, 5.23, "1150.4 ± 5.2"),
        (1150.44, 123.0, "1150 ± 120"),
        (-0.00012, 0.004, "−0.0001 ± 0.0040"),
        (-0.00001, 0.004, "0.0000 ± 0.0040"),
        (4.3, 0.0000123, "4.300000 ± 0.000012"),
    ],
)
def test_two_significant_digits_of_the_interval(value: float, u95: float, printed: str) -> None:
    assert str(shown(value, u95, "")).replace("\N{NO-BREAK SPACE}", " ") == printed


def test_an_unknown_interval_is_said_not_invented() -> None:
    unknown = shown(4.318, math.nan, "m")
    assert (str(unknown), unknown.span) == ("4.318\N{NO-BREAK SPACE}m", "interval not known")
    assert shown(math.nan, 0.1, "m").value == "–"


def test_unit_and_coverage_factor_of_a_result() -> None:
    made = quantity(Quantified(1_150_000.0, 2_000.0), "t", TONNES)
    assert (made.value, made.interval, made.low, made.high) == ("1150.0", "3.9", "1146.1", "1153.9")
    few = quantity(Quantified(1.0, 0.01, dof=3.0), "m")
    assert few.interval == "0.032"


@given(st.floats(1e-9, 1e9), st.floats(-1e9, 1e9))
def test_the_printed_value_is_within_a_twentieth_of_the_interval(u95: float, value: float) -> None:
    made = shown(value, u95, "")
    off = abs(float(made.value.replace("−", "-")) - value)
    assert off <= 0.051 * u95 + 1e-12 * abs(value)
    assert float(made.interval) == pytest.approx(u95, rel=0.051)
    decimals = decimals_for(u95)
    assert decimals is not None and made.interval == fixed(u95, decimals)


@given(st.floats(-1e12, 1e12))
def test_without_an_interval_four_digits_and_no_exponent(value: float) -> None:
    text = significant(value)
    assert "e" not in text
    assert float(text.replace("−", "-")) == pytest.approx(value, rel=6e-4, abs=1e-11)


def test_traces_lose_no_extreme_and_keep_gaps(day) -> None:
    traces = plot_traces(day, stretches=200)
    for trace, light in zip(day.heel, traces.heel, strict=True):
        assert light.low.min() == trace.value.min()
        assert light.high.max() == trace.value.max()
        assert light.time.size <= 201
        assert (light.low <= light.mean).all() and (light.mean <= light.high).all()
    gap = next(e for e in traces.heel if e.station == "aft")
    assert (gap.time[1:] - gap.time[:-1]).max() > 3 * gap.step
    assert sum(r.samples for r in traces.raw) == sum(
        int(((t.time >= w.start) & (t.time < w.stop)).sum()) for w in day.windows for t in day.heel
    )
