"""GM of the day, and its fit taken apart so that the measurement model can make it again for every draw."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from dsp.types import BudgetLine
from reduction.floating import Case, cholesky
from reduction.gm import budget as gm_budget
from reduction.gm.curve import Form, fit_moments, from_kn, straight, wall_sided, with_bend
from reduction.gm.line import straight_line
from reduction.gm.reduce import reduce_gm
from reduction.inputs import DayInputs
from reduction.lightship.model import GmPart, source_of
from reduction.moments import Moments, WindowState, window_states
from reduction.types import GmResult, Maybe, Quantified, State, Waterline
from reduction.water.hydrostatics import Kn
from reduction.water.tanks import Liquid

Array = NDArray[np.float64]

HEELS_PER_DEGREE = 10
CONTRADICTION = "moments, heels, displacement and hydrostatics contradict each other; check signs and units"
COMMON = ("scale of the stations", "true upright", "displacement", "positions of the weights", "BM")
"""Lines of the GM budget that are not heel of the windows; those of the moments' inputs are known by name."""


@dataclass(frozen=True)
class GmCase:
    """GM with the states it came from and the part of the measurement model."""

    result: GmResult
    moments: Moments
    part: GmPart | None
    """None where no GM could be had."""


def day_moments(inputs: DayInputs, waterline: Waterline | None) -> Moments:
    """Give the states of the weights of every window of the day."""
    windows = []
    for window in inputs.day.windows if inputs.day is not None else ():
        label = window.span.label
        movement = inputs.movements.get(label) or window.span.group or label
        windows.append(WindowState(label, movement, inputs.moments.get(label), inputs.moments_u.get(label)))
    draught = waterline.mean_draught.value if waterline is not None else 0.0
    return window_states(inputs.plan, windows, inputs.shifts, inputs.placed, draught)


def gm_of_day(
    inputs: DayInputs, moments: Moments, case: Case, liquids: Sequence[Liquid], waterline: Waterline | None
) -> GmCase | str:
    """Reduce the windows to GM; a reason where there is nothing to reduce."""
    day, settings = inputs.day, inputs.plan.settings
    if day is None:
        return "no record of heel in this folder"
    if not day.windows:
        return "no window was marked, or none that is closed and not void"
    kn = fluid_curve(case, liquids)
    reason = "BM is not known: give hydrostatics.bm_m, a table or offsets"
    bm = Maybe(case.bm) if case.bm is not None else Maybe(None, reason)
    overrules = (*settings.overrules, *inputs.overrules)
    try:
        # Figures that contradict each other (a moment of the wrong sign, KN of another vessel) overflow or make
        # matrices singular on the way; what comes out is judged below.
        with np.errstate(all="ignore"):
            result = reduce_gm(
                day,
                moments.states,
                case.displacement,
                bm,
                kn,
                carried=settings.gm_carried,
                confidence=settings.confidence,
                overrules=overrules,
                inputs=moments.inputs,
            )
            if not math.isfinite(result.gm.value):
                return result.gm.note or CONTRADICTION
            if not math.isfinite(result.gm.u):
                return CONTRADICTION
            part = _part(inputs, moments, case, kn, result, waterline)
            return GmCase(grouped(result, moments), moments, part)
    except (np.linalg.LinAlgError, ArithmeticError):
        return CONTRADICTION


def grouped(result: GmResult, moments: Moments) -> GmResult:
    """Bring the budget lines of single weights and shifts together by what they are: masses, positions, shifts."""

    def shorter(found: Quantified) -> Quantified:
        own = [b for b in found.budget if b.source not in moments.inputs]
        shares: dict[str, float] = {}
        for line in found.budget:
            if line.source in moments.inputs:
                name = source_of(line.source)
                shares[name] = shares.get(name, 0.0) + line.u**2
        lines = [*own, *(BudgetLine(name, math.sqrt(v)) for name, v in shares.items())]
        return replace(found, budget=tuple(sorted(lines, key=lambda line: -line.u)))

    def each(found: Maybe[Quantified]) -> Maybe[Quantified]:
        return found if found.value is None else Maybe(shorter(found.value), found.reason)

    return replace(
        result,
        gm=shorter(result.gm),
        line=shorter(result.line),
        curve=each(result.curve),
        line_all=shorter(result.line_all),
        curve_all=each(result.curve_all),
    )


def fluid_curve(case: Case, liquids: Sequence[Liquid]) -> Kn | None:
    """Cross curve of hull and slack box tanks together, or None where the wall-sided curve is all there is.

    KN grows by cos(heel) (FSM tan(heel) - S(heel)) / displacement: what the liquid fails to shift once it pockets
    (``docs/method-lightship.md``, section 4). At upright this adds nothing, so GM stays the fluid one.
    """
    boxes = [tank for tank in liquids if tank.box is not None and tank.free_surface > 0]
    base = case.kn
    if not boxes:
        return base
    if base is None:
        if case.bm is None:
            return None
        bm = case.bm.value
        base = _wall_sided_kn(bm)
    most = math.radians(12.0)
    grid = np.linspace(0.0, most, 12 * HEELS_PER_DEGREE + 1)
    lost = np.zeros_like(grid)
    for tank in boxes:
        assert tank.box is not None
        lost += tank.free_surface * np.tan(grid) - tank.box.shift(grid)
    lever = np.cos(grid) * lost / case.displacement.value
    spline = CubicSpline(np.concatenate([-grid[:0:-1], grid]), np.concatenate([-lever[:0:-1], lever]))
    hull = base

    def both(heel: Array) -> Array:
        return np.asarray(hull(heel) + spline(heel), dtype=float)

    return both


def _wall_sided_kn(bm: float) -> Kn:
    """KN less its part in KM sin(heel) beyond BM: only the curvature matters to the fit."""
    return lambda heel: np.asarray(np.sin(heel) * bm * (1.0 + 0.5 * np.tan(heel) ** 2), dtype=float)


def _part(
    inputs: DayInputs, moments: Moments, case: Case, kn: Kn | None, result: GmResult, waterline: Waterline | None
) -> GmPart | None:
    day = inputs.day
    assert day is not None
    keep = np.array([p.used for p in result.points])
    if int(keep.sum()) < 2:
        return None
    delta = case.displacement.value
    states = [s for s, k in zip(moments.states, keep, strict=True) if k]
    heel = np.array([p.heel for p in result.points if p.used])
    moment = np.array([s.moment for s in states])
    rise = np.array([s.vertical for s in states])
    covariance = result.covariance[np.ix_(keep, keep)]
    zero_u = gm_budget.zero_of(day, np.array([s.moment for s in moments.states], dtype=float))
    arms, columns = gm_budget.moment_covariance(states, moments.inputs, delta)
    form = _form(kn, case)
    if result.bend is not None:
        form = with_bend(form, result.bend)
    line = result.carried == "line"
    if line:
        gain, tcg, gm = _line_gain(heel, moment, rise, delta)
    else:
        weighing = covariance + zero_u**2
        if result.list_change is not None:
            taken = np.array([p.list_change for p in result.points if p.used])
            free = result.list_change.left_free(taken / result.list_change.size)
            weighing = weighing + np.outer(free, free)
        fit, _ = fit_moments(heel, moment / delta, weighing, arms, form, rise / delta)
        gain, tcg, gm = fit.gain, fit.tcg, fit.gm
    known = {*COMMON, *columns, "curvature left out", "choice of windows", "change of list"}
    heel_u2 = sum(b.u**2 for b in result.gm.budget if b.source not in known)
    own = float(gain[0] @ covariance @ gain[0])
    factor = cholesky(covariance) * math.sqrt(heel_u2 / own if own > 0 and heel_u2 > 0 else 1.0)
    dof = result.gm.dof
    if math.isfinite(dof) and result.gm.u > 0:
        dof = max(dof * heel_u2**2 / result.gm.u**4, 2.0)
    lines = {b.source: b.u for b in result.gm.budget}
    first = moments.first if moments.first is not None and not inputs.moments else moments.states[0]
    return GmPart(
        gm=gm,
        tcg=tcg,
        heel=heel,
        moment=moment,
        rise=rise,
        factor=factor,
        gain=gain,
        form=form,
        straight=line,
        scale_u=day.scale_u if math.isfinite(day.scale_u) else 0.0,
        zero_u=zero_u,
        columns={name: column * delta for name, column in columns.items()},
        choice_u=math.hypot(lines.get("choice of windows", 0.0), lines.get("change of list", 0.0)),
        curvature_u=lines.get("curvature left out", 0.0) if line else 0.0,
        dof=dof,
        first_moment=first.moment,
        first_column=_first_column(first, moments),
        list_weight=_list_weight(result, waterline),
    )


def _form(kn: Kn | None, case: Case) -> Form:
    if kn is not None:
        return from_kn(kn)
    return wall_sided(case.bm.value) if case.bm is not None else straight()


def _line_gain(heel: Array, moment: Array, rise: Array, delta: float) -> tuple[Array, float, float]:
    tangent = np.tan(heel)
    x = (moment + rise * tangent) / delta
    fit = straight_line(x, tangent)
    gm = 1.0 / fit.slope
    tcg = fit.intercept * gm
    centred = x - x.mean()
    slope_gain = centred / (centred @ centred) * (1 + tangent**2)
    gm_gain = -(gm**2) * slope_gain
    mean_gain = (1 + tangent**2) / heel.size
    tcg_gain = gm * (mean_gain - x.mean() * slope_gain) + fit.intercept * gm_gain
    return np.vstack([gm_gain, tcg_gain]), tcg, gm


def _first_column(first: State, moments: Moments) -> dict[str, float]:
    return {name: s * moments.inputs.get(name, 1.0) for name, s in first.sensitivities.items()}


def _list_weight(result: GmResult, waterline: Waterline | None) -> float:
    """Share of the stations' own zero in the list: weights by the inverse of the variances."""
    if waterline is None:
        return 1.0
    stations, draughts = result.list_upright.u, waterline.list.u
    if not math.isfinite(stations) or stations <= 0:
        return 0.0
    return draughts**2 / (draughts**2 + stations**2)
