"""The demo vessel by both routes: table with its corrections against offsets integrated."""

from __future__ import annotations

import dataclasses
import math
from pathlib import Path

import pytest

import quietheel
from config.folder import TestFolder
from config.tables import read_tables
from reduction.day import reduce_day
from reduction.inputs import DayInputs
from reduction.water.afloat import Afloat
from reduction.water.hull import make_hull
from reduction.water.hydrostatics import FromOffsets
from reduction.water.hydrostatics_table import FromTable

FOLDER = TestFolder(Path(quietheel.__file__).parent / "demo" / "merrowby")


@pytest.mark.parametrize("draught", [2.8, 2.95, 3.1])
@pytest.mark.parametrize("trim", [-0.2, 0.0, 0.15, 0.3])
@pytest.mark.parametrize(("angle", "hog"), [(0.0, 0.0), (0.3, 0.0), (0.2, 0.015), (-0.2, -0.015)])
def test_table_and_offsets_agree(draught: float, trim: float, angle: float, hog: float) -> None:
    """Within 0.1 % of displacement and 0.15 % of KM at trims to 0.6 % of length: the table's own accuracy."""
    plan = FOLDER.plan()
    tables = read_tables(FOLDER, plan)
    assert tables.hydrostatics is not None
    assert tables.offsets is not None
    assert plan.vessel.length_m is not None
    at = Afloat(draught, trim, math.radians(angle), hog, 1021.0)
    table = FromTable(tables.hydrostatics, plan.vessel.length_m, 1025.0, plan.vessel.breadth_m or 0.0).at(at)
    drawn = FromOffsets(make_hull(tables.offsets, plan.vessel.length_m)).at(at)
    assert table.displacement == pytest.approx(drawn.displacement, rel=1e-3)
    assert table.km == pytest.approx(drawn.km, rel=1.5e-3)
    assert table.kb == pytest.approx(drawn.kb, rel=3e-3)
    assert table.lcb == pytest.approx(drawn.lcb, abs=0.03)
    assert table.lcf == pytest.approx(drawn.lcf, abs=0.15)


def test_both_routes_give_the_same_lightship_mass() -> None:
    plan = FOLDER.plan()
    tables = read_tables(FOLDER, plan)
    by_table = reduce_day(DayInputs(plan, tables=tables))
    hydrostatics = plan.hydrostatics.model_copy(update={"source": "offsets"})
    by_offsets = reduce_day(DayInputs(plan.model_copy(update={"hydrostatics": hydrostatics}), tables=tables))
    assert by_table.lightship.value is not None
    assert by_offsets.lightship.value is not None
    one, other = by_table.lightship.value.mass, by_offsets.lightship.value.mass
    assert one.value == pytest.approx(other.value, abs=one.u95())
    checks = {a.code: a for a in by_table.advice}
    assert checks["hydrostatics agree"].met


def test_density_of_the_table_is_corrected() -> None:
    plan = FOLDER.plan()
    tables = dataclasses.replace(read_tables(FOLDER, plan))
    assert tables.hydrostatics is not None
    source = FromTable(tables.hydrostatics, 48.0, 1025.0)
    salt, fresh = source.at(Afloat(3.0, density=1025.0)), source.at(Afloat(3.0, density=1000.0))
    assert fresh.displacement == pytest.approx(salt.displacement * 1000 / 1025)
    assert source.floating_at(fresh.displacement, 1000.0).mean == pytest.approx(3.0, abs=1e-6)
