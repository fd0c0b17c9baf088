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
from reduction.inputs import DayInputs
from reduction.lightship.model import HullPart, Quadratic, quadratic_of
from reduction.types import Floating, Quantified, Waterline
from reduction.water.afloat import Afloat
from reduction.water.hull import make_hull
from reduction.water.hydrostatics import FromOffsets, Kn, Source
from reduction.water.hydrostatics_table import FromTable
from reduction.water.two_routes import cross_curve_of, own_accuracy

Array = NDArray[np.float64]

KG_GUESS_U = 0.05
"""Relative standard uncertainty of KG taken from the previous lightship, for the lever of trim only (judgement)."""
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
            notes.append("BM was taken as given, without hydrostatics.bm_u95_m; its effect on GM is small.")
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
    relative, km_relative, said = own_accuracy(inputs, source, at)
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
    kn, cross, met = cross_curve_of(inputs, source, at, floating, notes)
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
