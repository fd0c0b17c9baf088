"""Was the window opened before she had settled: a swing at the start that dies away?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import fdtr, fdtri

from dsp.checks.budget import CAUTION
from dsp.checks.look import Look, not_made
from dsp.checks.swing import FEWEST, Swing, swing_of
from dsp.types import Check, Verdict


@dataclass(frozen=True)
class Opening:
    """The swing she opens with, against what the pushes of the same window keep up."""

    swing: Swing
    """Inside the window."""
    kept_up: float
    """rad2, mean square amplitude that the pushes keep up."""
    value: float
    """Square of the first amplitude over ``kept_up``: F with 2 and ``dof`` degrees of freedom."""
    dof: int

    @property
    def early(self) -> bool:
        """Whether she had not settled."""
        return self.value > self.limit

    @property
    def limit(self) -> float:
        """On ``value``."""
        return float(fdtri(2, self.dof, 1.0 - CAUTION["transient"]))

    def amplitude(self, time: float) -> float:
        """Rad, what of the swing at a time (s since the epoch) had still to die."""
        square = np.maximum(np.abs(self.swing.amplitude) ** 2 - self.kept_up, 0.0)
        return float(np.sqrt(np.interp(time, self.swing.time, square)))


def opening_of(look: Look) -> Opening | None:
    """Return the swing she opens with; None where there are too few roll periods to tell."""
    swing = swing_of(look)
    if swing is None or swing.last - swing.first < FEWEST:
        return None
    swing = swing.within()
    kept_up = float(np.mean(np.abs(swing.push) ** 2)) / (1.0 - swing.keep**2)
    return Opening(swing, kept_up, float(np.abs(swing.amplitude[0]) ** 2) / max(kept_up, 1e-300), 2 * swing.push.size)


def check(look: Look) -> Check:
    """First amplitude against what the pushes of the same window keep up: F with 2 and 2 (j - 1) degrees of freedom.

    The estimator models the transient, so that it costs little: a caution, no rejection.
    """
    opening = opening_of(look)
    if opening is None:
        return not_made(look, "transient", "too few roll periods")
    swing, value, limit = opening.swing, opening.value, opening.limit
    verdict: Verdict = "caution" if opening.early else "fine"
    says = (
        f"She opens with a swing of {np.rad2deg(abs(swing.amplitude[0])):.3f} deg, {np.sqrt(value):.1f} times what the "
        f"rest of the window keeps up (limit {np.sqrt(limit):.1f})"
        + ("; the window was opened early, the dying swing is taken out." if verdict == "caution" else ".")
    )
    evidence = {
        "time": look.evidence.time,
        "roll": look.evidence.roll,
        "transient": look.evidence.transient,
        "period_time": swing.time,
        "amplitude": np.abs(swing.amplitude),
        "chance": np.array([1.0 - float(fdtr(2, opening.dof, value))]),
    }
    return Check("transient", value, limit, "ratio of variances", CAUTION["transient"], verdict, says, evidence)
