"""A day without a GM still tells what became of its windows."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np

from reduction.types import Maybe
from reduction.window_points import points_of

sys.path.insert(0, str(Path(__file__).parents[2]))
sys.path.insert(0, str(Path(__file__).parent))

from day_maker import day
from examples_answer import example_answer


def test_windows_are_listed_without_a_gm() -> None:
    whole = example_answer()
    assert whole.gm.value is not None
    assert points_of(whole) == whole.gm.value.points
    none = replace(whole, gm=Maybe(None, "no moments"), day=day(np.array([0.0, 0.02]), 1e-10 * np.eye(2)))
    points = points_of(none)
    assert [p.label for p in points] == ["0", "1"] and points[1].heel == 0.02
    assert all(np.isnan(p.moment) and not p.used for p in points)
    assert points_of(replace(none, day=None)) == ()
