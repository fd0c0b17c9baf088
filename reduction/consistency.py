"""Which windows agree with one vessel floating free: the consensus set, and what held or moved the others.

A window that was disturbed is modelled as shifted by an amount of its own. Every set of shifted windows is weighed by
how well the others then lie on the true curve (generalised least squares, full covariance) and by how likely its cause
is; a restraint only ever takes heel away, which settles which side of a broken plot was free. Derivation:
``docs/method-gm.md``, section 3.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import combinations
from math import comb

import numpy as np
from numpy.typing import NDArray
from scipy.special import fdtri, logsumexp, ndtr, stdtrit

from reduction.gm_curve import CurveFit, Form, fit_curve, sensitivity, start_from_line

Array = NDArray[np.float64]
Sets = NDArray[np.intp]

ALPHA_CHI2 = 0.015
"""Probability a day that clean windows fail the joint test."""
ALPHA_LARGEST = 0.015
"""Probability a day that the largest single deviation of clean windows fails its test."""
ALPHA_REST = 0.001
"""Probability that the rest, once something is known to be wrong, is taken to disagree although clean."""
PRIOR_OTHER = 0.05
"""Judgement: one window in twenty is shifted by something that no check inside the window saw."""
SHARE_MOVED = ((0.02, 0.6), (0.1, 0.2), (0.2, 0.12), (0.35, 0.08))
"""Judgement: share of windows shifted unseen, with the probability that a day is like that."""
PRIOR_RESTRAINT = {
    "free": 0.80,
    "starboard": 0.05,
    "port": 0.05,
    "both": 0.02,
    "line to port": 0.04,
    "line to starboard": 0.04,
}
"""Judgement: probability that something held her: contact, by the side of heel on which it acted, or a line."""
PRIOR_HELD = 0.5
"""Given contact on a side, or a line: probability that it acted in any one window heeled to that side, away from it."""
PRIOR_SLACKENED = 0.2
"""Given a line: the same in a window heeled towards it, where the heel itself gives it slack (judgement)."""
PLAUSIBLE_SHIFT = 0.1
"""Largest shift thought of, as a share of half the range of heel; sets how much agreement one more exclusion buys."""
PRIOR_BEND = 0.02
"""Judgement: probability that the plot bends otherwise than the hull alone makes it (free liquid that pockets)."""
LEAST_BM = 1.0
"""A bend may take away so much of the hull's own BM at the most; liquid that pockets only ever adds to it."""
PRIOR_UNREST = 0.01
"""Judgement: probability that every interval of the day is too small alike; by a factor up to `MOST_UNREST`."""
MOST_UNREST = 30.0
LEAST_SPREAD = 0.2
"""Share of the day's moments that the windows kept must span; one weight moved is a quarter of the usual sequence."""
EXHAUSTIVE = 6000
"""Sets of one size up to this number are all tried; beyond it only extensions of the best `BEAM` sets."""
BEAM = 400


@dataclass(frozen=True)
class Windows:
    """What the search is handed; arrays of length n."""

    heel: Array
    """rad."""
    arm: Array
    """m, moment over displacement."""
    rise: Array
    """m, vertical moment over displacement."""
    covariance: Array
    """(n, n) rad2 of heel, without anything that moves all windows alike."""
    arm_covariance: Array
    """(n, n) m2 of the arms."""
    dof: float
    """Degrees of freedom behind ``covariance``."""
    may_go: NDArray[np.bool_]
    """Windows that may be left out; a window that a person keeps may not."""
    hint_held: Array
    """Log odds from other evidence (shorter roll period, line tension) that the window was held; 0 knows nothing."""
    hint_other: Array
    """Log odds from other evidence that the window was shifted otherwise."""

    def part(self, keep: NDArray[np.bool_]) -> Windows:
        """Return the windows of ``keep`` alone."""
        square = np.ix_(keep, keep)
        return Windows(
            self.heel[keep],
            self.arm[keep],
            self.rise[keep],
            self.covariance[square],
            self.arm_covariance[square],
            self.dof,
            self.may_go[keep],
            self.hint_held[keep],
            self.hint_other[keep],
        )


@dataclass(frozen=True)
class Excluded:
    """One window that does not agree with the others."""

    index: int
    shift: float
    """rad, its heel minus the curve through the others."""
    shift_u: float
    """rad, standard uncertainty of ``shift``."""
    held: float
    """Probability that it was held (rather than shifted by anything else), given that it is left out."""


@dataclass(frozen=True)
class Consensus:
    """The set of windows that agree, and how sure that choice is."""

    used: NDArray[np.bool_]
    fit: CurveFit
    """Of the used windows."""
    excluded: tuple[Excluded, ...]
    consistent: bool
    """False if no set within reach agreed; the interval is then widened by ``birge``."""
    chi2: float
    """Of the used windows, with their own covariance and that of the moments."""
    chi2_limit: float
    birge: float
    """Factor on every uncertainty of heel, 1 if the windows agree."""
    selection_u: float
    """m, standard uncertainty of GM from not knowing for certain which windows to leave out."""
    restraint: str
    """One of `PRIOR_RESTRAINT`: what the windows say about a restraint."""
    restraint_probability: float
    shift: Array
    """(n,) each window's heel minus the curve through the used others, rad."""
    shift_u: Array
    """(n,) rad."""
    largest_limit: float
    """Limit on |shift| / shift_u of a clean window."""
    bend: float = 0.0
    """m, BM beyond the hull's own that lays all windows on one curve; 0 where none was needed."""
    bend_u: float = 0.0

    def restrains(self, side: float, shift: float) -> bool:
        """Whether what held the other windows would shift a window on this side of heel (+1 starboard) that way."""
        if self.restraint == "free":
            return False
        if self.restraint.startswith("line"):
            return (shift < 0) == (self.restraint == "line to port")
        return side * shift < 0 and (self.restraint == "both" or (side > 0) == (self.restraint == "starboard"))


@dataclass(frozen=True)
class _Linear:
    """The windows as y = X (GM, TCG) + error, in metres of arm, with the projector that serves every subset."""

    projector: Array
    """(n, n) P = W - W X (X'WX)^-1 X'W."""
    pull: Array
    """(n,) P y."""
    chi2: float
    gain: Array
    """(2, n) (X'WX)^-1 X'W."""
    beta: Array
    stiffness: Array


@dataclass(frozen=True)
class _Weighed:
    """Sets of one size with what each is worth."""

    sets: Sets
    """(N, k) window numbers left out."""
    chi2: Array
    log_weight: Array
    gm: Array
    by_hypothesis: Array
    """(N, h) log weight under each hypothesis of restraint."""


def consensus(windows: Windows, form: Form, most: int | None = None, prior_bend: float = PRIOR_BEND) -> Consensus:
    """Find the windows that agree with one free vessel.

    Parameters
    ----------
    windows : at least two with different arms.
    form : curve of the hull.
    prior_bend : probability beforehand that the plot bends otherwise than ``form``.
    most : most windows that may be left out; by default fewer than half, keeping three.

    Notes
    -----
    If all windows agree, all are used: nothing is left out of a clean day but at the stated false-alarm rate. Else the
    likeliest set among those whose remaining windows agree is used, unless all windows with one more bend of the curve,
    or all windows with wider intervals, are likelier still.
    """
    n = windows.heel.size
    limit = _most(n) if most is None else most
    start = start_from_line(windows.heel, windows.arm, form, windows.rise)
    used, answer = np.ones(n, dtype=bool), None
    rival: _Bent | None = None
    for _ in range(4):
        linear = _linearise(windows, form, start)
        levels = list(_weigh_all(windows, linear, limit))
        answer, weight = _choose(windows, linear, levels)
        rival = None
        if answer:
            rival = _bend(windows, linear, form, prior_bend)
            if rival.log_weight > max(weight, _unrest(windows, linear)):
                made = consensus(windows, bent_form(form, rival.bend), 0)
                doubt = _selection_u(windows, linear, limit, rival.gm, rival)
                return replace(
                    made, bend=rival.bend, bend_u=rival.bend_u, consistent=True, birge=1.0, selection_u=doubt
                )
            if _unrest(windows, linear) > weight:
                answer = ()
        chosen = np.ones(n, dtype=bool)
        chosen[list(answer)] = False
        fit = _fit(windows.part(chosen), form)
        settled = np.array_equal(chosen, used) and abs(fit.gm - start[0]) < 1e-3 * abs(fit.gm)
        used, start = chosen, (fit.gm, fit.tcg)
        if settled:
            break
    return _report(windows, form, linear, levels, used, fit, rival)


def _most(n: int) -> int:
    """Most windows that may be left out: fewer than half of few, half of eight and more."""
    return max(0, min((n - 1) // 2, n - 3)) if n < 8 else n // 2


def bent_form(form: Form, bend: float) -> Form:
    """Return the hull's form with ``bend`` m of BM more."""
    return Form(f"{form.name} and a bend", lambda heel: form.c(heel) + 0.5 * bend * np.tan(heel) ** 3, form.km)


@dataclass(frozen=True)
class _Bent:
    """All windows on a curve with one bend more, as a rival of every set."""

    bend: float
    """m of BM."""
    bend_u: float
    gm: float
    log_weight: float


def _bend(windows: Windows, linear: _Linear, form: Form, prior: float) -> _Bent:
    """One more parameter for all windows; its log weight is minus infinity where it explains nothing."""
    n = windows.heel.size
    column = 0.5 * np.tan(windows.heel) ** 3
    size = float(column @ linear.projector @ column)
    if size <= 0 or n < 5 or np.unique(np.round(np.abs(windows.arm), 9)).size < 3:
        return _Bent(0.0, 0.0, float(linear.beta[0]), -np.inf)
    bend, bend_u = float(column @ linear.pull) / size, 1.0 / float(np.sqrt(size))
    none = _Bent(bend, bend_u, float(linear.beta[0] - bend * (linear.gain[0] @ column)), -np.inf)
    chi2 = linear.chi2 - float(column @ linear.pull) ** 2 / size
    if chi2 > chi2_limit(n - 3, windows.dof, ALPHA_REST):
        return none
    steepest = float(np.abs(np.tan(windows.heel)).max())
    hull = 2.0 * abs(float(np.asarray(form.c(np.array([np.arctan(steepest)])))[0])) / steepest**3
    if bend < -LEAST_BM * hull:
        # Softer with heel than any waterplane of this breadth: not a bend of the vessel but windows that were held.
        return none
    most = float(np.abs(column).max())
    reach = PLAUSIBLE_SHIFT * float(np.ptp(windows.arm)) / 2 / most
    occam = 0.5 * np.log(2 * np.pi) + np.log(bend_u / (2 * reach)) if abs(bend) < reach else -np.inf
    return replace(none, log_weight=float(np.log(prior) - 0.5 * chi2 + occam + _all_clean(windows)))


def _unrest(windows: Windows, linear: _Linear) -> float:
    """Log weight of every uncertainty being too small by one factor b, log-even up to `MOST_UNREST`."""
    free = windows.heel.size - 2
    if free < 1:
        return -np.inf
    b = float(np.clip(np.sqrt(linear.chi2 / free), 1.0, MOST_UNREST))
    # The integral over log b of a peak of width 1 / sqrt(2 free).
    width = float(np.sqrt(2 * np.pi / (2 * free)) / np.log(MOST_UNREST))
    fit = -free * np.log(b) - 0.5 * linear.chi2 / b**2
    return float(np.log(PRIOR_UNREST) + fit + np.log(width) + _all_clean(windows))


def _all_clean(windows: Windows) -> float:
    return float(np.log(PRIOR_RESTRAINT["free"]) + windows.heel.size * np.log1p(-PRIOR_OTHER))


def largest_deviation_limit(n: int, dof: float, alpha: float = ALPHA_LARGEST) -> float:
    """Limit for the largest of ``n`` studentised deviations (Bonferroni on Student's t, two-sided)."""
    return float(stdtrit(min(max(dof, 1.0), 1e6), 1 - alpha / (2 * max(n, 1))))


def chi2_limit(free: int, dof: float, alpha: float = ALPHA_CHI2) -> float:
    """Limit on chi-square with ``free`` degrees of freedom where the covariance's scale itself has ``dof``."""
    if free < 1:
        return float("inf")
    return float(free * fdtri(free, min(max(dof, 1.0), 1e6), 1 - alpha))


def _fit(windows: Windows, form: Form) -> CurveFit:
    """Fit by heel, the moments' own uncertainty turned into heel by the stiffness."""
    gm, _ = start_from_line(windows.heel, windows.arm, form, windows.rise)
    _, stiffness = sensitivity(windows.heel, gm, form, windows.rise)
    covariance = windows.covariance + windows.arm_covariance / np.outer(stiffness, stiffness)
    return fit_curve(windows.heel, windows.arm, covariance, form, windows.rise)


def _linearise(windows: Windows, form: Form, start: tuple[float, float]) -> _Linear:
    tangent = np.tan(windows.heel)
    _, stiffness = sensitivity(windows.heel, start[0], form, windows.rise)
    y = windows.arm + windows.rise * tangent - form.c(windows.heel)
    design = np.column_stack([tangent, -np.ones_like(tangent)])
    weight = np.linalg.inv(windows.covariance * np.outer(stiffness, stiffness) + windows.arm_covariance)
    gain = np.linalg.solve(design.T @ weight @ design, design.T @ weight)
    projector = weight - weight @ design @ gain
    pull = projector @ y
    return _Linear(projector, pull, float(y @ pull), gain, gain @ y, stiffness)


def _weigh_all(windows: Windows, linear: _Linear, most: int, prior_other: float = PRIOR_OTHER) -> Iterator[_Weighed]:
    free = np.flatnonzero(windows.may_go)
    before: _Weighed | None = None
    for size in range(min(most, free.size) + 1):
        sets = _sets(free, size, before)
        sets = sets[_spread(windows, sets)]
        if sets.shape[0] == 0:
            return
        before = _weigh(windows, linear, sets, prior_other)
        yield before


def _sets(free: Sets, size: int, before: _Weighed | None) -> Sets:
    if size == 0:
        return np.zeros((1, 0), dtype=np.intp)
    if comb(free.size, size) <= EXHAUSTIVE or before is None:
        return np.array(list(combinations(free.tolist(), size)), dtype=np.intp).reshape(-1, size)
    best = before.sets[np.argsort(-before.log_weight)[:BEAM]]
    longer = {tuple(sorted((*row, i))) for row in best.tolist() for i in free.tolist() if i not in row}
    return np.array(sorted(longer), dtype=np.intp)


def _spread(windows: Windows, sets: Sets) -> NDArray[np.bool_]:
    """Of which sets left out the rest still spans a good part of the moments, or its agreement proves nothing."""
    out = np.zeros((sets.shape[0], windows.arm.size), dtype=bool)
    np.put_along_axis(out, sets, True, axis=1)
    span = np.where(out, -np.inf, windows.arm).max(axis=1) - np.where(out, np.inf, windows.arm).min(axis=1)
    return np.asarray(span >= LEAST_SPREAD * np.ptp(windows.arm))


def _weigh(windows: Windows, linear: _Linear, sets: Sets, prior_other: float) -> _Weighed:
    """Weigh sets of one size.

    Leaving out E is the same as giving each window of E a shift of its own:
    chi2(E) = chi2(all) - (Py)_E' P_EE^-1 (Py)_E, shifts = P_EE^-1 (Py)_E with covariance P_EE^-1.
    """
    count, k = sets.shape
    n = windows.heel.size
    block = linear.projector[sets[:, :, None], sets[:, None, :]]
    pull = linear.pull[sets]
    inverse = np.linalg.inv(block) if k else np.zeros((count, 0, 0))
    shift = np.einsum("nij,nj->ni", inverse, pull)
    variance = np.einsum("nii->ni", inverse) if k else np.zeros((count, 0))
    chi2 = linear.chi2 - np.einsum("ni,ni->n", pull, shift)
    gm = linear.beta[0] - np.einsum("ni,ni->n", linear.gain[0][sets], shift)
    log_det = np.linalg.slogdet(block)[1] if k else np.zeros(count)
    half_range = max(0.5 * float(np.ptp(windows.heel)), 1e-6)
    u = np.sqrt(np.diag(windows.covariance))
    reach = np.maximum(PLAUSIBLE_SHIFT * half_range, 10 * u) * linear.stiffness
    evidence = -0.5 * np.maximum(chi2, 0.0) + 0.5 * k * np.log(2 * np.pi) - 0.5 * log_det
    # A shift of arm is minus stiffness times a shift of heel.
    score = -shift / np.sqrt(np.maximum(variance, 1e-300))
    # Density of a shift: held, even up to the reach; else log-even from its own uncertainty up to the reach, since a
    # cook is as likely as a crane.
    size = np.maximum(np.abs(shift), np.sqrt(variance))
    log_other = -np.log(size) - np.log(np.log(reach / (u * linear.stiffness)))[sets]
    log_reach = np.log(reach)[sets]
    out = np.zeros((count, n), dtype=bool)
    np.put_along_axis(out, sets, True, axis=1)
    by_hypothesis = np.empty((count, len(PRIOR_RESTRAINT)))
    other = np.log(prior_other / 2) + windows.hint_other
    for column, (side, prior) in enumerate(PRIOR_RESTRAINT.items()):
        toward, held = _eligible(windows, linear, side)
        log_held = np.log(np.maximum(held, 1e-300)) + windows.hint_held
        direction = ndtr(-toward[sets] * score)
        by_line = log_held[sets] - log_reach + np.log(np.maximum(direction, 1e-300))
        each = np.logaddexp(other[sets] + log_other, by_line)
        stay = np.log1p(-(prior_other + held))
        by_hypothesis[:, column] = np.log(prior) + each.sum(axis=1) + np.where(out, 0.0, stay).sum(axis=1)
    by_hypothesis += evidence[:, None]
    return _Weighed(sets, chi2, np.asarray(logsumexp(by_hypothesis, axis=1)), gm, by_hypothesis)


def _eligible(windows: Windows, linear: _Linear, side: str) -> tuple[Array, Array]:
    """(n,) side of heel (+1 starboard) and (n,) prior probability of being held under a hypothesis.

    Contact on a side can act in a window pulled to that side and, as far as it may have come early, in the windows
    about upright; it takes heel away. A line that has come tight pulls to its own side whichever way she heels, most
    likely where she heels away from it.
    """
    pull = windows.arm + linear.beta[1]
    toward = np.sign(pull)
    near = np.abs(pull) < 0.15 * max(float(np.abs(pull).max()), 1e-12)
    if side == "free":
        return toward, np.zeros_like(pull)
    if side == "both":
        return toward, np.where(near, 0.0, PRIOR_HELD)
    if side.startswith("line"):
        away = 1.0 if side == "line to port" else -1.0
        middle = 0.5 * (PRIOR_HELD + PRIOR_SLACKENED)
        held = np.where(near, middle, np.where(toward == away, PRIOR_HELD, PRIOR_SLACKENED))
        return np.full_like(pull, away), held
    sign = 1.0 if side == "starboard" else -1.0
    held = np.where(near, 0.2 * PRIOR_HELD, np.where(toward == sign, PRIOR_HELD, 0.0))
    return np.where(near, sign, toward), held


def _agrees(windows: Windows, linear: _Linear, left_out: Sets, chi2: float) -> bool:
    """Whether the windows not left out agree: all of them at the day's false-alarm rate, a rest at a looser one."""
    n, k = windows.heel.size, left_out.size
    joint, largest = (ALPHA_CHI2, ALPHA_LARGEST) if k == 0 else (ALPHA_REST, ALPHA_REST)
    if chi2 > chi2_limit(n - 2 - k, windows.dof, joint):
        return False
    score = _scores(windows, linear, left_out)[0]
    rest = np.ones(n, dtype=bool)
    rest[left_out] = False
    if n - 2 - k < 1:
        return True
    return bool(np.nanmax(np.abs(score[rest]), initial=0.0) <= largest_deviation_limit(n - k, windows.dof, largest))


def _scores(windows: Windows, linear: _Linear, left_out: Sets) -> tuple[Array, Array, Array]:
    """Each window's deviation from the curve through the used others: score, shift rad, its u rad."""
    n = windows.heel.size
    score, shift, u = (np.full(n, np.nan) for _ in range(3))
    for i in range(n):
        others = left_out[left_out != i]
        group = np.append(others, i)
        inverse = np.linalg.pinv(linear.projector[np.ix_(group, group)], hermitian=True)
        if group.size > n - 2 or inverse[-1, -1] <= 0:
            continue
        shift[i] = -float(inverse[-1] @ linear.pull[group]) / linear.stiffness[i]
        u[i] = float(np.sqrt(inverse[-1, -1])) / linear.stiffness[i]
        score[i] = shift[i] / u[i]
    return score, shift, u


def _choose(windows: Windows, linear: _Linear, levels: list[_Weighed]) -> tuple[tuple[int, ...], float]:
    """Return the windows to leave out and the log weight of that choice."""
    everything = levels[0]
    if _agrees(windows, linear, everything.sets[0], float(everything.chi2[0])):
        return (), float(everything.log_weight[0])
    ranked = sorted(
        ((float(w), level, row) for level in levels[1:] for row, w in enumerate(level.log_weight)),
        key=lambda item: -item[0],
    )
    for weight, level, row in ranked[:2000]:
        if _agrees(windows, linear, level.sets[row], float(level.chi2[row])):
            return tuple(int(i) for i in level.sets[row]), weight
    # No set agrees. Leave windows out only where that explains most of the scatter; else the scatter is everybody's.
    if ranked:
        weight, level, row = ranked[0]
        n, k = windows.heel.size, level.sets.shape[1]
        left = float(level.chi2[row]) / max(n - 2 - k, 1)
        if left < 0.1 * float(everything.chi2[0]) / max(n - 2, 1):
            return tuple(int(i) for i in level.sets[row]), weight
    return (), -np.inf


def _report(
    windows: Windows,
    form: Form,
    linear: _Linear,
    levels: list[_Weighed],
    used: NDArray[np.bool_],
    fit: CurveFit,
    rival: _Bent | None,
) -> Consensus:
    left_out = np.flatnonzero(~used)
    n, k = windows.heel.size, left_out.size
    level = levels[k]
    row = int(np.flatnonzero((level.sets == left_out).all(axis=1))[0])
    limit = chi2_limit(n - 2 - k, windows.dof)
    consistent = _agrees(windows, linear, left_out, float(level.chi2[row]))
    birge = 1.0 if consistent or fit.dof < 1 else float(max(1.0, np.sqrt(fit.chi2 / fit.dof)))
    _, shift, shift_u = _scores(windows, linear, left_out)
    hypotheses = list(PRIOR_RESTRAINT)
    share = np.exp(level.by_hypothesis[row] - logsumexp(level.by_hypothesis[row]))
    best = int(np.argmax(share))
    excluded = tuple(
        Excluded(int(i), float(shift[i]), float(shift_u[i]), _held(windows, linear, share, int(i), shift, shift_u))
        for i in left_out
    )
    return Consensus(
        used,
        fit,
        excluded,
        consistent,
        fit.chi2,
        limit,
        birge,
        _selection_u(windows, linear, len(levels) - 1, level.gm[row], rival) if birge == 1.0 else 0.0,
        hypotheses[best],
        float(share[best]),
        shift,
        shift_u,
        largest_deviation_limit(n - k, windows.dof),
    )


def _held(windows: Windows, linear: _Linear, share: Array, i: int, shift: Array, shift_u: Array) -> float:
    half_range = max(0.5 * float(np.ptp(windows.heel)), 1e-6)
    own_u = float(np.sqrt(windows.covariance[i, i]))
    reach = max(PLAUSIBLE_SHIFT * half_range, 10 * own_u)
    density = 1.0 / (max(abs(shift[i]), shift_u[i]) * np.log(reach / own_u))
    other = PRIOR_OTHER / 2 * float(np.exp(windows.hint_other[i])) * density * reach
    total = 0.0
    for weight, side in zip(share, PRIOR_RESTRAINT, strict=True):
        toward, held = _eligible(windows, linear, side)
        right_way = float(ndtr(-toward[i] * shift[i] / shift_u[i])) if shift_u[i] > 0 else 0.5
        by_line = float(held[i]) * float(np.exp(windows.hint_held[i])) * right_way
        total += float(weight) * by_line / (by_line + other)
    return total


def _selection_u(windows: Windows, linear: _Linear, most: int, gm: float, rival: _Bent | None) -> float:
    """Spread of GM over the sets that could have been chosen, each with its weight (model averaging).

    A day of which something must be wrong may have a bent plot instead: ``rival`` counts among the sets. How often
    windows are shifted is itself not known: `SHARE_MOVED` holds what is thought of it beforehand, and the day's own
    windows weigh it. On a day of shifts those too small to be seen thus count in the interval.
    """
    weights, values = [], []
    for share_moved, prior in SHARE_MOVED:
        for level in _weigh_all(windows, linear, most, share_moved):
            weights.append(level.log_weight + np.log(prior))
            values.append(level.gm)
    if rival is not None and np.isfinite(rival.log_weight):
        weights.append(np.array([rival.log_weight]))
        values.append(np.array([rival.gm]))
    log_weight, value = np.concatenate(weights), np.concatenate(values)
    share = np.exp(log_weight - logsumexp(log_weight))
    return float(np.sqrt(share @ (value - gm) ** 2))
