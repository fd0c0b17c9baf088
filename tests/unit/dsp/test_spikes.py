"""Spikes: looked for again only near what was bridged, found as if the whole record were looked at each time."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import maximum_filter, median_filter

from dsp.clean import mark
from dsp.types import Array, StationKnowledge, Trace


def every_round_over_the_whole(value: Array) -> np.ndarray:
    """The rule of `mark`, without a pause, a stuck run or coarse steps, written down plainly."""
    index, bridged, spike = np.arange(value.size), value.copy(), np.zeros(value.size, dtype=bool)
    limits: list[Array] = []
    for _ in range(3):
        median = np.abs(bridged - median_filter(bridged, size=7, mode="nearest"))
        two = np.pad(bridged, 2, mode="edge")
        bend = np.abs(bridged - (4.0 * (two[1:-3] + two[3:-1]) - two[:-4] - two[4:]) / 6.0)
        bend[:2], bend[-2:] = median[:2], median[-2:]
        limits = limits or [8.0 * scale(median), 8.0 * scale(bend)]
        far = (median > limits[0]) & (bend > limits[1]) & (bend >= maximum_filter(bend, size=5)) & (median > 1e-9)
        spike |= far
        bridged[spike] = np.interp(index[spike], index[~spike], value[~spike])
    return spike


def scale(size: Array) -> Array:
    """Of the whole and of the hundred around."""
    blocks = np.pad(size, (0, -size.size % 101), mode="edge").reshape(-1, 101)
    near = np.repeat(np.median(blocks, axis=1), 101)[: size.size]
    return np.asarray(1.4826 * np.maximum(near, np.median(size)))


@pytest.mark.parametrize("share", [0.0, 0.003, 0.03, 0.2])
@pytest.mark.parametrize("high", [0.2, 5.0, 1e3])
def test_looking_near_bridges_finds_what_looking_everywhere_finds(share: float, high: float) -> None:
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
