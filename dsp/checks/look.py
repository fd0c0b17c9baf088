"""What all checks share: the window's heel whitened by its own covariance, matched templates, and honest limits.

The matched test of a template ``s`` against a Gaussian process of covariance ``K`` with an unknown mean is the
generalised likelihood ratio: ``z = s' P y / sqrt(s' P s)`` with ``P = K^-1 - K^-1 1 (1' K^-1 1)^-1 1' K^-1``; it is
standard normal on a clean window, and no detector that knows ``K`` does better (Neyman-Pearson, invariant under the
mean). Maximising over a family of templates makes a walk on the unit sphere, whose length gives the limit
(docs/method-checks.md, section 2).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.linalg import solve_triangular

from dsp.alike import alike
from dsp.checks.scan import AnyStrength, Scan, slow_root
from dsp.factor import sound_factor
from dsp.types import Array, Check, Verdict, WindowEvidence

SHARES = (0.6, 0.36, 0.2, 0.1, 0.05, 0.02)
"""Factors on the variance of low-frequency heel that are tried."""


@dataclass(frozen=True)
class Look:
    """One window, ready to be asked; made once and handed to every check."""

    evidence: WindowEvidence

    @property
    def name(self) -> str:
        """Label of the window."""
        return self.evidence.span.label

    @property
    def seconds(self) -> Array:
        """(n,) s since the window opened."""
        return self.evidence.time - self.evidence.span.start

    @property
    def length(self) -> float:
        """s from opening to closing."""
        return self.evidence.span.stop - self.evidence.span.start

    @property
    def period(self) -> float:
        """s, natural roll period of the day; NaN where there is no roll."""
        return self.evidence.day_roll.period

    @cached_property
    def led(self) -> Look | None:
        """The window together with the record that leads up to it; None where there is none."""
        led = self.evidence.led() if self.evidence.led is not None else None
        return Look(led) if led is not None else None

    @property
    def dof(self) -> float:
        """Degrees of freedom of the covariance's scale, between 4 and a million."""
        dof = self.evidence.dof
        return float(min(max(dof, 4.0), 1e6)) if np.isfinite(dof) else 1e6

    @cached_property
    def shared_dof(self) -> float:
        """Degrees of freedom by which the windows' low-frequency strengths scatter about the day's."""
        if self.evidence.day_scale.size:
            likeness = alike(self.evidence.day_scale, self.evidence.day_scale_dof)
        else:
            likeness = self.evidence.shared_dof
        known = float(np.sum(self.evidence.day_scale_dof))
        if known <= 0.0:
            return likeness
        # Relative variances add: how unlike the windows are, and how well the day's level itself is known.
        return 1.0 / (1.0 / likeness + 1.0 / known) if likeness > 0.0 else 0.0

    def free_dof(self, template: Array) -> float:
        """Degrees of freedom behind the score of a template (n,) that was fitted beside a free amplitude.

        Those left for the amplitude once the template has been fitted, and what the day's spectrum is known to at the
        frequencies the template is made of; their relative variances add.
        """
        free = self.shared_dof + self.evidence.low_scale_dof - 1.0
        spread = 2.0 / max(free, 4.0) if np.isfinite(free) else 0.0
        if self.evidence.unsure is not None:
            turned = self.turned(template[None, :])[0]
            unit = turned / max(float(np.linalg.norm(turned)), 1e-300)
            weight = solve_triangular(self._factor, unit, lower=True, trans="T", check_finite=False)
            spread += self.evidence.unsure(weight)
        return float(min(max(2.0 / max(spread, 1e-9), 4.0), 1e6))

    @cached_property
    def slow_covariance(self) -> Array:
        """(n, n) rad2 of what is slower than the roll, without noise."""
        slow = self.evidence.low_covariance.copy()
        slow[np.diag_indices_from(slow)] -= min(self.evidence.motion.white, float(np.diag(slow).min()))
        return slow

    @cached_property
    def slow_heel(self) -> Array:
        """(n,) rad, best linear prediction of what is slower than the roll, mean taken off."""
        pull = solve_triangular(self._factor, self.rest, lower=True, trans="T", check_finite=False)
        return np.asarray(self.slow_covariance @ pull)

    @property
    def drawn_scale(self) -> float:
        """Variance of slow heel over the day's to which the covariance at hand was drawn when it was made."""
        e, own_dof = self.evidence, max(self.evidence.low_scale_dof, 0.0)
        if not np.isfinite(e.shared_dof):
            return 1.0
        return (e.shared_dof + own_dof * e.low_scale) / (e.shared_dof + own_dof)

    @cached_property
    def _factor(self) -> Array:
        at_hand = self.evidence.factor
        return at_hand if at_hand.size else np.asarray(sound_factor(self.evidence.covariance)[0])

    @cached_property
    def _white_ones(self) -> Array:
        return self._white(np.ones(self.evidence.time.size))

    @cached_property
    def _white_heel(self) -> Array:
        heel = self.evidence.heel - self.evidence.wind_part
        return self._white(heel - float(np.mean(heel)))

    @cached_property
    def _ones(self) -> Array:
        return np.asarray(self._white_ones / np.linalg.norm(self._white_ones))

    @cached_property
    def rest(self) -> Array:
        """(n,) heel without wind, whitened, its mean taken off."""
        return np.asarray(self._white_heel - self._ones * float(self._ones @ self._white_heel))

    def _white(self, value: Array) -> Array:
        return np.asarray(solve_triangular(self._factor, value, lower=True, check_finite=False))

    def whitened(self, templates: Array) -> Array:
        """Whiten templates (m, n), their mean left in; (m, n)."""
        return np.asarray(self._white(templates.T).T)

    def turned(self, templates: Array) -> Array:
        """Whiten templates (m, n) and take their mean off; (m, n)."""
        white = self._white(templates.T)
        return np.asarray((white - np.outer(self._ones, self._ones @ white)).T)

    def scan(self, templates: Array) -> Scan:
        """Fit each of a family of templates.

        Parameters
        ----------
        templates : (m, n) heel of unit disturbance on the window's bins, neighbours alike.
        """
        turned = self.turned(templates)
        size = np.sqrt(np.einsum("mn,mn->m", turned, turned))
        size = np.maximum(size, 1e-12 * float(size.max(initial=0.0)) + 1e-300)
        unit = turned / size[:, None]
        score = unit @ self.rest
        cosine = np.clip(np.einsum("mn,mn->m", unit[1:], unit[:-1]), -1.0, 1.0)
        return Scan(score, score / size, float(np.arccos(cosine).sum()))

    def scan_apart(self, families: Sequence[Array], rivals: Sequence[Array] = ()) -> tuple[list[Scan], list[Scan]]:
        """Fit families of templates with the low-frequency amplitude judged apart from what they explain.

        A step makes the window look restless and so hides itself. The amplitude is therefore chosen by the likelihood
        with the best template taken out, drawn to the day's as far as the day's windows are alike; scores then
        follow Student's law with `free_dof` degrees of freedom, as in a t-test whose variance is that of the residuals.

        Parameters
        ----------
        families : `whitened` templates (m, n), neighbours alike.
        rivals : families that are fitted with the amplitude so chosen, and have no say in it.
        """
        seen = self._any_strength
        fits = [seen.family(f) for f in families]
        factors = (1.0, *SHARES) if np.isfinite(self.evidence.shared_dof) else (1.0,)
        best = np.max([seen.largest(f, factors) for f in fits], axis=0)
        worth = [self._usual(x) + seen.log_likelihood(x) + 0.5 * b**2 for x, b in zip(factors, best, strict=True)]
        chosen = factors[int(np.argmax(worth))]
        beside = [seen.family(f) for f in rivals]
        return [seen.scan(f, chosen) for f in fits], [seen.scan(f, chosen) for f in beside]

    @cached_property
    def _any_strength(self) -> AnyStrength:
        root = slow_root(self.slow_covariance, self.evidence.motion.white)
        return AnyStrength.of(self._white(root), self._white_ones, self._white_heel)

    def _usual(self, factor: float) -> float:
        """Log likelihood of a factor on low-frequency heel by the day's other windows."""
        shared = self.shared_dof
        if not np.isfinite(shared):
            return 0.0
        scale = factor * max(self.drawn_scale, 1e-3)
        return float(-0.5 * shared * (np.log(scale) + 1.0 / scale))

    def energy(self, templates: Array) -> float:
        """Chi-square of a few templates fitted together: as many degrees of freedom as templates."""
        basis = np.linalg.qr(self.turned(templates).T)[0]
        return float(np.sum((basis.T @ self.rest) ** 2))


def normal_limit(false_alarm: float, dof: float, sides: int = 2) -> float:
    """Limit on one score: Student's quantile."""
    from scipy.special import stdtrit

    return float(stdtrit(dof, 1.0 - false_alarm / sides))


def graded(value: float, reject: float, caution: float = float("inf")) -> Verdict:
    """Verdict of a value against its two limits."""
    if value > reject:
        return "rejected"
    return "caution" if value > caution else "fine"


def not_made(look: Look, code: str, why: str, unit: str = "") -> Check:
    """Return a check that could not be made, with the reason."""
    nan = float("nan")
    return Check(code, nan, nan, unit, 0.0, "fine", f"Not checked: {why}.", {"time": look.evidence.time})


__all__ = ["Look", "graded", "normal_limit", "not_made"]
