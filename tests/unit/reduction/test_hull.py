"""Hull integration against closed forms: box, prism, cylinder, wedge, Wigley hull; order of convergence."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest

from config.hull_tables import OffsetsTable
from reduction.water.afloat import Afloat
from reduction.water.hull import Hull, at_volume, cross_curve, immersed, make_hull
from reduction.water.lengthwise import parabola_weights

BARS = 8000
LENGTH, BREADTH, DEPTH, DRAUGHT = 60.0, 12.0, 8.0, 4.0
VOLUME_BAR, KM_BAR = 1e-4, 1e-3
"""The bars: 0.01 % of volume, 0.1 % of KM, at any trim and heel up to 10 degrees."""
ATTITUDES = list(itertools.product((-1.2, 0.0, 1.2), np.radians([0.0, 2.0, 5.0, 10.0])))


def form(half: object, stations: int = 41, points: int = 401, depth: float = DEPTH, length: float = LENGTH) -> Hull:
    """Sections of half-breadth half(s, z), s from -1 aft to 1 forward."""
    sections = []
    for x in np.linspace(0.0, length, stations):
        s = 2.0 * x / length - 1.0
        z = np.linspace(0.0, depth, points)
        sections.append((float(x), tuple((float(k), float(half(s, k))) for k in z)))  # type: ignore[operator]
    return make_hull(OffsetsTable(tuple(sections)), length)


def box() -> Hull:
    points = ((0.0, 0.0), (0.0, BREADTH / 2), (DEPTH, BREADTH / 2))
    return make_hull(OffsetsTable(tuple((x, points) for x in np.linspace(0, LENGTH, 11))), LENGTH)


@pytest.mark.parametrize(("trim", "heel"), ATTITUDES)
def test_a_box_at_any_trim_and_heel_has_its_closed_form(trim: float, heel: float) -> None:
    body = immersed(box(), Afloat(DRAUGHT, trim, heel))
    t = math.tan(heel)
    # Mean of (local depth)^2 over the bottom, halved and divided by the draught, is the height of B.
    kb = (DRAUGHT**2 + trim**2 / 12 + BREADTH**2 * t**2 / 12) / (2 * DRAUGHT)
    assert body.volume == pytest.approx(LENGTH * BREADTH * DRAUGHT, rel=1e-12)
    assert body.centre[1] == pytest.approx(BREADTH**2 * t / (12 * DRAUGHT), abs=1e-12)
    assert body.centre[2] == pytest.approx(kb, rel=1e-12)
    assert body.centre[0] == pytest.approx(LENGTH / 2 - trim * LENGTH / (12 * DRAUGHT), rel=1e-9)
    assert body.bm == pytest.approx(BREADTH**2 / (12 * DRAUGHT), rel=1e-12)
    assert body.bml == pytest.approx(LENGTH**2 / (12 * DRAUGHT), rel=1e-3)


def test_box_bml_converges_to_closed_form() -> None:
    points = ((0.0, 0.0), (0.0, BREADTH / 2), (DEPTH, BREADTH / 2))
    fine = make_hull(OffsetsTable(tuple((x, points) for x in np.linspace(0, LENGTH, 81))), LENGTH)
    assert immersed(fine, Afloat(DRAUGHT)).bml == pytest.approx(LENGTH**2 / (12 * DRAUGHT), rel=1e-9)


@pytest.mark.parametrize("hog", [-0.05, 0.08])
def test_hogged_box_gains_a_third_of_the_deflection(hog: float) -> None:
    body = immersed(box(), Afloat(DRAUGHT, 0.6, 0.0, hog))
    assert body.volume == pytest.approx(LENGTH * BREADTH * (DRAUGHT + hog / 3), rel=1e-12)


@pytest.mark.parametrize(("trim", "heel"), ATTITUDES)
def test_triangular_prism(trim: float, heel: float) -> None:
    k = 0.75
    hull = form(lambda s, z: k * z, stations=21, points=2)
    body = immersed(hull, Afloat(DRAUGHT, trim, heel))
    m = math.tan(heel)
    mean_square = DRAUGHT**2 + trim**2 / 12
    assert body.volume == pytest.approx(LENGTH * k * mean_square / (1 - k**2 * m**2), rel=1e-9)
    if heel == 0.0:
        km = 2 / 3 * (DRAUGHT**3 + DRAUGHT * trim**2 / 4) * (1 + k**2) / mean_square
        assert body.centre[2] + body.bm == pytest.approx(km, rel=KM_BAR / 100)


@pytest.mark.parametrize("heel", np.radians([0.0, 4.0, 10.0]))
@pytest.mark.parametrize("draught", [1.5, 4.0, 5.0])
def test_circular_cylinder(draught: float, heel: float) -> None:
    radius = 4.0
    z = radius * (1 - np.cos(np.linspace(0, np.pi, 721)))
    half = radius * np.sin(np.linspace(0, np.pi, 721))
    section = tuple(zip(z.tolist(), half.tolist(), strict=True))
    hull = make_hull(OffsetsTable(tuple((float(x), section) for x in (0, 10, 20, 30))), 30.0)
    body = immersed(hull, Afloat(draught, 0.0, heel))
    below = radius - (radius - (radius - draught) * math.cos(heel))
    angle = math.acos(below / radius)
    area = radius**2 * (angle - math.sin(angle) * math.cos(angle))
    assert body.volume == pytest.approx(30.0 * area, rel=VOLUME_BAR)
    if heel == 0.0:
        # Every buoyancy line of a circle passes through its centre.
        assert body.centre[2] + body.bm == pytest.approx(radius, rel=KM_BAR / 10)
    # y_B cos + z_B sin is the lever about the keel: R sin(heel) at any heel.
    lever = body.centre[1] * math.cos(heel) + body.centre[2] * math.sin(heel)
    assert lever == pytest.approx(radius * math.sin(heel), abs=KM_BAR * radius / 10)


@pytest.mark.parametrize(("trim", "heel"), ATTITUDES)
def test_wedge_in_plan(trim: float, heel: float) -> None:
    """Vertical sides that narrow to nothing forward: V = L B T/2, shifted by trim's first moment."""
    hull = form(lambda s, z: BREADTH / 4 * (1 - s), stations=41, points=2)
    body = immersed(hull, Afloat(DRAUGHT, trim, heel))
    # Local depth T - trim (x - L/2)/L times breadth B (1 - x/L).
    volume = LENGTH * BREADTH * (DRAUGHT / 2 + trim / 12)
    assert body.volume == pytest.approx(volume, rel=VOLUME_BAR / 10)
    assert body.bm == pytest.approx(LENGTH * BREADTH**3 / 48 / volume, rel=KM_BAR)


def wigley(s: float, z: float) -> float:
    """Parabolic sections below the design draught, vertical topsides above."""
    below = max(0.0, DRAUGHT - z) / DRAUGHT
    return BREADTH / 2 * (1 - s**2) * (1 - below**2)


def test_wigley_upright() -> None:
    body = immersed(form(wigley, 41, 401), Afloat(DRAUGHT))
    assert body.volume == pytest.approx(4 / 9 * LENGTH * BREADTH * DRAUGHT, rel=VOLUME_BAR)
    km = 5 / 8 * DRAUGHT + 3 * BREADTH**2 / (35 * DRAUGHT)
    assert body.centre[2] + body.bm == pytest.approx(km, rel=KM_BAR)


@pytest.mark.parametrize(("trim", "heel"), ATTITUDES)
def test_wigley_trimmed_and_heeled(trim: float, heel: float) -> None:
    hull = form(wigley, 41, 401)
    body = immersed(hull, Afloat(DRAUGHT - 0.7, trim, heel))
    volume, y_moment, z_moment, second = by_columns(DRAUGHT - 0.7, trim, heel)
    assert body.volume == pytest.approx(volume, rel=VOLUME_BAR)
    km = z_moment / volume + second / volume
    assert body.centre[2] + body.bm == pytest.approx(km, rel=KM_BAR)
    assert body.centre[1] == pytest.approx(y_moment / volume, abs=2e-4)


def by_columns(draught: float, trim: float, heel: float) -> tuple[float, float, float, float]:
    """The Wigley hull by another way: thin bars along y, Gauss points along the length, midpoints over height."""
    nodes, weights = np.polynomial.legendre.leggauss(24)
    z = (np.arange(BARS) + 0.5) * DEPTH / BARS
    total = np.zeros(4)
    m = math.tan(heel)
    for s, w in zip(nodes, weights, strict=True):
        level = draught - trim * s / 2
        below = np.maximum(0.0, DRAUGHT - z) / DRAUGHT
        half = BREADTH / 2 * (1 - s**2) * (1 - below**2)
        low = np.clip((z - level) / m, -half, half) if m else np.where(z <= level, -half, half)
        bar = half - low
        total[0] += w * np.sum(bar)
        total[1] += w * np.sum((half**2 - low**2) / 2)
        total[2] += w * np.sum(bar * z)
        edges = []
        for sign in (1.0, -1.0):
            reach = BREADTH / 2 * (1 - s**2)
            lo, hi = 0.0, reach
            for _ in range(60):
                y = (lo + hi) / 2
                k = level + sign * y * m
                b = BREADTH / 2 * (1 - s**2) * (1 - (max(0.0, DRAUGHT - k) / DRAUGHT) ** 2)
                lo, hi = (y, hi) if y < b else (lo, y)
            edges.append(sign * lo)
        total[3] += w * (edges[0] ** 3 - edges[1] ** 3) / 3 * BARS / DEPTH
    volume, y_moment, z_moment, second = (float(v) for v in total * DEPTH / BARS * LENGTH / 2)
    centre = waterplane_centre(draught, trim, heel)
    return volume, y_moment, z_moment, second - centre


def waterplane_centre(draught: float, trim: float, heel: float) -> float:
    """Area times centroid squared of the heeled waterplane: small, taken from the hull at other resolution."""
    body = immersed(form(wigley, 31, 301), Afloat(draught, trim, heel))
    return body.area * body.flotation[1] ** 2


def error(stations: int, points: int) -> float:
    body = immersed(form(wigley, stations, points), Afloat(DRAUGHT))
    return abs(body.volume / (4 / 9 * LENGTH * BREADTH * DRAUGHT) - 1)


def test_second_order_over_height() -> None:
    # The parabolas along the length are integrated exactly, so only the sections' error is left.
    errors = [error(41, n) for n in (11, 21, 41)]
    assert [math.log2(a / b) for a, b in itertools.pairwise(errors)] == pytest.approx([2.0, 2.0], abs=0.1)


def test_fourth_order_along_the_length() -> None:
    def miss(stations: int) -> float:
        x = np.linspace(-1.0, 1.0, stations)
        return abs(float(parabola_weights(x) @ np.exp(x)) - (math.e - 1 / math.e))

    errors = [miss(n) for n in (17, 33, 65)]
    assert all(math.log2(a / b) > 3.0 for a, b in itertools.pairwise(errors))


def test_weights_are_exact_for_parabolas_on_uneven_stations() -> None:
    x = np.array([0.0, 0.4, 1.0, 2.5, 3.0, 5.0])
    w = parabola_weights(x)
    assert float(w @ (3 * x**2 - x + 2)) == pytest.approx(125 - 12.5 + 10, rel=1e-12)


def test_cross_curve_of_a_box_is_the_wall_sided_formula() -> None:
    hull = box()
    kn = cross_curve(hull, Afloat(DRAUGHT))
    heel = np.radians(np.linspace(-8, 8, 33))
    bm, kb = BREADTH**2 / (12 * DRAUGHT), DRAUGHT / 2
    expected = np.sin(heel) * (kb + bm + bm * np.tan(heel) ** 2 / 2)
    assert np.allclose(kn(heel), expected, atol=2e-7)


def test_sinks_to_the_volume_wanted() -> None:
    hull = form(wigley, 21, 101)
    found = at_volume(hull, 900.0, Afloat(2.0, 0.4, 0.1))
    assert immersed(hull, found).volume == pytest.approx(900.0, rel=1e-10)
    assert (found.trim, found.list) == (0.4, 0.1)
