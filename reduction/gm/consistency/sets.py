"""Sets of windows left out, and what each is worth."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations
from math import comb

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp, ndtr

from reduction.gm.consistency.linear import Linear
from reduction.gm.consistency.one_cause import MOST_ALIKE, PRIOR_ALIKE, HeldAlike, moved_alike
from reduction.gm.consistency.restraint import CONTACTS, Causes, causes_of
from reduction.gm.consistency.values import Array, Sets, Windows

PRIOR_OTHER = 0.05
"""Judgement: one window in twenty is shifted by something that no check inside the window saw."""
PLAUSIBLE_SHIFT = 0.1
"""Largest shift thought of, as a share of half the range of heel; sets how much agreement one more exclusion buys."""
LEAST_SPREAD = 0.2
"""Share of the day's moments that the windows kept must span; one weight moved is a quarter of the usual sequence."""
FEWEST_BESIDE = 2
"""Windows before and after a change of list; beside a single one it cannot be told from a shift of that window."""
LEAST_UNLIKE = 0.02
"""Share of the square of the moments, about their mean, that a change of list must leave unexplained."""
FACTORS = 16
"""Factors of a weight that are multiplied at once."""
EXHAUSTIVE = 6000
"""Sets of one size up to this number are all tried; beyond it only extensions of the best `BEAM` sets."""
BEAM = 400
FALLING, NEGLIGIBLE = 3, 20.0
"""Beyond `EXHAUSTIVE`: sizes in a row whose likeliest set weighs less than that of the size before, and the logarithm
by which it lies behind the likeliest of all, from which larger sets are not looked for. What sets weigh peaks at the
number of windows that were disturbed; a day of forty windows has sets of up to twenty."""


@dataclass(frozen=True)
class Weighed:
    """Sets of one size with what each is worth."""

    shifts: _Shifts
    by_hypothesis: Array
    """(N, h) log weight under each hypothesis of restraint."""

    @property
    def sets(self) -> Sets:
        """(N, k) window numbers left out."""
        return self.shifts.sets

    @property
    def gm(self) -> Array:
        """(N,) m, of the rest."""
        return self.shifts.gm

    def presumed(self, row: int) -> float:
        """Variance (rad2) that windows were presumed to have besides their own, whichever are left out."""
        return self.shifts.windows.presumed

    @cached_property
    def log_weight(self) -> Array:
        """(N,) under all hypotheses together."""
        return np.asarray(logsumexp(self.by_hypothesis, axis=1))

    def log_weight_if(self, share: float) -> Array:
        """(N,) the same if such a share of windows is shifted unseen, instead of `PRIOR_OTHER`."""
        return np.asarray(logsumexp(self.shifts.worth(share), axis=1))


def weigh_all(windows: Windows, linear: Linear, most: int, beside: Array | None = None) -> Iterator[Weighed]:
    """Weigh every set of up to ``most`` windows, size by size.

    Large sizes only beyond the best of the size before, and only while they count.

    Parameters
    ----------
    beside : (n,) share of a change of list, which ``linear`` leaves free, that had come in each window.
    """
    free = np.flatnonzero(windows.may_go)
    causes = causes_of(windows)
    before: Weighed | None = None
    best, last, falling = -np.inf, -np.inf, 0
    for size in range(min(most, free.size) + 1):
        sets = _sets(free, size, before)
        sets = sets[_spread(windows, sets, beside)]
        if sets.shape[0] == 0:
            return
        shifts = _Shifts.of(windows, linear, sets, causes)
        before = Weighed(shifts, shifts.worth(PRIOR_OTHER))
        yield before
        top = float(before.log_weight.max())
        falling = falling + 1 if top < last else 0
        best, last = max(best, top), top
        if comb(free.size, size) > EXHAUSTIVE and falling >= FALLING and top < best - NEGLIGIBLE:
            return


def weigh_again(windows: Windows, linear: Linear, levels: Sequence[Weighed]) -> list[Weighed]:
    """Weigh the same sets for windows of another covariance."""
    causes = causes_of(windows)
    shifts = [_Shifts.of(windows, linear, level.sets, causes) for level in levels]
    return [Weighed(one, one.worth(PRIOR_OTHER)) for one in shifts]


def _sets(free: Sets, size: int, before: Weighed | None) -> Sets:
    if size == 0:
        return np.zeros((1, 0), dtype=np.intp)
    if comb(free.size, size) <= EXHAUSTIVE or before is None:
        return np.array(list(combinations(free.tolist(), size)), dtype=np.intp).reshape(-1, size)
    best = before.sets[np.argsort(-before.log_weight)[:BEAM]]
    longer = np.column_stack([np.repeat(best, free.size, axis=0), np.tile(free, best.shape[0])])
    longer = np.sort(longer[(longer[:, :-1] != longer[:, -1:]).all(axis=1)], axis=1)
    inside = np.zeros((longer.shape[0], int(free[-1]) + 1), dtype=bool)
    np.put_along_axis(inside, longer, True, axis=1)
    bits = np.packbits(inside, axis=1)
    _, first = np.unique(bits.view(np.dtype((np.void, bits.shape[1]))), return_index=True)
    return np.asarray(longer[first])


def _spread(windows: Windows, sets: Sets, beside: Array | None) -> NDArray[np.bool_]:
    """Of which sets left out the rest still spans a good part of the moments, or its agreement proves nothing.

    Beside a change of list the rest must span them otherwise than the change does, and hold a few windows of each end.
    """
    left = np.ones((sets.shape[0], windows.arm.size), dtype=bool)
    np.put_along_axis(left, sets, False, axis=1)
    span = np.where(left, windows.arm, -np.inf).max(axis=1) - np.where(left, windows.arm, np.inf).min(axis=1)
    good = span >= LEAST_SPREAD * np.ptp(windows.arm)
    if beside is None:
        return np.asarray(good)
    few = (left & (beside < 0.5)).sum(axis=1) < FEWEST_BESIDE
    few |= (left & (beside >= 0.5)).sum(axis=1) < FEWEST_BESIDE
    count = np.maximum(left.sum(axis=1), 1)
    arm, share = (
        np.where(left, x - (left @ x / count)[:, None], 0.0) / max(float(np.ptp(x)), 1e-300)
        for x in (windows.arm, beside)
    )
    both = np.sum(arm * share, axis=1)
    arm_alone, share_alone = np.sum(arm**2, axis=1), np.sum(share**2, axis=1)
    unlike = both**2 <= (1.0 - LEAST_UNLIKE) * arm_alone * share_alone
    return np.asarray(good & ~few & unlike & (arm_alone > 0.0) & (share_alone > 0.0))


@dataclass(frozen=True)
class _Shifts:
    """How far the windows of each set are shifted, and how likely each cause is to shift them so far.

    Leaving out E is the same as giving each window of E a shift of its own:
    chi2(E) = chi2(all) - (Py)_E' P_EE^-1 (Py)_E, shifts = P_EE^-1 (Py)_E with covariance P_EE^-1.
    """

    windows: Windows
    causes: Causes
    sets: Sets
    gm: Array
    evidence: Array
    """(N,) log likelihood of the rest, as a density of the shifts."""
    other: Array
    """(N, k) density of each shift for a reason that is not known."""
    by_line: Array
    """(h, N, k) for each cause: probability that it held the window, times the density of its shift then."""
    alike: tuple[HeldAlike, Array] | None
    """The shifts as those of one share of the heel, and as those of one moment (but for the probability of that)."""

    @classmethod
    def of(cls, windows: Windows, linear: Linear, sets: Sets, causes: Causes) -> _Shifts:
        """Shift the windows of ``sets`` (N, k)."""
        count, k = sets.shape
        block = linear.projector[sets[:, :, None], sets[:, None, :]]
        pull = linear.pull[sets]
        inverse = np.asarray(np.linalg.inv(block) if k else np.zeros((count, 0, 0)), dtype=np.float64)
        shift = np.einsum("nij,nj->ni", inverse, pull)
        variance = np.einsum("nii->ni", inverse) if k else np.zeros((count, 0))
        chi2 = linear.chi2 - np.einsum("ni,ni->n", pull, shift)
        gm = linear.beta[0] - np.einsum("ni,ni->n", linear.gain[0][sets], shift)
        log_det = np.linalg.slogdet(block)[1] if k else np.zeros(count)
        half_range = max(0.5 * float(np.ptp(windows.heel)), 1e-6)
        u = np.sqrt(np.diag(windows.covariance))
        reach = np.maximum(PLAUSIBLE_SHIFT * half_range, 10 * u) * linear.stiffness
        # Density of a shift: held, even up to the reach; else log-even from its own uncertainty up to the reach, since
        # a cook is as likely as a crane.
        size = np.maximum(np.abs(shift), np.sqrt(variance))
        span = np.log(reach / (u * linear.stiffness))[sets]
        # A shift of arm is minus stiffness times a shift of heel: its direction is that of the heel it took away.
        score = shift / np.sqrt(np.maximum(variance, 1e-300))
        toward = causes.toward[:, sets]
        direction = np.where(toward > 0.0, ndtr(score), np.where(toward < 0.0, ndtr(-score), 0.5))
        by_line = causes.odds[:, sets] / reach[sets] * direction
        alike = None
        if 1 < k <= MOST_ALIKE:
            shifts = (windows, sets, block, shift, pull, log_det)
            alike = HeldAlike.of(*shifts), moved_alike(*shifts, span.mean(axis=1))
        evidence = -0.5 * np.maximum(chi2, 0.0) + 0.5 * k * np.log(2 * np.pi) - 0.5 * log_det
        return cls(windows, causes, sets, gm, evidence, 1.0 / (size * span), by_line, alike)

    def worth(self, share: float) -> Array:
        """(N, h) log weight of each set under each cause, where ``share`` of all windows is shifted unseen."""
        causes, sets = self.causes, self.sets
        shifted = share * np.exp(self.windows.hint_other)
        by_other = 0.5 * shifted[sets] * self.other
        together = np.log(by_other).sum(axis=1) + _log_product(1.0 + self.by_line / by_other)
        if self.alike is not None:
            for row, side in enumerate(causes.sides):
                if side in CONTACTS:
                    log_held = np.log(np.maximum(causes.odds[row][sets], 1e-300))
                    same = np.log(PRIOR_ALIKE["held"]) + self.alike[0].log_density(log_held, np.log(by_other))
                elif side == "free":
                    same = np.log(PRIOR_ALIKE["moved"]) + self.alike[1] + np.log(shifted[sets]).sum(axis=1)
                else:
                    continue
                together[row] = np.logaddexp(together[row], same)
        stay = np.log1p(-(share + causes.held))
        stays = stay.sum(axis=1)[:, None] - stay[:, sets].sum(axis=2)
        return np.asarray((causes.log_prior[:, None] + together + stays).T + self.evidence[:, None])


def _log_product(factors: Array) -> Array:
    """Logarithm of the product over the last axis, a few factors at once, so that it neither vanishes nor overflows."""
    if factors.shape[-1] == 0:
        return np.zeros(factors.shape[:-1])
    return np.asarray(np.log(np.multiply.reduceat(factors, range(0, factors.shape[-1], FACTORS), axis=-1)).sum(axis=-1))
