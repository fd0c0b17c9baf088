"""Readings handed on in bursts of any size: the truth is known, what comes out is held against it."""

from __future__ import annotations

import math

import numpy as np
import pytest
from handed_on import T0, Line, through
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.archive.beat import SOME, nominal_period
from logger.archive.timing import Arrivals, repaired

HANDED_ON = st.builds(
    Line,
    rate=st.floats(0.0, 1.0).map(lambda x: 200.0**x),
    gulp=st.floats(0.0, 1.0).map(lambda x: 1000.0 ** (x - 1.0)),
    reader=st.booleans(),
    unsteady=st.sampled_from([0.0, 0.05, 0.3]),
    jitter_ms=st.sampled_from([0.1, 1.0, 5.0, 20.0]),
    off=st.floats(-0.02, 0.02),
    drift=st.sampled_from([0.0, 1e-4, -1e-4]),
    resolution=st.sampled_from([1e-4, 0.1]),
)


@settings(max_examples=150, deadline=None)
@given(HANDED_ON, st.integers(0, 10_000))
def test_times_and_rate_are_right_whatever_the_bursts(line: Line, seed: int) -> None:
    outcome = through(line, seed)
    beat_ms = 1e3 / line.rate
    assert outcome.found.rows.size == outcome.came
    # A late reading holds up those behind it: so many share its delay.
    delay_ms = line.jitter_ms * (1.0 + line.rate * line.jitter_ms / 1e3)
    # Gulps as long as a beat hide it: every one holds one reading, and now and then none or two.
    hidden = not line.reader and abs(line.gulp * line.rate - 1.0) < 0.1
    assert np.quantile(np.abs(outcome.error_ms), 0.99) < (1.5 if hidden else 0.75) * beat_ms + 0.75 * delay_ms
    assert (np.diff(outcome.found.time_ns) > 0).all()
    true = line.rate * (1.0 + line.off)
    assert abs(outcome.found.timing.rate_hz / true - 1.0) < (12.0 if hidden else 4.0) / outcome.sent + 1e-4


@settings(max_examples=150, deadline=None)
@given(HANDED_ON, st.sampled_from([0.002, 0.02]), st.integers(0, 10_000))
def test_what_is_lost_shifts_times_by_a_few_beats_only(line: Line, lost: float, seed: int) -> None:
    line = Line(**{**line.__dict__, "lost": lost})
    outcome = through(line, seed)
    beat_ms = 1e3 / line.rate
    among = SOME[0] * max(1.0, line.rate * line.gulp) * lost
    assert outcome.found.rows.size == outcome.came
    assert np.quantile(np.abs(outcome.error_ms), 0.99) < (2.0 + 4.0 * math.sqrt(among)) * beat_ms + line.jitter_ms


@pytest.mark.parametrize("rate", [1.0, 2.0, 5.0, 10.0, 20.0, 25.0, 50.0, 100.0, 200.0])
@pytest.mark.parametrize("gulp", [0.001, 0.016, 0.030, 0.1])
@pytest.mark.parametrize("reader", [True, False])
def test_usual_rates_through_usual_buffers(rate: float, gulp: float, reader: bool) -> None:
    outcome = through(Line(rate, gulp, reader, jitter_ms=0.3, seconds=max(300.0, 300.0 / rate)))
    assert np.abs(outcome.error_ms).max() < 1.0
    assert outcome.found.timing.way == "counted samples" and outcome.found.timing.lost == 0
    assert outcome.found.timing.rate_hz == pytest.approx(rate, rel=1e-5)


@pytest.mark.parametrize("rate", [10.0, 50.0, 100.0])
@pytest.mark.parametrize("pause", [1.0, 3.37, 8.0])
@pytest.mark.parametrize("gulp", [0.001, 0.03])
def test_a_pause_is_no_loss_and_shifts_nothing(rate: float, pause: float, gulp: float) -> None:
    outcome = through(Line(rate, gulp, True, jitter_ms=0.3, pause=pause))
    assert np.abs(outcome.error_ms).max() < 2.0
    assert outcome.found.timing.rate_hz == pytest.approx(rate, rel=1e-4)


@pytest.mark.parametrize("rate", [10.0, 50.0, 100.0, 200.0])
def test_losses_are_counted_through_the_loggers_own_gulps(rate: float) -> None:
    outcome = through(Line(rate, 0.03, True, jitter_ms=0.3, lost=0.002))
    assert outcome.found.timing.lost == pytest.approx(outcome.sent - outcome.came, rel=0.15, abs=1)
    assert outcome.found.timing.rate_hz == pytest.approx(rate, rel=1e-4)


@pytest.mark.parametrize("gulp", [0.001, 0.016, 0.03])
def test_the_beat_of_a_short_stretch_in_bursts(gulp: float) -> None:
    for rate in (5.0, 10.0, 50.0, 100.0):
        ready = T0 + (np.arange(int(20 * rate)) / rate * 1e9).astype(np.int64)
        step = int(gulp * 1e9)
        assert nominal_period(-(-ready // step) * step) == pytest.approx(1e9 / rate, rel=0.01)


def test_a_chance_process_has_no_beat() -> None:
    for seed in range(100):
        rng = np.random.default_rng(seed)
        host = T0 + np.cumsum(rng.exponential(1e9, 60)).astype(np.int64)
        found = repaired(Arrivals(host, None, np.arange(60.0), np.zeros(60, np.uint16)))
        assert found.timing.way == "arrival"


@pytest.mark.parametrize("twice", [0.02, 0.1])
def test_lines_sent_twice_still_go_where_values_tell_them_apart(twice: float) -> None:
    rng = np.random.default_rng(4)
    own = T0 + np.arange(6000) * 20_000_000
    host = own + rng.exponential(3e5, own.size).astype(np.int64)
    value = np.round(np.sin(np.arange(6000) / 64.0), 4)
    rows = np.repeat(np.arange(6000), 1 + (rng.random(6000) < twice))
    again = np.append(False, np.diff(rows) == 0)
    found = repaired(Arrivals(host[rows] + again * 200_000, None, value[rows], np.zeros(rows.size, np.uint16)))
    assert found.timing.readings == pytest.approx(6000, abs=3)
    assert found.timing.rate_hz == pytest.approx(50.0, rel=1e-5)


@pytest.mark.parametrize("seconds", [2.0, 8.0, 30.0])
@pytest.mark.parametrize("gulp_ms", [0, 30])
def test_what_a_silence_held_back_goes_back_into_it(seconds: float, gulp_ms: int) -> None:
    own = T0 + np.arange(6000) * 50_000_000
    host = own + 3_000_000
    held = (host > T0 + 100 * 10**9) & (host < T0 + int((100 + seconds) * 1e9))
    host[held] = T0 + int((100 + seconds) * 1e9)
    if gulp_ms:
        host = -(-host // (gulp_ms * 1_000_000)) * (gulp_ms * 1_000_000)
    found = repaired(Arrivals(host, None, np.arange(6000.0), np.zeros(6000, np.uint16), np.arange(6000)))
    assert np.abs((found.time_ns - own) / 1e6 - np.median((found.time_ns - own) / 1e6)).max() < 10.0
    assert found.timing.lost == 0 and found.rows.size == 6000
