"""Choose the windows that agree, and say how sure that choice is."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtri, logsumexp, ndtr, stdtr, stdtrit

from dsp.checks.budget import MOVED_AND_APART
from reduction.gm.consistency.linear import (
    agrees,
    chi2_of_rest,
    fitted,
    largest_deviation_limit,
    linearise,
    scores,
)
from reduction.gm.consistency.list_change import Changed, list_changes, size_of, sure_of, without
from reduction.gm.consistency.presumed import Judged, Levels, beside_scatter, row_of
from reduction.gm.consistency.restraint import PRIOR_RESTRAINT, eligible
from reduction.gm.consistency.rivals import PRIOR_BEND, Bent, all_clean, bends_of
from reduction.gm.consistency.scatter import scatter_of
from reduction.gm.consistency.sets import PLAUSIBLE_SHIFT, PRIOR_OTHER, weigh_all
from reduction.gm.consistency.values import Array, Consensus, Excluded, Windows
from reduction.gm.curve import CurveFit, Form, start_from_line, with_bend

Rivals = tuple[tuple[Array, Array], ...]
"""Log weights and GM (m) of what explains the windows otherwise: a bend, scatter, sets beside a change of list."""
HARDLY = 0.2
"""Where a clean window looks like it so often, nobody is thought to have moved in it."""
BOTH = float(np.exp(-0.5 * chdtri(4.0, MOVED_AND_APART)))
"""Product of two probabilities below which a clean window comes with `MOVED_AND_APART` (R. A. Fisher, Statistical
Methods for Research Workers, 1932, 21.1: minus twice its logarithm is chi-square of four degrees of freedom)."""
LIKELY = 2.0 / 3.0
"""Probability over all sets from which on a window of the likeliest set is left out: two to one (judgement). One that
is hardly off does little harm; a clean one left out is a measurement lost."""
BEHIND = float(np.log(10.0))
"""Logarithm by which what is left of it may lie behind the likeliest set. Of two sets that have nothing in common, each
as likely as the other, what they share is nobody's explanation."""
SHARE_MOVED = ((0.02, 0.6), (0.1, 0.2), (0.2, 0.12), (0.35, 0.08))
"""Judgement: share of windows shifted unseen, with the probability that a day is like that."""


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
    If all windows agree, whatever their common zero, all are used: nothing is left out of a clean day but at the stated
    false-alarm rate. A change of her list leaves none out, and is believed where it is by far the likelier. Else the
    zero is taken as it stands, since with it free one side of the plot says nothing of the other, and which windows
    were held has to be settled by both. The likeliest set among those whose remaining windows agree is used, unless all
    windows with one more bend of the curve, all windows with one more variance for each, or sets beside a change of her
    list are likelier still. Of windows that agree those go that both look as if people moved in them and lie apart.
    What the windows used scatter beyond their own intervals is estimated at the end, whether they agree or not.
    """
    n = windows.heel.size
    limit = _most(n) if most is None else most
    start = start_from_line(windows.heel, windows.arm, form, windows.rise)
    used, told = np.ones(n, dtype=bool), windows
    for _ in range(4):
        linear = linearise(windows, form, start)
        if windows.zero_u > 0.0 and not agrees(windows, linear):
            windows = replace(windows, zero_u=0.0)
            linear = linearise(windows, form, start)
        alone = list(weigh_all(windows, linear, limit))
        levels: Levels = alone
        judged = Judged(windows, linear, form, start)
        answer, weight = _choose(judged, levels)
        bent = bends_of(windows, told, linear, form, prior_bend)
        restless = scatter_of(windows, form, *start).log_odds - 0.5 * linear.chi2 + all_clean(windows)
        changed = list_changes(windows, linear, limit if answer else 0)
        rivals = _rivals(bent, (restless, float(linear.beta[0])), changed)
        if not answer and any(one.log_weight > restless and sure_of(one, windows, linear) for one in changed):
            return _beside_change(told, form, most, prior_bend, levels, rivals, changed)
        if answer:
            # Against all sets together: many of them say much the same.
            held = logsumexp(np.concatenate([level.log_weight for level in levels]))
            bends = logsumexp([one.log_weight for one in bent]) if bent else -np.inf
            if changed and max(one.log_weight for one in changed) > max(held, restless, bends):
                return _beside_change(told, form, most, prior_bend, levels, rivals, changed)
            if bends > max(held, restless):
                best = max(bent, key=lambda one: one.log_weight)
                made = consensus(told, with_bend(form, best.bend), 0)
                doubt = _selection_u(levels, best.gm, rivals)
                return replace(made, bend=best.bend, consistent=True, selection_u=doubt)
            if restless > weight:
                answer = ()
        if answer:
            levels = beside_scatter(windows, form, start, linear, alone)
            answer = _likely_ones(judged, levels, _choose(judged, levels)[0])
            judged = judged.beside(levels, answer)
        chosen = np.ones(n, dtype=bool)
        chosen[list(answer)] = False
        fit = fitted(windows.part(chosen), form)
        settled = np.array_equal(chosen, used) and abs(fit.gm - start[0]) < 1e-3 * abs(fit.gm)
        used, start = chosen, (fit.gm, fit.tcg)
        if settled:
            break
    more = _moved_and_apart(judged, levels, used)
    if more.any():
        used = used & ~more
        fit = fitted(windows.part(used), form)
    return _report(windows, judged, levels, used, fit, rivals)


def _rivals(bent: list[Bent], restless: tuple[float, float], changed: list[Changed]) -> Rivals:
    lone = [*((one.log_weight, one.gm) for one in bent), restless]
    return (
        *((np.array([worth]), np.array([gm])) for worth, gm in lone),
        *((level.log_weight, level.gm) for one in changed for level in one.levels),
    )


def _beside_change(
    told: Windows,
    form: Form,
    most: int | None,
    prior_bend: float,
    levels: Levels,
    rivals: Rivals,
    changed: list[Changed],
) -> Consensus:
    """Take the likeliest change of list off and compare the windows again.

    Parameters
    ----------
    told : with what is known of their common zero.
    levels, rivals, changed : as the sets were weighed.
    """
    best = max(changed, key=lambda one: one.log_weight).change
    made = consensus(without(told, best), form, most, prior_bend)
    kept = told.part(made.used)
    change = size_of(kept, linearise(kept, form, (made.fit.gm, made.fit.tcg)), best)
    if not np.isfinite(change.u):
        change = best  # the windows kept lie all on one side of it
    return replace(made, list_change=change, selection_u=_selection_u(levels, made.fit.gm, rivals))


def _moved_and_apart(judged: Judged, levels: Levels, used: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Tell which of the windows used both look as if people moved in them and lie apart, though neither is sure.

    The two are independent on a clean window, so that the product of their probabilities has that of Fisher's test.
    Where the windows used do not agree, all of them scatter, and none lies apart for a reason of its own.
    """
    windows = judged.windows
    more = np.zeros(used.size, dtype=bool)
    if not judged.agree(np.flatnonzero(~used).tolist()):
        return more
    while True:
        left_out = np.flatnonzero(~used | more)
        score = scores(windows, judged.linear, left_out)[0]
        apart = 2.0 * stdtr(windows.law_dof, -np.abs(score))
        asked = used & ~more & windows.may_go & (windows.moved < HARDLY) & np.isfinite(apart)
        if not asked.any():
            return more
        product = np.where(asked, windows.moved * apart, np.inf)
        worst = int(np.argmin(product))
        wanted = np.sort(np.append(left_out, worst))
        known = wanted.size < len(levels) and (levels[wanted.size].sets == wanted).all(axis=1).any()
        if product[worst] > BOTH or not known:
            return more
        more[worst] = True


def _most(n: int) -> int:
    """Most windows that may be left out: fewer than half of few, half of eight and more."""
    return max(0, min((n - 1) // 2, n - 3)) if n < 8 else n // 2


def _choose(judged: Judged, levels: Levels) -> tuple[tuple[int, ...], float]:
    """Return the windows to leave out and the log weight of that choice."""
    everything = levels[0]
    if judged.agree():
        return (), float(everything.log_weight[0])
    ranked = sorted(
        ((float(w), level, row) for level in levels[1:] for row, w in enumerate(level.log_weight)),
        key=lambda item: -item[0],
    )
    for weight, level, row in ranked[:2000]:
        left_out = tuple(int(i) for i in level.sets[row])
        if judged.beside(levels, left_out).agree(left_out):
            return left_out, weight
    # No set agrees. Leave windows out only where that explains most of the scatter; else the scatter is everybody's.
    if ranked:
        weight, level, row = ranked[0]
        n, k = judged.windows.heel.size, level.sets.shape[1]
        left = chi2_of_rest(judged.linear, level.sets[row]) / max(n - 2 - k, 1)
        if left < 0.1 * judged.linear.chi2 / max(n - 2, 1):
            return tuple(int(i) for i in level.sets[row]), weight
    return (), -np.inf


def _likely_ones(judged: Judged, levels: Levels, answer: tuple[int, ...]) -> tuple[int, ...]:
    """Keep the windows of the likeliest set that most sets do without, where the rest agree all the same.

    The likeliest of many sets has windows in it that are spoilt as likely as not; each window's own probability, over
    all sets, is the better guide (M. M. Barbieri and J. O. Berger, Optimal predictive model selection, Ann. Statist. 32
    (2004) 870-897, from memory, for a half).
    """
    whole = logsumexp(np.concatenate([level.log_weight for level in levels]))
    spoilt = np.zeros(judged.windows.heel.size)
    for level in levels[1:]:
        np.add.at(spoilt, level.sets, np.exp(level.log_weight - whole)[:, None])
    likely = tuple(i for i in answer if spoilt[i] > LIKELY)
    if not likely or len(likely) == len(answer):
        return answer
    level, best = levels[len(likely)], levels[len(answer)]
    if not (level.sets == np.array(likely)).all(axis=1).any():
        return answer
    behind = best.log_weight[row_of(best, answer)] - level.log_weight[row_of(level, likely)]
    return likely if behind < BEHIND and judged.beside(levels, likely).agree(likely) else answer


def _report(
    windows: Windows, judged: Judged, levels: Levels, used: NDArray[np.bool_], fit: CurveFit, rivals: Rivals
) -> Consensus:
    """Put together what was found.

    Parameters
    ----------
    windows : without scatter; ``judged`` with what they were presumed to have.
    """
    form = judged.form
    left_out = np.flatnonzero(~used)
    n, k = windows.heel.size, left_out.size
    level = levels[k]
    row = row_of(level, left_out.tolist())
    consistent = agrees(windows, linearise(windows, form, judged.start), left_out)
    _, shift, shift_u = scores(judged.windows, judged.linear, left_out)
    hypotheses = list(PRIOR_RESTRAINT)
    share = np.exp(level.by_hypothesis[row] - logsumexp(level.by_hypothesis[row]))
    best = int(np.argmax(share))
    largest = largest_deviation_limit(n - k, windows.dof)
    excluded = tuple(
        Excluded(
            int(i),
            float(shift[i]),
            float(shift_u[i]),
            _held(windows, share, int(i), shift, shift_u),
            min(largest, float(-stdtrit(windows.law_dof, min(BOTH / windows.moved[i], 1.0) / 2.0))),
        )
        for i in left_out
    )
    return Consensus(
        used,
        fit,
        excluded,
        consistent,
        fit.chi2,
        scatter_of(windows.part(used), form, fit.gm, fit.tcg),
        _selection_u(levels, float(level.gm[row]), rivals),
        hypotheses[best],
        shift,
        shift_u,
        largest,
    )


def _held(windows: Windows, share: Array, i: int, shift: Array, shift_u: Array) -> float:
    half_range = max(0.5 * float(np.ptp(windows.heel)), 1e-6)
    own_u = float(np.sqrt(windows.covariance[i, i]))
    reach = max(PLAUSIBLE_SHIFT * half_range, 10 * own_u)
    density = 1.0 / (max(abs(shift[i]), shift_u[i]) * np.log(reach / own_u))
    other = PRIOR_OTHER / 2 * float(np.exp(windows.hint_other[i])) * density * reach
    total = 0.0
    for weight, side in zip(share, PRIOR_RESTRAINT, strict=True):
        toward, held = eligible(windows, side)
        right_way = float(ndtr(-toward[i] * shift[i] / shift_u[i])) if shift_u[i] > 0 else 0.5
        by_line = float(held[i]) * float(np.exp(windows.hint_held[i])) * right_way
        total += float(weight) * by_line / (by_line + other)
    return total


def _selection_u(levels: Levels, gm: float, rivals: Rivals) -> float:
    """Spread of GM over the sets that could have been chosen, each with its weight (model averaging).

    Instead the plot may bend or all windows scatter: ``rivals`` count among the sets. How often windows are shifted is
    itself not known: `SHARE_MOVED` holds what is thought of it beforehand, and the day's own windows weigh it. On a day
    of shifts those too small to be seen thus count in the interval.
    """
    sets = [(level.log_weight_if(share) + np.log(prior), level.gm) for share, prior in SHARE_MOVED for level in levels]
    log_weight, value = (np.concatenate(column) for column in zip(*sets, *rivals, strict=True))
    share = np.exp(log_weight - logsumexp(log_weight))
    return float(np.sqrt(share @ (value - gm) ** 2))
