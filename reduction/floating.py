"""How much she displaces and where her metacentre is: from waterline, density and hydrostatics, or from typed values.

Whatever the source, the result is a set of second-order surfaces over the independent components of the waterline, so
that draughts move displacement, KM, BM, LCB and trim together (``docs/method-lightship.md``, sections 3 and 5).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from config.errors import BadInput, bad
from config.units import COVERAGE_95, TONNE
from dsp.types import BudgetLine
from reduction.afloat import Afloat
from reduction.hull import immersed, make_hull
from reduction.hydrostatics import FromOffsets, FromTable, Kn, Source
from reduction.inputs import DayInputs
from reduction.model import HullPart, Quadratic, quadratic_of
from reduction.types import Floating, Quantified, Waterline

Array = NDArray[np.float64]

HYDROSTATICS_U95 = 0.002
"""Relative interval taken for displacement and for KM of hydrostatics that state none (judgement)."""
KG_GUESS_U = 0.05
"""Relative standard uncertainty of KG taken from the previous lightship, for the lever of trim only (judgement)."""
KN_TOLERANCE = 0.05
"""Slope of the cross curves at upright and KM may differ by this fraction before they are refused."""
DISPLACEMENT = "displacement as given"


@dataclass(frozen=True)
class Case:
    """How she floated, ready for the measurement model."""

    hull: HullPart
    floating: Floating | None
    """None where values were typed."""
    kn: Kn | None
    displacement: Quantified
    """kg."""
    bm: Quantified | None
    km: Quantified | None
    notes: tuple[str, ...]
    cross_check: str = ""
    """How two sources of hydrostatics agree, where the folder holds both."""
    cross_check_met: bool | None = None


def source_of_hull(inputs: DayInputs) -> tuple[Source | None, list[str]]:
    """Build the hydrostatics that the plan names; None for typed values."""
    plan, tables = inputs.plan, inputs.tables
    asked = plan.hydrostatics.source
    if asked == "values":
        spare = [n for n, t in (("hydrostatics.csv", tables.hydrostatics), ("offsets.csv", tables.offsets)) if t]
        said = f'{" and ".join(spare)} lie in the folder but hydrostatics.source = "values": typed values were used.'
        return None, [said] if spare else []
    length = plan.vessel.length_m
    if length is None:
        raise bad("plan.toml", "vessel.length_m", None, f'the length between perpendiculars, for source = "{asked}"')
    if asked == "table":
        if tables.hydrostatics is None:
            raise bad("hydrostatics.csv", "whole file", None, 'this file should exist: hydrostatics.source = "table"')
        breadth = plan.vessel.breadth_m or math.nan
        return FromTable(tables.hydrostatics, length, plan.hydrostatics.density_kg_m3, breadth, tables.kn), []
    if tables.offsets is None:
        raise bad("offsets.csv", "whole file", None, 'this file should exist: hydrostatics.source = "offsets"')
    return FromOffsets(make_hull(tables.offsets, length, plan.hydrostatics.plating)), []


def float_her(inputs: DayInputs, waterline: Waterline | None, density: float) -> Case | str:
    """Work out displacement and hydrostatics.

    Parameters
    ----------
    waterline : as fitted, or None.
    density : kg/m3, of the water where there is no waterline.

    Returns
    -------
    Case, or the reason why there is no displacement.
    """
    source, notes = source_of_hull(inputs)
    if source is None:
        return _typed(inputs, waterline, notes)
    if waterline is not None:
        at = Afloat(
            waterline.mean_draught.value,
            waterline.trim.value,
            waterline.list.value,
            waterline.hog.value,
            waterline.density.value,
        )
        factor = cholesky(waterline.covariance)
        return _from(inputs, source, at, factor, waterline, notes)
    given = typed_displacement(inputs)
    if given is None:
        return "no waterline.csv and no vessel.displacement_t"
    displacement, said = given
    notes.extend(said)
    notes.append("No draughts were read: displacement as given, even keel and upright taken for the hydrostatics.")
    at = source.floating_at(displacement.value, density)
    rise = source.at(at).tpc
    if not math.isfinite(rise):
        rise = (source.at(at.moved(mean=0.01)).displacement - source.at(at.moved(mean=-0.01)).displacement) / 0.02
    return _from(inputs, source, at, np.array([[displacement.u / rise], [0.0], [0.0], [0.0]]), None, notes)


def cholesky(covariance: Array) -> Array:
    """Lower factor of a covariance, safe where a part of it is zero."""
    size = covariance.shape[0]
    return np.asarray(np.linalg.cholesky(covariance + 1e-18 * np.eye(size)), dtype=float)


def typed_displacement(inputs: DayInputs) -> tuple[Quantified, list[str]] | None:
    """Displacement (kg) as the plan types it, and what was assumed about it."""
    vessel, assumed = inputs.plan.vessel, inputs.plan.settings.assumed_displacement_u95_percent
    if vessel.displacement_t is None:
        return None
    value = vessel.displacement_t * TONNE
    if vessel.displacement_u95_t is not None:
        u = vessel.displacement_u95_t * TONNE / COVERAGE_95
        return Quantified(value, u, budget=(BudgetLine(DISPLACEMENT, u),), unit="kg"), []
    if assumed is not None:
        u = value * assumed / 100.0 / COVERAGE_95
        said = f"Displacement has no interval of its own; ±{assumed:g} % was taken, as the settings say."
        return Quantified(value, u, budget=(BudgetLine(DISPLACEMENT, u),), unit="kg"), [said]
    said = "Displacement was taken as given; its uncertainty is not in the interval."
    return Quantified(value, 0.0, unit="kg", note="taken as given"), [said]


def _typed(inputs: DayInputs, waterline: Waterline | None, notes: list[str]) -> Case | str:
    given = typed_displacement(inputs)
    if given is None:
        return "no displacement: give vessel.displacement_t, or a waterline with hydrostatics"
    displacement, said = given
    notes.extend(said)
    values = inputs.plan.hydrostatics
    if waterline is not None:
        notes.append("Hydrostatics are typed values, so the waterline gives trim and list only, not displacement.")
    relative = displacement.u / displacement.value
    bm = km = None
    if values.bm_m is not None:
        bm = Quantified(values.bm_m, (values.bm_u95_m or 0.0) / COVERAGE_95, unit="m")
        if values.bm_u95_m is None:
            notes.append("BM was taken as given; its effect on GM is small.")
    if values.km_m is not None:
        km = Quantified(values.km_m, values.km_m * (values.km_u95_percent or 0.0) / 100.0 / COVERAGE_95, unit="m")
        if values.km_u95_percent is None:
            notes.append("KM was taken as given; its uncertainty is not in the interval of KG.")
    size = 4 if waterline is not None else 1
    zero = Quadratic.constant
    trim = list_ = zero(math.nan, size)
    if waterline is not None:
        factor = cholesky(waterline.covariance)
        trim = Quadratic(waterline.trim.value, factor[1], np.zeros((4, 4)))
        list_ = Quadratic(waterline.list.value, factor[2], np.zeros((4, 4)))
    weight = displacement.value
    hull = HullPart(
        displacement=Quadratic(weight, np.zeros(4), np.zeros((4, 4)))
        if waterline is not None
        else Quadratic(weight, np.array([displacement.u]), np.zeros((1, 1))),
        km=zero(math.nan if km is None else km.value, size),
        kb=zero(math.nan, size),
        lcb=zero(math.nan, size),
        bm=zero(0.0 if bm is None else bm.value, size),
        trim=trim,
        list=list_,
        length=inputs.plan.vessel.length_m or math.nan,
        displacement_u=relative if waterline is not None else 0.0,
        km_u=0.0 if km is None else km.u / km.value,
        bm_u=0.0 if bm is None else bm.u / bm.value,
        list_known=waterline is not None,
        source=DISPLACEMENT if waterline is None else "draught and freeboard readings",
    )
    return Case(hull, None, None, displacement, bm, km, tuple(notes))


def _from(
    inputs: DayInputs, source: Source, at: Afloat, factor: Array, waterline: Waterline | None, notes: list[str]
) -> Case:
    plan = inputs.plan
    floating = source.at(at)
    size = factor.shape[1]

    def figures(z: Array) -> dict[str, float]:
        step = factor @ z
        here = at.moved(float(step[0]), float(step[1]), float(step[2]), float(step[3]))
        found = source.at(here)
        return {
            "displacement": found.displacement,
            "km": found.km,
            "kb": found.kb,
            "lcb": found.lcb,
            "bm": found.bm,
            "trim": here.trim,
            "list": here.list,
        }

    surfaces = _surfaces(figures, size)
    relative, km_relative, said = _own_accuracy(inputs, source, at)
    notes.extend(said)
    density_u = waterline.density.u / waterline.density.value if waterline is not None else 0.0
    guess = plan.vessel.lightship.vcg_m if plan.vessel.lightship is not None else math.nan
    hull = HullPart(
        **surfaces,
        length=plan.vessel.length_m or math.nan,
        kg_guess=guess,
        kg_guess_u=KG_GUESS_U * abs(guess) if math.isfinite(guess) else 0.0,
        density_u=density_u,
        displacement_u=relative if waterline is not None else 0.0,
        km_u=km_relative,
        bm_u=km_relative * (floating.km / floating.bm if floating.bm > 0 else 1.0),
        list_known=waterline is not None,
        source=DISPLACEMENT if waterline is None else "draught and freeboard readings",
    )
    displacement = _total(surfaces["displacement"], (density_u, hull.displacement_u), "kg", hull.source)
    km = _total(surfaces["km"], (hull.km_u,), "m", hull.source)
    bm = _total(surfaces["bm"], (hull.bm_u,), "m", hull.source)
    kn, cross, met = _cross_curve(inputs, source, at, floating, notes)
    floating_ok = floating if math.isfinite(floating.km) else None
    known = km if floating_ok is not None else None
    return Case(
        hull, floating, kn, displacement, bm if math.isfinite(bm.value) else None, known, tuple(notes), cross, met
    )


def _surfaces(figures: Callable[[Array], dict[str, float]], size: int) -> dict[str, Quadratic]:
    """Take steps as wide as the hydrostatics allow near their edge."""
    for step in (2.0, 0.5, 0.1, 0.01):
        try:
            return quadratic_of(figures, size, step)
        except BadInput:
            continue
    return quadratic_of(figures, size, 0.001)


def _total(surface: Quadratic, relative: tuple[float, ...], unit: str, source: str) -> Quantified:
    by_water = float(np.linalg.norm(surface.slope))
    others = abs(surface.value) * math.sqrt(sum(r**2 for r in relative))
    lines = (BudgetLine(source, by_water), BudgetLine("hydrostatics and density", others))
    return Quantified(surface.value, math.hypot(by_water, others), budget=lines, unit=unit)


def _own_accuracy(inputs: DayInputs, source: Source, at: Afloat) -> tuple[float, float, list[str]]:
    """Relative standard uncertainties of displacement and KM of the hydrostatics themselves."""
    values = inputs.plan.hydrostatics
    notes = []
    displacement, km = values.displacement_u95_percent, values.km_u95_percent
    spread = (0.0, 0.0)
    if isinstance(source, FromOffsets) and inputs.tables.offsets is not None:
        spread = drawing_error(source, inputs, at)
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
    return math.hypot(base[0] / COVERAGE_95, spread[0]), math.hypot(base[1] / COVERAGE_95, spread[1]), notes


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


def _cross_curve(
    inputs: DayInputs, source: Source, at: Afloat, floating: Floating, notes: list[str]
) -> tuple[Kn | None, str, bool | None]:
    """Cross curve from the source, or from offsets beside a table; and how the two agree."""
    kn = source.kn(at)
    if kn is not None and isinstance(source, FromTable):
        check_cross_curve(kn, floating.km)
    other = _other_route(inputs, source)
    if other is None:
        return kn, "", None
    try:
        second = other.at(at)
    except BadInput:
        return kn, "", None
    if isinstance(source, FromOffsets):
        return kn, *_compare(second, floating)
    if kn is None and abs(second.km - floating.km) <= KN_TOLERANCE * floating.km:
        kn = other.kn(at)
        notes.append("Cross curves come from offsets.csv, displacement and KM from the table.")
    return kn, *_compare(floating, second)


def _other_route(inputs: DayInputs, source: Source) -> Source | None:
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


def _compare(table: Floating, drawn: Floating) -> tuple[str, bool]:
    displacement = 100.0 * (table.displacement / drawn.displacement - 1.0)
    says = f"Table and offsets differ by {displacement:+.2f} % in displacement"
    met = abs(displacement) <= 0.5
    if math.isfinite(table.km):
        km = 100.0 * (table.km / drawn.km - 1.0)
        says += f" and {km:+.2f} % in KM"
        met = met and abs(km) <= 0.5
    return says + " at this waterline; 0.5 % is wanted.", met
