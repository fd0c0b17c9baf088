"""The day in the units of the fits: heels and arms, which windows may enter, and whether there is a GM at all."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from config.plan import Overrule
from dsp.types import DayHeel, WindowHeel
from reduction.gm import budget as gm_budget
from reduction.gm import consistency, day_checks
from reduction.gm.curve import CurveFit, Form, fit_moments, from_kn, start_from_line, straight, wall_sided
from reduction.types import ListChange, Maybe, Quantified, State

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

LEAST_RESPONSE = 3.0
"""Standard errors by which the slope of heel on moment must stand out before there is a GM to speak of."""
SMALLEST_U = 1e-8
"""rad added to every window by itself, so that a covariance without own parts can be inverted."""


@dataclass(frozen=True)
class Problem:
    """The day in the units of the fits."""

    windows_heel: tuple[WindowHeel, ...]
    states: tuple[State, ...]
    displacement: Quantified
    heel: Array
    arm: Array
    rise: Array
    covariance: Array
    arm_covariance: Array
    columns: dict[str, Array]
    overruled: dict[int, Overrule]
    zero_u: float
    """rad, of the zero that all heels share: where upright is, which the curve needs to know."""
    list_u: Array = field(default_factory=lambda: np.zeros(0))
    """(n,) rad, of a change of list that was taken off ``heel``; zeros, or empty, where there was none."""

    @property
    def time(self) -> Array:
        """(n,) s, middle of each window."""
        return np.array([0.5 * (w.span.start + w.span.stop) for w in self.windows_heel])

    @property
    def weighing(self) -> Array:
        """(n, n) rad2 by which a curve through the heels is fitted: their covariance and the zero that they share.

        A wrong zero lays the bend of the curve to one side, as a line does that holds her there; with the zero among
        what is not known the fit finds it instead. It moves nothing along a straight line.
        """
        free = np.outer(self.list_u, self.list_u) if self.list_u.size else 0.0
        return np.asarray(self.covariance + self.zero_u**2 + free)

    def fit(self, form: Form, keep: Mask) -> tuple[CurveFit, Array]:
        """Fit the curve to the windows of ``keep``; the fit, and the (n, n) rad2 by which it weighs them."""
        square = np.ix_(keep, keep)
        told = self.heel[keep], self.arm[keep], self.weighing[square], self.arm_covariance[square]
        return fit_moments(*told, form, self.rise[keep])

    def without(self, change: ListChange) -> Problem:
        """Take a change of list off the heels, and leave its size free."""
        share = change.share(self.time)
        return replace(self, heel=self.heel - change.size * share, list_u=change.left_free(share))

    @staticmethod
    def of(
        day: DayHeel,
        states: Sequence[State],
        displacement: Quantified,
        inputs: Mapping[str, float],
        overrules: Sequence[Overrule],
    ) -> Problem:
        """Gather heels, arms and their covariances of all windows; ``inputs`` and ``overrules`` as for `reduce_gm`."""
        arm_covariance, columns = gm_budget.moment_covariance(states, inputs, displacement.value)
        by_label = {o.window: o for o in overrules}
        overruled = {i: by_label[w.span.label] for i, w in enumerate(day.windows) if w.span.label in by_label}
        n = len(day.windows)
        return Problem(
            day.windows,
            tuple(states),
            displacement,
            np.array([w.heel for w in day.windows], dtype=float),
            np.array([s.moment for s in states], dtype=float) / displacement.value,
            np.array([s.vertical for s in states], dtype=float) / displacement.value,
            gm_budget.sound(np.asarray(day.covariance, dtype=float).reshape(n, n) + SMALLEST_U**2 * np.eye(n)),
            arm_covariance,
            columns,
            overruled,
            gm_budget.zero_of(day, np.array([s.moment for s in states], dtype=float)),
        )

    def rough_gm(self, keep: Mask) -> float:
        """GM in metres by the unweighted line."""
        return start_from_line(self.heel[keep], self.arm[keep], straight(), self.rise[keep])[0]

    def windows(self, keep: Mask) -> consistency.Windows:
        """Return the windows of ``keep`` as the comparison between windows takes them."""
        square = np.ix_(keep, keep)
        kept = [w for w, k in zip(self.windows_heel, keep, strict=True) if k]
        forced = np.array([i in self.overruled for i in range(keep.size)])
        held, other = day_checks.hints(kept)
        return consistency.Windows(
            self.time[keep],
            self.heel[keep],
            self.arm[keep],
            self.rise[keep],
            self.covariance[square],
            self.arm_covariance[square],
            window_dof(kept),
            ~forced[keep],
            held,
            other,
            day_checks.moved(kept),
            self.zero_u,
        )


def window_dof(windows: Sequence[WindowHeel]) -> float:
    """Degrees of freedom behind the uncertainty of a single window: the middle one's."""
    own = [w.dof for w in windows if np.isfinite(w.dof)]
    return max(float(np.median(own)), 2.0) if own else float("inf")


def heel_dof(day: DayHeel) -> float:
    """Degrees of freedom behind the variance of a slope of the day's heels; the windows' own where it does not say."""
    if np.isfinite(day.dof):
        return max(float(day.dof), 2.0)
    own = np.array([w.dof for w in day.windows if np.isfinite(w.dof)])
    return max(float(own.sum()), 2.0) if own.size else float("inf")


def candidates_of(problem: Problem, usable: Mask) -> tuple[Mask, list[str]]:
    """Tell which usable windows may enter the fits, by their verdicts and what a person decided; and what was noted."""
    notes: list[str] = []
    keep = usable.copy()
    for i, window in enumerate(problem.windows_heel):
        verdict = problem.overruled[i].verdict if i in problem.overruled else window.verdict
        if verdict == "rejected":
            keep[i] = False
    if np.unique(problem.arm[keep]).size < 2:
        voided = np.array([i in problem.overruled and takes_out(problem.overruled[i]) for i in range(usable.size)])
        keep = usable & ~voided
        if np.unique(problem.arm[keep]).size < 2:
            keep = usable.copy()
        notes.append(
            "Too few windows were left after the checks to give a GM; rejected ones were used again. Repeat movements "
            "before relying on this figure."
        )
    return keep, notes


def no_response(heel: Array, arm: Array) -> str:
    """Say why heel does not follow the moments at all, or nothing.

    Student's ratio of the plain slope of heel (n,) rad on arm (n,) m. A vessel that is afloat heels to the side the
    weights went to; disturbed windows scatter, but never so far that the slope is no longer to be seen.

    >>> no_response(np.array([0.0, 0.02, -0.02]), np.array([0.0, 0.01, -0.01]))
    ''
    >>> no_response(np.array([0.0, -0.02, 0.02]), np.array([0.0, 0.01, -0.01]))
    'The heel goes against the moments: check the sign of the stations and the side of each movement'
    """
    x, y = arm - arm.mean(), heel - heel.mean()
    slope = float(x @ y) / float(x @ x)
    scatter = float(np.sum((y - slope * x) ** 2)) / max(x.size - 2, 1)
    u = float(np.sqrt(scatter / float(x @ x)))
    if x.size > 3 and abs(slope) < LEAST_RESPONSE * u:
        return "The heel does not follow the moments: look at the stations, and at what was noted of the movements"
    if slope <= 0.0:
        return "The heel goes against the moments: check the sign of the stations and the side of each movement"
    return ""


def takes_out(overrule: Overrule) -> bool:
    """Whether a person's decision takes the window out."""
    return overrule.verdict == "rejected"


def form_of(bm: Maybe[Quantified] | None, kn: Callable[[Array], Array] | None) -> tuple[Form | None, float]:
    """Return the hull's form and the standard uncertainty (m) of the BM that shapes it."""
    known = bm.value if bm is not None else None
    if kn is not None:
        return from_kn(kn), known.u if known is not None and np.isfinite(known.u) else 0.0
    if known is not None and np.isfinite(known.value):
        return wall_sided(known.value), known.u if np.isfinite(known.u) else 0.0
    return None, 0.0
