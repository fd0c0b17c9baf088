"""What figures show: the curve that is carried on has a stroke, stations that agree can be told apart."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from reduction.report import Traces
from reduction.report.figures.canvas import Look
from reduction.report.figures.moment import _residuals, moment_tangent, true_curve
from reduction.report.figures.traces import _differences, window_close_up
from reduction.types import Answer
from tests.examples_answer import example_answer


@pytest.fixture(scope="module")
def reduced() -> Answer:
    return example_answer()


def test_the_true_curve_is_what_the_fit_gives_at_each_window(reduced: Answer) -> None:
    gm = reduced.gm.value
    assert gm is not None
    curve = true_curve(gm)
    assert curve is not None
    for point in gm.points:
        fitted = point.heel - point.residual_curve
        assert float(curve(np.array([point.moment]))[0]) == pytest.approx(fitted, abs=math.radians(2e-4))


@pytest.mark.parametrize("carried", ["curve", "line"])
def test_both_fits_have_a_stroke_and_say_which_is_carried_on(reduced: Answer, carried: str) -> None:
    gm = reduced.gm.value
    assert gm is not None
    svg = moment_tangent(replace(gm, carried=carried), 1150e3).wide
    legend = re.findall(r"(straight line|true curve), GM [\d.]+ m(, carried on)?", svg)
    assert [(name, bool(mark)) for name, mark in legend] == [
        ("straight line", carried == "line"),
        ("true curve", carried == "curve"),
    ]
    without = moment_tangent(replace(gm, curve=type(gm.curve)(None, "no BM")), 1150e3).wide
    dashed = [text.count("stroke-dasharray") for text in (svg, without)]
    assert dashed[0] > dashed[1]


def test_stations_that_agree_are_told_apart_by_their_difference(answer: Answer, traces: Traces) -> None:
    assert answer.gm.value is not None
    svg = window_close_up(traces, answer.gm.value.points).wide
    first = next(rows for rows in traces.windows.values() if rows)[0].station
    assert "each station" in svg
    assert f"less {first}" in svg


def test_differences_are_taken_where_both_have_readings() -> None:
    time = np.arange(10.0)
    late = np.arange(4.5, 13.0)
    ((at, apart),) = _differences([(time, 2.0 * time), (late, 2.0 * late + 0.25)])
    assert at[0] == 4.5
    assert at[-1] <= 9.0
    assert apart == pytest.approx(np.full(at.size, 0.25))


@pytest.mark.parametrize("narrow", [False, True])
def test_what_a_window_far_off_reads_stands_beside_its_bar_and_inside_the_frame(reduced: Answer, narrow: bool) -> None:
    """Windows of the least and the greatest moment, each far off to either side: the sign of each can be read."""
    gm = reduced.gm.value
    assert gm is not None
    ends = sorted(gm.points, key=lambda p: p.moment)
    far = {ends[0].label: 0.6e-3, ends[-1].label: -3e-3}
    points = tuple(
        replace(p, residual_curve=far[p.label], used=False, verdict="rejected")
        if p.label in far
        else replace(p, residual_curve=0.0)
        for p in gm.points
    )
    figure = Figure(figsize=(3.9, 5.2) if narrow else (7.2, 5.1))
    FigureCanvasAgg(figure)
    _, axes = figure.subplots(2, 1, sharex=True, height_ratios=(1.9, 1.0))
    _residuals(axes, replace(gm, points=points), Look(narrow))
    figure.canvas.draw()
    frame = axes.get_window_extent()
    labels = {text.get_text(): text.get_window_extent() for text in axes.texts if ": " in text.get_text()}
    assert len(labels) == 2 and any("+" in said for said in labels) and any("−" in said for said in labels)
    for said, box in labels.items():
        at = next(p.moment for p in points if said.startswith(f"{p.label}: "))
        bar = axes.transData.transform((at / 1e3, 0.0))[0]
        assert not box.x0 - 2.0 < bar < box.x1 + 2.0
        assert frame.x0 < box.x0 and box.x1 < frame.x1 and frame.y0 < box.y0 and box.y1 < frame.y1
