from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.records import Flag, Quantity, Series
from quietheel.page.pulse import KEEP_S, Pulse
from quietheel.page.strip import BUCKET_NS, KEEP, Lane, Strip

S = 1_000_000_000


def series(times_s: list[float], values: list[float], flags: int = 0) -> Series:
    time = np.round(np.asarray(times_s) * 1e9).astype(np.int64)
    return Series(
        "aft", Quantity.HEEL, time, np.asarray(values, dtype=float), "deg", np.full(time.size, flags, np.uint16)
    )


def test_low_and_high_of_each_second_and_none_where_silent() -> None:
    strip = Strip([Lane("aft", Quantity.HEEL)])
    strip.add(series([10.0, 10.5, 12.2], [0.1, -0.2, 0.3]))
    assert strip.rows(10, 13) == [[-2000, 1000], [None, None], [3000, 3000]]


def test_a_second_that_comes_in_two_parts_is_joined() -> None:
    strip = Strip([Lane("aft", Quantity.HEEL)])
    strip.add(series([10.0], [0.1]))
    strip.add(series([10.9], [0.4]))
    assert strip.rows(10, 11) == [[1000, 4000]]


def test_old_seconds_do_not_shine_through() -> None:
    strip = Strip([Lane("aft", Quantity.HEEL)])
    strip.add(series([10.0], [0.5]))
    strip.add(series([10.0 + KEEP], [0.1]))
    assert strip.rows(10 + KEEP, 11 + KEEP) == [[1000, 1000]]
    assert strip.rows(11, 12) == [[None, None]]


def test_what_is_not_drawn_or_no_number_is_passed_over() -> None:
    strip = Strip([Lane("aft", Quantity.WIND_SPEED)])
    strip.add(series([10.0], [0.5]))
    assert strip.rows(10, 11) == [[None, None]]
    strip = Strip([Lane("aft", Quantity.HEEL)])
    strip.add(series([10.0, 10.1], [float("nan"), 0.2]))
    assert strip.rows(10, 11) == [[2000, 2000]]


@given(st.lists(st.tuples(st.floats(0, 700), st.floats(-5, 5)), min_size=1, max_size=200))
def test_the_strip_holds_the_extremes_of_the_last_ten_minutes(points: list[tuple[float, float]]) -> None:
    points.sort()
    part = series([t for t, _ in points], [v for _, v in points])
    strip = Strip([Lane("aft", Quantity.HEEL)])
    strip.add(part)
    last = int(part.time_ns[-1] // BUCKET_NS)
    rows = strip.rows(last + 1 - KEEP, last + 1)
    recent = part.value[part.time_ns // BUCKET_NS > last - KEEP]
    assert max(row[1] for row in rows if row[1] is not None) == pytest.approx(recent.max() / 1e-4, abs=0.51)
    assert min(row[0] for row in rows if row[0] is not None) == pytest.approx(recent.min() / 1e-4, abs=0.51)


def test_rate_silence_and_mean() -> None:
    pulse = Pulse("aft", Quantity.HEEL)
    pulse.add(series([n / 10 for n in range(1000)], [0.5 + 0.01 * (n % 2) for n in range(1000)]))
    beats = pulse.at(100 * S)
    assert beats.rate_hz == pytest.approx(10.0)
    assert beats.silent_s == pytest.approx(0.1)
    assert beats.mean == pytest.approx(0.505)
    assert pulse.at(130 * S).silent_s == pytest.approx(30.1)
    assert pulse.at(130 * S).rate_hz == 0.0


def test_a_stuck_value_and_suspect_readings_are_seen() -> None:
    pulse = Pulse("aft", Quantity.HEEL)
    pulse.add(series([0.0, 1.0, 2.0], [0.1, 0.2, 0.2]))
    pulse.add(series([3.0, 20.0], [0.2, 0.2]))
    assert pulse.at(20 * S).repeated_s == pytest.approx(19.0)
    pulse.add(series([21.0], [0.3], int(Flag.SUSPECT)))
    assert pulse.at(21 * S).suspect == pytest.approx(0.5)
    assert len(pulse.series()) == 6


def test_only_the_last_minutes_are_kept() -> None:
    pulse = Pulse("aft", Quantity.HEEL)
    for minute in range(30):
        pulse.add(series([minute * 60.0 + n for n in range(60)], [0.0] * 60))
    assert len(pulse.series()) == int(KEEP_S) + 1


def test_a_channel_never_heard_says_so() -> None:
    beats = Pulse("aft", Quantity.HEEL).at(5 * S)
    assert np.isinf(beats.silent_s)
    assert np.isnan(beats.value)
