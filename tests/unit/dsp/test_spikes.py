"""Spikes: looked for again only near what was mended, found as if the whole record were looked at each time."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import maximum_filter, median_filter

from dsp.clean import mark
from dsp.types import Array, StationKnowledge, Trace


def every_round_over_the_whole(value: Array) -> np.ndarray:
    """The rule of `mark`, without a pause, a stuck run or coarse steps, written down plainly."""
    mended, spike = value.copy(), np.zeros(value.size, dtype=bool)
    limits: list[Array] = []
    for _ in range(3):
        off = np.abs(mended - median_filter(mended, size=7, mode="nearest"))
        two = np.pad(mended, 2, mode="edge")
        bend = np.abs(mended - (4.0 * (two[1:-3] + two[3:-1]) - two[:-4] - two[4:]) / 6.0)
        bend[:2], bend[-2:] = off[:2], off[-2:]
        limits = limits or [8.0 * scale(off), 8.0 * scale(bend)]
        far = (off > limits[0]) & (bend > limits[1]) & (off >= maximum_filter(off, size=7)) & (off > 1e-9)
        far &= off > 0.6 * bend
        spike |= far
        sound = ~spike & (off <= limits[0])
        mended[spike] = np.interp(np.flatnonzero(spike), np.flatnonzero(sound), value[sound])
    return spike


def scale(size: Array) -> Array:
    """Of the whole and of the hundred around."""
    blocks = np.pad(size, (0, -size.size % 101), mode="edge").reshape(-1, 101)
    near = np.repeat(np.median(blocks, axis=1), 101)[: size.size]
    return np.asarray(1.4826 * np.maximum(near, np.median(size)))


@pytest.mark.parametrize("share", [0.0, 0.003, 0.03, 0.2])
@pytest.mark.parametrize("high", [0.2, 5.0, 1e3])
def test_looking_near_what_was_mended_finds_what_looking_everywhere_finds(share: float, high: float) -> None:
    rng = np.random.default_rng(17)
    found = 0
    for size in (150, 700, 3000):
        time = np.arange(size) * 0.1
        value = 0.3 * np.sin(2 * np.pi * time / 8.0) + rng.normal(0, 0.01, size)
        hit = rng.random(size) < share
        hit[:3] = hit[-2:] = share > 0.01
        value[hit] += high * rng.normal(0, 1, hit.sum())
        made = mark(Trace("aft", time, value, np.zeros(size, dtype=bool)), StationKnowledge("aft"))
        assert np.array_equal(made.spike, every_round_over_the_whole(value))
        found += int(made.spike.sum())
    assert found > 0 or share < 0.01


@pytest.mark.parametrize(
    "spikes",
    [
        (9.0, 9.0),
        (16.6, 11.1),
        (11.1, 16.6),
        (-4.0, 9.0),
        (9.0, 9.0, 9.0),
        (3.0, -8.0, 12.0),
        (9.0, 0.0, 9.0),
        (1.0, 5.0),
    ],
)
@pytest.mark.parametrize("roll", [0.05, 0.5, 3.0])
def test_spikes_in_a_row_are_marked_and_their_neighbours_are_not(spikes: tuple[float, ...], roll: float) -> None:
    """A reading that was spoilt and then sent twice, or two hits of noise on a line: degrees, beside a roll of 8 s."""
    rng = np.random.default_rng(6)
    time = np.arange(1500) * 0.1
    value = roll * np.sin(2 * np.pi * time / 8.0) + 0.004 * rng.standard_normal(time.size)
    places = np.arange(200, 1300, 100)
    hit = np.zeros(time.size, dtype=bool)
    for place in places:
        for k, size in enumerate(spikes):
            value[place + k] += size
            hit[place + k] = size != 0.0
    made = mark(Trace("aft", time, value, np.zeros(time.size, dtype=bool)), StationKnowledge("aft"))
    assert made.spike[hit].all()
    # At a crest of heavy roll a straight bridge is as far off as noise, and takes a neighbour with it.
    assert np.count_nonzero(made.spike & ~hit) <= (2 if roll < 1.0 else 5)


@pytest.mark.parametrize("roll", [0.0, 0.1, 0.3])
def test_a_level_that_jumps_has_no_spikes(roll: float) -> None:
    rng = np.random.default_rng(8)
    time = np.arange(3000) * 0.5
    value = np.repeat([0.0, 1.0, 2.0, 1.0, 0.0, -1.0], 500) + roll * np.sin(2 * np.pi * time / 8.0)
    value += 0.001 * rng.standard_normal(time.size)
    assert not mark(Trace("aft", time, value, np.zeros(time.size, dtype=bool)), StationKnowledge("aft")).spike.any()
