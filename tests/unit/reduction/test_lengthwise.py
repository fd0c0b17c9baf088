"""Knuckles along the length: exact where they lie at a station, inside what is stated where they do not."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from config.hull_tables import OffsetsTable
from config.plan import Hydrostatics, Plan
from config.tables import Tables
from quietheel.jobs.plan_advice import coarse_offsets
from reduction.water.afloat import Afloat
from reduction.water.hull import Hull, immersed, make_hull, station_error
from reduction.water.hydrostatics import FromOffsets
from reduction.water.lengthwise import Lengthwise, find_knuckles
from reduction.water.two_routes import coarse_stations

LENGTH, BREADTH, DEPTH, DRAUGHT, AFT = 60.0, 12.0, 6.0, 3.0, 6.0
UNEVEN = (0, 3, 6, 10, 15, 20, 25, 30, 35, 40, 44, 48, 52, 56, 60)


def table(stations: object, forward: float = 48.0, rise: float = 2.5) -> OffsetsTable:
    """Box sections; the bottom rises straight from x = 6 to the stern and from ``forward`` to the stem."""
    sections = []
    for x in np.asarray(stations, dtype=float):
        bottom = rise * max((AFT - x) / AFT, (x - forward) / (LENGTH - forward), 0.0)
        sections.append((float(x), ((bottom, 0.0), (bottom, BREADTH / 2), (DEPTH, BREADTH / 2))))
    return OffsetsTable(tuple(sections))


def barge(stations: object, forward: float = 48.0, rise: float = 2.5) -> Hull:
    return make_hull(table(stations, forward, rise), LENGTH)


def truth(forward: float, rise: float) -> tuple[float, float]:
    """Volume and KM in closed form: in each rake the mean of T - b and of (T^2 - b^2)/2 over b from 0 to the rise."""
    rakes, flat = AFT + LENGTH - forward, forward - AFT
    volume = BREADTH * (flat * DRAUGHT + rakes * (DRAUGHT - rise / 2))
    moment = BREADTH * (flat * DRAUGHT**2 / 2 + rakes * (DRAUGHT**2 - rise**2 / 3) / 2)
    return volume, moment / volume + LENGTH * BREADTH**3 / 12 / volume


def errors(hull: Hull, forward: float = 48.0, rise: float = 2.5) -> tuple[float, float]:
    body, (volume, km) = immersed(hull, Afloat(DRAUGHT)), truth(forward, rise)
    return body.volume / volume - 1.0, (body.centre[2] + body.bm) / km - 1.0


@pytest.mark.parametrize("rise", [1.0, 2.5, 2.95])
def test_a_barge_with_stations_at_its_knuckles_is_exact(rise: float) -> None:
    hull = barge(UNEVEN, rise=rise)
    assert [hull.x[k] for k in hull.stations.knuckles] == [6.0, 48.0]
    assert errors(hull, rise=rise) == pytest.approx((0.0, 0.0), abs=1e-9)
    assert station_error(hull, Afloat(DRAUGHT))[1] < 1e-9


def test_the_waterplane_stays_the_slope_of_the_volume() -> None:
    hull = barge(UNEVEN)
    up, down, here = (immersed(hull, Afloat(DRAUGHT + d, 0.3)) for d in (1e-4, -1e-4, 0.0))
    assert (up.volume - down.volume) / 2e-4 == pytest.approx(here.area, rel=1e-9)
    heeled = immersed(hull, Afloat(DRAUGHT, 0.3, 1e-4))
    assert heeled.centre[1] / math.tan(1e-4) == pytest.approx(here.bm, rel=1e-6)


@pytest.mark.parametrize("forward", [45.2, 45.5, 46.0, 46.5, 47.0, 47.5, 47.8])
@pytest.mark.parametrize("rise", [1.5, 2.5, 2.95])
def test_a_knuckle_off_the_stations_is_inside_what_is_stated(forward: float, rise: float) -> None:
    hull = barge(np.linspace(0, LENGTH, 21), forward, rise)
    volume_u, km_u, place = station_error(hull, Afloat(DRAUGHT))
    volume, km = errors(hull, forward, rise)
    assert abs(volume) < 1.0e-3
    assert abs(volume) < 2.0 * volume_u
    assert abs(km) < 2.0 * km_u
    assert abs(place - forward) < 5.0


def test_one_interval_of_rake_is_told() -> None:
    hull = barge(np.arange(0.0, 61.0, 6.0))
    volume_u, km_u, _ = station_error(hull, Afloat(DRAUGHT))
    volume, km = errors(hull)
    assert abs(volume) < 1e-9
    assert abs(km) < 2.0 * km_u
    said = coarse_stations(Hydrostatics(), FromOffsets(hull), Afloat(DRAUGHT))
    assert f"{196 * volume_u:.2f} % of displacement (0.2 % is assumed)" in said[0]
    assert "about x = " in said[0]
    assert coarse_stations(Hydrostatics(), FromOffsets(barge(UNEVEN)), Afloat(DRAUGHT)) == []


def test_a_bottom_that_leaves_the_water_between_stations_is_told() -> None:
    hull, fine = barge(UNEVEN, rise=3.6), barge(np.linspace(0, LENGTH, 2401), rise=3.6)
    coarse, exact = immersed(hull, Afloat(DRAUGHT)), immersed(fine, Afloat(DRAUGHT))
    volume_u, km_u, _ = station_error(hull, Afloat(DRAUGHT))
    assert abs(coarse.volume / exact.volume - 1.0) < 2.0 * volume_u
    assert abs((coarse.centre[2] + coarse.bm) / (exact.centre[2] + exact.bm) - 1.0) < 2.0 * km_u


def test_smooth_hulls_have_no_knuckle_and_are_inside_what_is_stated() -> None:
    for stations in (11, 21, 41):
        sections = []
        for x in np.linspace(0.0, LENGTH, stations):
            s = 2.0 * x / LENGTH - 1.0
            z = np.linspace(0.0, 8.0, 401)
            half = BREADTH / 2 * (1 - s**2) * (1 - (np.maximum(4.0 - z, 0.0) / 4.0) ** 2)
            sections.append((float(x), tuple(zip(z.tolist(), half.tolist(), strict=True))))
        hull = make_hull(OffsetsTable(tuple(sections)), LENGTH)
        assert hull.stations.knuckles == ()
        body = immersed(hull, Afloat(4.0))
        km = 5 / 8 * 4.0 + 3 * BREADTH**2 / (35 * 4.0)
        # 1e-5: straight lines between the points of the sections.
        assert abs((body.centre[2] + body.bm) / km - 1.0) < 1e-5 + station_error(hull, Afloat(4.0))[1]


def test_merrowby_has_no_knuckle() -> None:
    import quietheel
    from config.hull_tables import read_offsets

    made = make_hull(read_offsets(Path(quietheel.__file__).parent / "demo" / "merrowby" / "offsets.csv"), 48.0)
    assert made.stations.knuckles == ()
    assert max(station_error(made, Afloat(3.0, 0.2))[:2]) < 2e-4


@pytest.mark.parametrize("power", [0, 1, 2])
def test_moments_are_those_of_the_curve_drawn(power: int) -> None:
    x = np.array([0.0, 3.0, 6.0, 10.0, 15.0, 20.0])
    curve = np.minimum(x, 6.0)
    drawn = find_knuckles(x, [curve])
    assert drawn.knuckles == (2,)
    exact = 6.0 ** (power + 2) / (power + 2) + 6.0 * (20.0 ** (power + 1) - 6.0 ** (power + 1)) / (power + 1)
    assert float(drawn.weights(power) @ curve) == pytest.approx(exact, rel=1e-12)


def test_few_stations() -> None:
    for count in (2, 3):
        lengthwise = find_knuckles(np.arange(float(count)), [np.ones(count)])
        assert lengthwise.weights().sum() == pytest.approx(count - 1.0)
        assert lengthwise.doubts().shape[1] == count
    assert Lengthwise(np.arange(4.0)).doubts() @ np.arange(4.0) ** 2 == pytest.approx(np.zeros(3), abs=1e-12)


def test_the_check_of_the_plan_says_where_stations_are_too_coarse() -> None:
    plan = Plan.model_validate(
        {"vessel": {"length_m": LENGTH, "displacement_t": 1850.0}, "hydrostatics": {"source": "offsets"}}
    )
    said = list(coarse_offsets(plan, Tables(offsets=table(np.arange(0.0, 61.0, 6.0)))))
    assert len(said) == 1
    assert "too far apart" in said[0]
    assert not list(coarse_offsets(plan, Tables(offsets=table(UNEVEN))))
    heavy = plan.model_copy(update={"vessel": plan.vessel.model_copy(update={"displacement_t": 9999.0})})
    assert "does not float at 9999 t" in next(coarse_offsets(heavy, Tables(offsets=table(UNEVEN))))
