"""Liquids: free surface, pocketing, sounding tables; their effect on the true curve."""

from __future__ import annotations

import math

import numpy as np
import pytest

from config.errors import BadInput
from config.hull_tables import parse_tank
from config.plan import Tank
from config.tables import Tables
from reduction.water.tanks import Box, liquid, rectangle_inertia

BOX = Box(length=6.0, breadth=8.0, height=3.0, depth=1.5, density=1025.0)


@pytest.mark.parametrize("degrees", [0.5, 2.0, 5.0, 15.0])
def test_wall_sided_liquid_before_it_pockets(degrees: float) -> None:
    """rho l b^3/12 (t + t^3/2): the wall-sided formula turned inside out."""
    t = math.tan(math.radians(degrees))
    expected = 1025.0 * rectangle_inertia(6.0, 8.0) * (t + t**3 / 2)
    assert BOX.shift(np.radians([degrees]))[0] == pytest.approx(expected, rel=1e-9)
    assert BOX.pockets_at == pytest.approx(math.atan(1.5 / 4.0))


def test_pocketing_takes_moment_away() -> None:
    shallow = Box(6.0, 8.0, 3.0, 0.1, 1025.0)
    heel = math.radians(4.0)
    assert shallow.pockets_at < heel
    free = 1025.0 * rectangle_inertia(6.0, 8.0) * math.tan(heel)
    moment = float(shallow.shift(np.array([heel]))[0])
    assert 0 < moment < 0.8 * free
    # All liquid in a triangle of base a = sqrt(2 A / t) in the low corner: its centre is a/3 from the side.
    t = math.tan(heel)
    base = math.sqrt(2 * 0.1 * 8.0 / t)
    y, z = 4.0 - base / 3, base * t / 3
    mass = 1025.0 * 6.0 * 0.8
    assert moment == pytest.approx(mass * (y + (z - 0.05) * t), rel=1e-9)


def test_nearly_full_tank_pockets_like_a_nearly_empty_one() -> None:
    low, high = Box(6.0, 8.0, 3.0, 0.1, 1025.0), Box(6.0, 8.0, 3.0, 2.9, 1025.0)
    heel = np.radians([1.0, 3.0, 6.0])
    assert high.shift(heel) == pytest.approx(low.shift(heel), rel=1e-9)
    assert low.shift(-heel) == pytest.approx(-low.shift(heel), rel=1e-9)


def test_tank_from_a_sounding_table() -> None:
    table = parse_tank(
        "sounding_m,volume_m3,x_m,y_m,z_m,free_surface_m4\n0,0,10,0,1.0,0\n1,12,10,0.1,1.5,40\n2,25,10,0.1,2.0,44\n",
        "d.csv",
    )
    tank = Tank(name="day", density_kg_m3=850, state="slack", sounding_m=1.0, table="d.csv")
    found = liquid(tank, Tables(tanks={"d.csv": table}))
    assert found.mass == pytest.approx(12 * 850)
    assert found.free_surface == pytest.approx(40 * 850)
    assert found.centre == pytest.approx((10, 0.1, 1.5))


def test_full_and_empty_tanks_have_no_free_surface() -> None:
    full = liquid(Tank(name="a", state="full", mass_t=20, position_m=(1, 0, 1), length_m=3, breadth_m=4), Tables())
    empty = liquid(Tank(name="b", state="empty"), Tables())
    assert (full.free_surface, empty.free_surface, empty.mass) == (0.0, 0.0, 0.0)
    assert full.mass == 20e3


@pytest.mark.parametrize(
    ("keys", "wanted"),
    [
        ({"state": "slack"}, "mass_t"),
        ({"state": "slack", "mass_t": 4.0}, "position_m"),
        ({"state": "slack", "mass_t": 4.0, "position_m": (1, 0, 1)}, "free_surface_m4"),
        ({"state": "slack", "sounding_m": 4.0, "length_m": 2.0, "breadth_m": 2.0, "height_m": 1.0}, "height_m"),
    ],
)
def test_what_is_lacking_is_named(keys: dict[str, object], wanted: str) -> None:
    with pytest.raises(BadInput, match=wanted):
        liquid(Tank.model_validate({"name": "x", **keys}), Tables())


def test_sounding_outside_its_table() -> None:
    table = parse_tank("sounding_m,volume_m3,x_m,y_m,z_m\n0,0,10,0,1\n1,12,10,0,1.5\n", "d.csv")
    with pytest.raises(BadInput, match="0 to 1 m"):
        liquid(Tank(name="day", state="full", sounding_m=1.4, table="d.csv"), Tables(tanks={"d.csv": table}))
