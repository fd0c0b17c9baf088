"""From the heels of a day to GM: which windows count, both fits, the interval and its budget.

`reduce_gm` is the one entry. The line and the curve are made from the same windows, and both also from all windows,
so that nothing is left out in silence. Method and derivations: ``docs/method-gm.md``.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from config.plan import Overrule
from dsp.types import BudgetLine, Check, DayHeel, Verdict
from reduction.gm import budget as gm_budget
from reduction.gm import consistency, day_checks
from reduction.gm.curve import Form, fit_curve, heel_at, straight, wall_sided, with_bend
from reduction.gm.line import LineFit, line_weights, straight_line
from reduction.gm.narrowed import narrowed
from reduction.gm.problem import Array, Mask, Problem, candidates_of, form_of, heel_dof, no_response
from reduction.gm.reasons import between_windows
from reduction.gm.steady_wind import referred
from reduction.gm.widened import widened
from reduction.gm.words import (
    FLARE_TOLD,
    bend_words,
    difference_words,
    flare_words,
    list_change_words,
    scatter_words,
    stiff_words,
    zero_words,
)
from reduction.types import Bend, GmResult, ListChange, Maybe, Quantified, State, WindowPoint

STIFF = 1.5
"""GM over BM from which the answer asks about units."""


def reduce_gm(
    day: DayHeel,
    states: Sequence[State],
    displacement: Quantified,
    bm: Maybe[Quantified] | None = None,
    kn: Callable[[Array], Array] | None = None,
    *,
    carried: str = "curve",
    confidence: float = 0.95,
    overrules: Sequence[Overrule] = (),
    inputs: Mapping[str, float] | None = None,
) -> GmResult:
    """Reduce a day to GM.

    Parameters
    ----------
    day : heels of the windows with their covariance.
    states : one for each window of the day, in the same order; windows of one state share theirs.
    displacement : kg.
    bm : m, transverse metacentric radius at the waterline of the test, for the wall-sided curve.
    kn : heel rad (n,) -> KN m (n,) at the displacement and trim of the test; goes before ``bm``.
    carried : ``curve`` or ``line``: which GM goes on; without hydrostatics it is the line.
    confidence : of the intervals spoken of in the sentences.
    overrules : decisions of a person on windows, by label; honoured and recorded.
    inputs : standard uncertainty of each common input of the moments (``State.sensitivities``).

    Returns
    -------
    GmResult; where no GM can be had its values are NaN and ``gm.note`` says why.

    Raises
    ------
    ValueError if states and windows do not match or displacement is not positive.
    """
    if len(states) != len(day.windows):
        raise ValueError(f"{len(states)} states for {len(day.windows)} windows; one each is needed")
    if not displacement.value > 0:
        raise ValueError(f"displacement {displacement.value} kg; a mass above 0 is needed")
    problem = Problem.of(day, states, displacement, inputs or {}, overrules)
    hull = _Hull.of(bm, kn)
    usable = np.isfinite(problem.heel) & np.isfinite(np.diag(problem.covariance))
    if np.unique(problem.arm[usable]).size < 2:
        return _no_gm(problem, "GM needs windows with two different moments and a heel in each")
    candidates, notes = candidates_of(problem, usable)
    silent = no_response(problem.heel[candidates], problem.arm[candidates])
    if silent:
        return _no_gm(problem, silent)
    assumed = hull.form or wall_sided(gm_budget.BM_PER_GM_ASSUMED[0] * problem.rough_gm(candidates))
    found = consistency.consensus(problem.windows(candidates), assumed, prior_bend=hull.prior_bend)
    if hull.form is not None and found.bend is not None:
        hull = replace(hull, form=with_bend(hull.form, found.bend))
        notes.append(bend_words(found.bend))
    used = candidates.copy()
    used[np.flatnonzero(candidates)[~found.used]] = False
    change = found.list_change
    if change is not None:
        problem = problem.without(change)
        notes.append(list_change_words(change, day))
    problem, day = narrowed(problem, day, found)
    problem, day = widened(problem, day, found.scatter, found.fit.gain[0], used)
    if not found.consistent:
        notes.append(scatter_words(found.scatter))
    problem, day, wind = referred(problem, day, hull.form or assumed, used)
    result = _Reduction(problem, day, hull, used, candidates, found, wind, notes, confidence, carried).result()
    if result.gm.u95(confidence) > abs(result.gm.value):
        return _no_gm(
            problem,
            f"GM cannot be told: {result.gm.value:.3g} m, and the interval of ± {result.gm.u95(confidence):.3g} m is "
            "wider than that; look at what the windows were rejected for",
        )
    return result


@dataclass(frozen=True)
class _Hull:
    """What is known of the hull's curve."""

    form: Form | None
    """The curve, with whatever bend the windows showed besides; None where nothing is known of it."""
    alone: Form
    """What the hydrostatics alone say."""
    u: float
    """m, standard uncertainty of the BM that shapes it."""
    bm: float | None
    """m, where it is known."""
    bm_alone: bool
    """Whether nothing but BM is known."""

    @classmethod
    def of(cls, bm: Maybe[Quantified] | None, kn: Callable[[Array], Array] | None) -> _Hull:
        """Take what `reduce_gm` was given."""
        form, u = form_of(bm, kn)
        known = bm.value.value if bm is not None and bm.value is not None else None
        return cls(form, form or straight(), u, known, kn is None)

    @property
    def prior_bend(self) -> float:
        """Probability beforehand that the plot bends otherwise."""
        if self.form is None:
            return 0.5
        return consistency.PRIOR_FLARE if self.bm_alone else consistency.PRIOR_BEND


@dataclass(frozen=True)
class _Reduction:
    problem: Problem
    """A change of list taken off its heels, and referred to one wind."""
    day: DayHeel
    hull: _Hull
    used: Mask
    candidates: Mask
    found: consistency.Consensus
    wind: Quantified | None
    """Coefficient to which the windows are referred; None where they told nothing of it."""
    notes: list[str]
    confidence: float
    carried: str

    @property
    def change(self) -> ListChange | None:
        """Taken off the heels of ``problem``."""
        return self.found.list_change

    def result(self) -> GmResult:
        p = self.problem
        usable = np.isfinite(p.heel) & np.isfinite(np.diag(p.covariance))
        line_fit, line = self._line(self.used, self.found.selection_u)
        curve, upright, residual_curve = self._curve(self.used, self.found.selection_u)
        # With windows that do not agree the zero stays where it is, or it would run after them.
        raw = p.heel + self.change.size * self.change.share(p.time) if self.change is not None else p.heel
        still = replace(
            self,
            problem=replace(p, heel=raw, zero_u=0.0, list_u=np.zeros(0)),
            found=replace(self.found, list_change=None),
        )
        _, line_all = still._line(usable, 0.0)
        curve_all, _, _ = still._curve(usable, 0.0)
        carried = self.carried if curve.value is not None else "line"
        gm = curve.value if carried == "curve" and curve.value is not None else line
        notes = list(self.notes)
        if carried != self.carried:
            notes.append("BM or cross curves are not known: the straight line was carried on, its interval widened.")
        if carried == "curve" and self.hull.bm_alone and self.found.bend is None:
            notes.append(self._if_flared(gm.value))
        if not np.isfinite(self.day.zero_u):
            notes.append(zero_words(p.zero_u))
        if self.hull.bm is not None and gm.value > STIFF * self.hull.bm:
            notes.append(stiff_words(gm.value, self.hull.bm))
        intercept, slope = line_fit.intercept, line_fit.slope
        corrected = p.arm * p.displacement.value + p.rise * p.displacement.value * np.tan(p.heel)
        residual_line = p.heel - np.arctan(intercept + slope * corrected)
        if upright is None:
            upright = self._list_of_line(line_fit)
        residual = residual_curve if carried == "curve" else residual_line
        scatter = float(np.sqrt(np.sum(residual[self.used] ** 2) / max(int(self.used.sum()) - 2, 1)))
        return GmResult(
            carried=carried,
            gm=gm,
            line=line,
            curve=curve,
            line_all=line_all,
            curve_all=curve_all,
            list_upright=upright,
            points=self._points(residual_line, residual_curve, upright.value),
            difference=difference_words(line, curve, carried, float(np.nanmax(np.abs(p.heel[self.used])))),
            assumptions=tuple(notes),
            heel_scatter=scatter,
            covariance=p.covariance,
            bend=self.found.bend,
            list_change=self.change,
            wind=self.wind,
            day_checks=day_checks.run(
                self.day,
                p.heel,
                p.arm,
                p.rise,
                p.covariance,
                p.weighing - p.covariance,
                p.arm_covariance,
                self.used,
                usable,
                self.hull.alone,
                self.found,
            ),
        )

    def _line(self, keep: Mask, selection_u: float) -> tuple[LineFit, Quantified]:
        p = self.problem
        heel, delta = p.heel[keep], p.displacement.value
        tangent = np.tan(heel)
        x = (p.arm[keep] + p.rise[keep] * tangent) * delta
        fit = straight_line(x, tangent)
        gm = 1.0 / (fit.slope * delta)
        gain = -gm / fit.slope * line_weights(x) * (1 + tangent**2)
        lever = gm_budget.Lever(gm, gain, gm * (1 + tangent**2), heel, p.arm[keep])
        customary = fit.slope_u95(self.confidence) / abs(fit.slope) * abs(gm)
        note = (
            f"customary interval from the scatter about the line: ±{customary:.4f} m ({fit.dof} degrees of freedom)"
            if np.isfinite(customary)
            else "no degree of freedom left for a customary interval"
        )
        return fit, self._quantified(lever, keep, selection_u, self._curvature(lever), note)

    def _curvature(self, lever: gm_budget.Lever) -> BudgetLine:
        """What the straight line leaves out, as a standard uncertainty since it is not corrected for."""
        bias = gm_budget.curvature_bias(lever)
        if self.hull.form is None:
            mean, sd = gm_budget.BM_PER_GM_ASSUMED
            return BudgetLine(
                "curvature left out", abs(bias * lever.gm) * float(np.hypot(mean, sd)), f"BM taken as {mean:g} GM"
            )
        model = heel_at(lever.arm, lever.gm, 0.0, self.hull.form)
        plain = heel_at(lever.arm, lever.gm, 0.0, straight())
        return BudgetLine("curvature left out", abs(float(lever.gain @ (model - plain))), self.hull.form.name)

    def _curve(self, keep: Mask, selection_u: float) -> tuple[Maybe[Quantified], Quantified | None, Array]:
        p = self.problem
        if self.hull.form is None:
            nothing = np.full(p.heel.size, np.nan)
            return Maybe(None, "BM or cross curves are not known; give hydrostatics for the true curve"), None, nothing
        fit, _ = p.fit(self.hull.form, keep)
        square = np.ix_(keep, keep)
        tilt = np.outer(fit.stiffness, fit.stiffness)
        lever = gm_budget.Lever(fit.gm, fit.gain[0], fit.stiffness, p.heel[keep], p.arm[keep])
        shape = BudgetLine("BM", abs(gm_budget.curvature_bias(lever)) * self.hull.u, self.hull.form.name)
        gm = self._quantified(lever, keep, selection_u, shape, self.hull.form.name, self.found.bend)
        zero = float(heel_at(0.0, fit.gm, fit.tcg, self.hull.form)[0])
        own = p.covariance[square] + p.arm_covariance[square] / tilt
        list_u, zero_u = float(np.sqrt(fit.gain[1] @ own @ fit.gain[1]) / abs(fit.gm)), p.zero_u
        upright = Quantified(
            zero,
            float(np.hypot(list_u, zero_u)),
            budget=(BudgetLine("zero of the stations", zero_u), BudgetLine("heel of the windows", list_u)),
            unit="rad",
        )
        with np.errstate(invalid="ignore"):
            residuals = p.heel - heel_at(p.arm, fit.gm, fit.tcg, self.hull.form, p.rise)
        return Maybe(gm), upright, residuals

    def _if_flared(self, gm: float) -> str:
        """Say what flare, of which BM says nothing, would do to GM."""
        p, keep, form = self.problem, self.used, self.hull.form or straight()
        bm = 2.0 * float(form.c(np.arctan(np.array([0.1])))[0]) / 0.1**3
        more = 4.0 * np.tan(np.deg2rad(FLARE_TOLD)) ** 2 * bm
        flared = with_bend(form, Bend("round", more, 0.0))
        square = np.ix_(keep, keep)
        both = [
            fit_curve(p.heel[keep], p.arm[keep], p.weighing[square], one, p.rise[keep]).gm for one in (form, flared)
        ]
        return flare_words(both[0] - both[1], gm)

    def _quantified(
        self,
        lever: gm_budget.Lever,
        keep: Mask,
        selection_u: float,
        shape: BudgetLine,
        note: str,
        bend: Bend | None = None,
    ) -> Quantified:
        p = self.problem
        square = np.ix_(keep, keep)
        windows = [w for w, k in zip(p.windows_heel, keep, strict=True) if k]
        heel = gm_budget.heel_lines(lever, windows, p.covariance[square])
        columns = {name: column[keep] for name, column in p.columns.items()}
        others = gm_budget.common_lines(lever, self.day, p.zero_u, p.displacement, p.arm_covariance[square], columns)
        if shape.u > 0:
            others.append(shape)
        if bend is not None:
            bias = gm_budget.curvature_bias(lever, bend.shape)
            others.append(BudgetLine("bend of the plot", abs(bias) * bend.u))
        if self.change is not None:
            share = self.change.share(p.time)[keep]
            others.append(BudgetLine("change of list", abs(float(lever.gain @ share)) * self.change.u))
        if selection_u > 0:
            others.append(BudgetLine("choice of windows", selection_u))
        dof = heel_dof(self.day)
        return gm_budget.total(lever.gm, heel + others, dof, len(heel), note)

    def _list_of_line(self, fit: LineFit) -> Quantified:
        zero_u = self.problem.zero_u
        own = float(np.sqrt(np.mean(np.diag(self.problem.covariance)[self.used]) / max(int(self.used.sum()), 1)))
        return Quantified(
            float(np.arctan(fit.intercept)),
            float(np.hypot(own, zero_u)),
            budget=(BudgetLine("zero of the stations", zero_u), BudgetLine("heel of the windows", own)),
            unit="rad",
        )

    def _points(self, residual_line: Array, residual_curve: Array, upright: float) -> tuple[WindowPoint, ...]:
        p = self.problem
        residual = residual_curve if np.isfinite(residual_curve).any() else residual_line
        told = between_windows(
            self.found, self.candidates, p.windows_heel, p.states, p.displacement.value, self.day, residual
        )
        points = []
        scale = self.day.scale_u if np.isfinite(self.day.scale_u) else 0.0
        for i, (window, state) in enumerate(zip(p.windows_heel, p.states, strict=True)):
            checks: tuple[Check, ...] = window.checks + ((told[i].check,) if i in told else ())
            verdict: Verdict = window.verdict
            reasons = window.reasons
            if i in told and told[i].rejects:
                verdict, reasons = "rejected", (*reasons, *(r for r in told[i].reasons if r not in reasons))
            overruled = ""
            if i in p.overruled:
                decision = p.overruled[i]
                overruled = f"{decision.reason} ({decision.by}; the checks said {verdict})"
                verdict = decision.verdict
            elif verdict == "rejected" and self.used[i]:
                verdict = "caution"
            points.append(
                WindowPoint(
                    label=window.span.label,
                    start_ns=self.day.epoch_ns + round(window.span.start * 1e9),
                    stop_ns=self.day.epoch_ns + round(window.span.stop * 1e9),
                    moment=state.moment,
                    heel=float(p.heel[i]),
                    u=window.u,
                    dof=window.dof,
                    scale_u=scale * abs(p.heel[i] - upright),
                    verdict=verdict,
                    reasons=reasons,
                    checks=checks,
                    residual_line=float(residual_line[i]),
                    residual_curve=float(residual_curve[i]),
                    used=bool(self.used[i]),
                    overruled=overruled,
                    list_change=float(window.heel - p.heel[i]),
                    wind_correction=window.wind_correction,
                )
            )
        return tuple(points)


def _no_gm(problem: Problem, reason: str) -> GmResult:
    nan = float("nan")
    nothing = Quantified(nan, nan, unit="m", note=reason)
    points = tuple(
        WindowPoint(
            w.span.label,
            0,
            0,
            s.moment,
            w.heel,
            w.u,
            w.dof,
            0.0,
            w.verdict,
            w.reasons,
            w.checks,
            nan,
            nan,
            False,
            problem.overruled[i].reason if i in problem.overruled else "",
            wind_correction=w.wind_correction,
        )
        for i, (w, s) in enumerate(zip(problem.windows_heel, problem.states, strict=True))
    )
    return GmResult(
        carried="line",
        gm=nothing,
        line=nothing,
        curve=Maybe(None, reason),
        line_all=nothing,
        curve_all=Maybe(None, reason),
        list_upright=replace(nothing, unit="rad"),
        points=points,
        difference=reason,
        covariance=problem.covariance,
    )
