"""The natural roll is told from chop by what movements set off; a range that is told decides between peaks only."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from dsp.model import rolls_of
from dsp.prepare import by_the_fast, prepare
from dsp.types import Array, Day, Trace, WindowSpan

STEP, PAUSE, LENGTH = 0.25, 420.0, 130.0
AFTER = 90.0
"""s from a window's end to the movement."""
LEVELS = (0.0, 0.01, 0.02, 0.01, 0.0, -0.01, -0.02, -0.01, 0.0)
DEG = np.pi / 180.0


def made(
    seed: int, period: float, chop: float = 0.0, driven: float = 0.0, moves: bool = True, chop_period: float = 3.3
) -> Day:
    """A day of nine levels: an oscillator of ``period`` s answering steps and pushes (``driven`` rad), and chop (rad).

    Without ``moves`` the levels change at once and set nothing off.
    """
    rng = np.random.default_rng(seed)
    each = round((PAUSE + LENGTH) / STEP)
    level = np.repeat(LEVELS, each)
    level = np.concatenate([np.zeros(each // 2), level[each - round(LENGTH / STEP) :]])
    level = np.concatenate([np.zeros(round(AFTER / STEP)), level])[: level.size]
    size, fine = level.size, 10
    natural, damping, step = 2.0 * np.pi / period, 0.03, STEP / fine
    heel, speed, swing = 0.0, 0.0, np.empty(size)
    push = driven * natural**2 * rng.standard_normal(size) * np.sqrt(8.0 * damping / (natural * STEP))
    for i in range(size):
        for _ in range(fine):
            speed += step * (natural**2 * (level[i] - heel) - 2.0 * damping * natural * speed + push[i])
            heel += step * speed
        swing[i] = heel
    value = swing if moves else level
    frequency = np.fft.rfftfreq(size, STEP)
    shape = np.exp(-0.5 * ((frequency * chop_period - 1.0) / 0.15) ** 2)
    wave = np.fft.irfft(shape * np.fft.rfft(rng.standard_normal(size)), size)
    value = value + chop * wave / np.std(wave) + 2e-5 * rng.standard_normal(size)
    first = each // 2 * STEP
    stops = [first + LENGTH + k * (PAUSE + LENGTH) for k in range(len(LEVELS))]
    windows = tuple(WindowSpan(str(k), stop - LENGTH, stop) for k, stop in enumerate(stops))
    return Day(0, (Trace("a", np.arange(size) * STEP, value),), windows)


def windows_only(day: Day) -> Day:
    """The day without its record between the windows."""
    trace = day.heel[0]
    keep = np.zeros(trace.time.size, dtype=bool)
    for w in day.windows:
        keep |= (trace.time >= w.start) & (trace.time < w.stop)
    return replace(day, heel=(Trace("a", trace.time[keep], trace.value[keep]),))


def first_look(day: Day) -> float:
    """Period (s) of the roll as it is first seen."""
    found = prepare(day)
    assert not isinstance(found, str)
    return 1.0 / found.roll_frequency


@pytest.mark.parametrize(("seed", "period"), [(0, 6.5), (1, 5.4), (2, 9.0)])
def test_chop_stronger_than_roll_is_not_the_roll_though_nothing_is_told(seed: int, period: float) -> None:
    day = made(seed, period, chop=0.0004)
    assert first_look(day) == pytest.approx(period, rel=0.05)
    found = prepare(day)
    assert not isinstance(found, str)
    law, _ = rolls_of(found)
    assert law is not None and 1.0 / law.frequency == pytest.approx(period, rel=0.15)


def test_what_is_told_decides_where_windows_are_all_there_is() -> None:
    day = windows_only(made(3, 6.5, chop=0.001, driven=0.0004))
    assert first_look(day) == pytest.approx(3.3, rel=0.2)
    assert first_look(replace(day, roll_between=(5.0, 9.0))) == pytest.approx(6.5, rel=0.05)


@pytest.mark.parametrize("told", [(12.0, 18.0), (2.0, 3.0)])
def test_a_roll_outside_the_range_that_was_told_is_found_where_it_stands_alone(told: tuple[float, float]) -> None:
    day = made(4, 6.5, driven=0.0004)
    assert first_look(replace(day, roll_between=told)) == pytest.approx(6.5, rel=0.05)
    assert first_look(replace(windows_only(day), roll_between=told)) == pytest.approx(6.5, rel=0.05)


@pytest.mark.parametrize("told", [None, (5.0, 9.0)])
def test_no_roll_is_made_where_there_is_none(told: tuple[float, float] | None) -> None:
    day = replace(made(5, 6.5, moves=False), roll_between=told)
    assert np.isnan(first_look(day))
    assert np.isnan(first_look(windows_only(day)))


def test_a_vessel_that_passes_in_one_pause_is_not_the_roll() -> None:
    day = made(6, 6.5, driven=0.0002)
    trace, w = day.heel[0], day.windows[3]
    near = np.exp(-0.5 * ((trace.time - w.stop - 150.0) / 20.0) ** 2)
    wash = 2.0 * DEG * near * np.sin(2.0 * np.pi * trace.time / 4.0)
    passed = replace(day, heel=(replace(trace, value=trace.value + wash),))
    assert first_look(passed) == pytest.approx(6.5, rel=0.05)


@pytest.mark.parametrize("seed", [0, 1, 2])
def test_a_slow_roll_is_found_in_windows_of_less_than_three_periods(seed: int) -> None:
    """The octave below lies within the width that such windows give every peak, and two periods make no law."""
    day = made(seed, 23.0, driven=0.002)
    short = replace(day, windows=tuple(replace(w, start=w.stop - 62.0) for w in day.windows))
    found = prepare(short)
    assert not isinstance(found, str)
    assert 1.0 / found.roll_frequency == pytest.approx(23.0, rel=0.08)
    law, rolls = rolls_of(found)
    assert law is not None and 1.0 / law.frequency == pytest.approx(23.0, rel=0.03)
    assert 0.01 < law.damping < 0.09
    assert all(one.stationary > 0.0 for one in rolls)


def test_a_slow_quiet_station_has_no_say_in_what_is_the_roll() -> None:
    """It comes and goes from bin to bin, and shows otherwise than the others: a line at its rate, which is no roll."""
    rng = np.random.default_rng(21)
    time = np.arange(0.0, 3600.0, 0.04)
    heel = np.array(LEVELS)[np.minimum((time // 400.0).astype(int), 8)] + 0.006 * DEG * np.sin(2 * np.pi * time / 8.4)
    fast = Trace("fast", time, heel + 0.005 * DEG * rng.normal(size=time.size))
    once = time[::50]
    other = heel[::50] + 0.02 * DEG * np.exp(-once / 900.0) + 0.0005 * DEG * rng.normal(size=once.size)
    windows = tuple(WindowSpan(str(k), 400.0 * k + 200.0, 400.0 * k + 340.0) for k in range(9))
    both = prepare(Day(0, (fast, Trace("slow", once, other)), windows))
    assert not isinstance(both, str)
    line = [_power(one, both.grid.step, 0.5) for one in (both.heel, by_the_fast(both))]
    roll = [_power(one, both.grid.step, 1 / 8.4) for one in (both.heel, by_the_fast(both))]
    assert line[1] < 0.4 * line[0]
    assert roll[1] == pytest.approx(roll[0], rel=0.2)
    assert 1.0 / both.roll_frequency == pytest.approx(8.4, rel=0.02)


def _power(heel: Array, step: float, frequency: float) -> float:
    """Square of the amplitude of a line, mean of ten stretches within one level."""
    size = round(100.0 / step)
    starts = [round((400.0 * k + 200.0) / step) for k in range(9)]
    turn = np.exp(-2j * np.pi * frequency * step * np.arange(size))
    each = [heel[a : a + size] - np.nanmean(heel[a : a + size]) for a in starts]
    return float(np.mean([abs(np.nan_to_num(one) @ turn) ** 2 for one in each]))
