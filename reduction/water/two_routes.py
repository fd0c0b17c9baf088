"""How far hydrostatics can be trusted, and how table and offsets agree where a folder holds both."""

from __future__ import annotations

import math

import numpy as np

from config.errors import BadInput, bad
from config.plan import Hydrostatics
from config.units import COVERAGE_95
from reduction.inputs import DayInputs
from reduction.types import Floating
from reduction.water.afloat import Afloat
from reduction.water.hull import immersed, make_hull, station_error
from reduction.water.hydrostatics import FromOffsets, Kn, Source
from reduction.water.hydrostatics_table import FromTable

HYDROSTATICS_U95 = 0.002
"""Relative interval taken for displacement and for KM of hydrostatics that state none (judgement)."""
KN_TOLERANCE = 0.05
"""Slope of the cross curves at upright and KM may differ by this fraction before they are refused."""


def own_accuracy(inputs: DayInputs, source: Source, at: Afloat) -> tuple[float, float, list[str]]:
    """Relative standard uncertainties of displacement and KM of the hydrostatics themselves."""
    values = inputs.plan.hydrostatics
    notes = []
    displacement, km = values.displacement_u95_percent, values.km_u95_percent
    spread = along = (0.0, 0.0)
    if isinstance(source, FromOffsets) and inputs.tables.offsets is not None:
        spread = drawing_error(source, inputs, at)
        along = station_error(source.hull, at)[:2]
        notes += coarse_stations(values, source, at)
    if displacement is None or km is None:
        which = " and ".join(n for n, v in (("displacement", displacement), ("KM", km)) if v is None)
        notes.append(f"Hydrostatics state no interval for {which}; ±{100 * HYDROSTATICS_U95:g} % was taken at 95 %.")
    if max(spread) > 2e-4:
        notes.append(
            f"Straight lines between the points of offsets.csv cost about {100 * spread[0]:.2f} % of displacement and "
            f"{100 * spread[1]:.2f} % of KM (judged by leaving out every second point); more points would help."
        )
    base = (
        HYDROSTATICS_U95 if displacement is None else displacement / 100.0,
        HYDROSTATICS_U95 if km is None else km / 100.0,
    )
    mass, metacentre = (math.hypot(base[i] / COVERAGE_95, spread[i], along[i]) for i in (0, 1))
    return mass, metacentre, notes


def coarse_stations(values: Hydrostatics, source: FromOffsets, at: Afloat) -> list[str]:
    """Say where the stations are too coarse: what they leave open against the interval of the hydrostatics themselves.

    Parameters
    ----------
    values : the intervals that the plan states for displacement and KM; 0.2 % stands in.
    at : the waterline.
    """
    volume, metacentre, place = station_error(source.hull, at)
    said = []
    for what, u, stated in (
        ("displacement", volume, values.displacement_u95_percent),
        ("KM", metacentre, values.km_u95_percent),
    ):
        limit = HYDROSTATICS_U95 if stated is None else stated / 100.0
        if u * COVERAGE_95 > limit:
            word = "assumed" if stated is None else "stated"
            said.append(f"{100 * u * COVERAGE_95:.2f} % of {what} ({100 * limit:g} % is {word})")
    if not said:
        return []
    more = f"; most of it about x = {place:.1f} m" if math.isfinite(place) else ""
    return [
        f"The stations of offsets.csv are too far apart here: they leave {' and '.join(said)} open{more}. Give "
        "stations between, and one at each knuckle."
    ]


def drawing_error(source: FromOffsets, inputs: DayInputs, at: Afloat) -> tuple[float, float]:
    """Relative error of volume and KM from straight lines between points.

    Halving the points of a curved section makes the error of second order four times as large, so a third of the
    difference is what is left (Richardson). Corners are kept, for they are drawn and not left out.
    """
    assert inputs.tables.offsets is not None
    coarse = make_hull(inputs.tables.offsets, source.hull.length, source.hull.plating, every=2)
    fine, rough = immersed(source.hull, at), immersed(coarse, at)
    if rough.volume <= 0.0:
        return 0.0, 0.0
    km_fine, km_rough = fine.centre[2] + fine.bm, rough.centre[2] + rough.bm
    return abs(rough.volume / fine.volume - 1.0) / 3.0, abs(km_rough / km_fine - 1.0) / 3.0


def cross_curve_of(
    inputs: DayInputs, source: Source, at: Afloat, floating: Floating, notes: list[str]
) -> tuple[Kn | None, str, bool | None]:
    """Cross curve from the source, or from offsets beside a table; and how the two agree."""
    kn = source.kn(at)
    if kn is not None and isinstance(source, FromTable):
        check_cross_curve(kn, floating.km)
    other = other_route(inputs, source)
    if other is None:
        return kn, "", None
    try:
        second = other.at(at)
    except BadInput:
        return kn, "", None
    if isinstance(source, FromOffsets):
        return kn, *compare(second, floating)
    if kn is None and abs(second.km - floating.km) <= KN_TOLERANCE * floating.km:
        kn = other.kn(at)
        notes.append("Cross curves come from offsets.csv, displacement and KM from the table.")
    return kn, *compare(floating, second)


def other_route(inputs: DayInputs, source: Source) -> Source | None:
    """The hydrostatics the plan did not choose, where the folder holds them too."""
    plan, tables, length = inputs.plan, inputs.tables, inputs.plan.vessel.length_m
    if length is None:
        return None
    if isinstance(source, FromOffsets):
        if tables.hydrostatics is None:
            return None
        breadth = plan.vessel.breadth_m or math.nan
        return FromTable(tables.hydrostatics, length, plan.hydrostatics.density_kg_m3, breadth)
    if tables.offsets is None:
        return None
    return FromOffsets(make_hull(tables.offsets, length, plan.hydrostatics.plating))


def check_cross_curve(kn: Kn, km: float) -> None:
    """Refuse cross curves that cannot belong to this vessel: their slope at upright is KM, and they rise."""
    heel = np.radians(np.array([0.5, 1.0, 2.0, 3.0, 4.0]))
    lever = kn(heel)
    slope = float(lever[0] / heel[0])
    if math.isfinite(km) and abs(slope - km) > KN_TOLERANCE * km:
        raise bad("kn.csv", "kn_m", f"a slope at upright of {slope:.3f} m", f"about KM of this waterline, {km:.3f} m")
    if not np.all(np.diff(lever) > 0):
        raise bad("kn.csv", "kn_m", None, "levers that rise with heel over the first degrees")


def compare(table: Floating, drawn: Floating) -> tuple[str, bool]:
    """Say by how much two sources differ in displacement and KM, and whether that is within 0.5 %."""
    displacement = 100.0 * (table.displacement / drawn.displacement - 1.0)
    says = f"Table and offsets differ by {displacement:+.2f} % in displacement"
    met = abs(displacement) <= 0.5
    if math.isfinite(table.km):
        km = 100.0 * (table.km / drawn.km - 1.0)
        says += f" and {km:+.2f} % in KM"
        met = met and abs(km) <= 0.5
    return says + " at this waterline; 0.5 % is wanted.", met
