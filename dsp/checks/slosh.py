"""Is there a second slow swing beside the roll: free liquid, or the vessel surging on her lines in step?"""

from __future__ import annotations

import numpy as np
from scipy.special import fdtri

from dsp.checks.budget import CAUTION
from dsp.checks.look import Look, not_made
from dsp.types import Check, Verdict


def check(look: Look) -> Check:
    """Steady sine slower than the roll against the window's own covariance, maximised over its frequency."""
    evidence, length = look.evidence, look.length
    top = 0.7 / look.period if np.isfinite(look.period) else 0.1 / evidence.step
    low = 3.0 / length
    if top <= low:
        return not_made(look, "slosh", "the window is too short for a swing slower than the roll")
    frequency = np.arange(low, top, 0.4 / length)
    turn = 2.0 * np.pi * frequency[:, None] * look.seconds[None, :]
    cosine, sine = look.turned(np.cos(turn)), look.turned(np.sin(turn))
    energy = np.array([_pair(c, s, look) for c, s in zip(cosine, sine, strict=True)])
    # Independent frequencies lie 1 / length apart; the largest value between them counts as about three times as many
    # (Quinn and Hannan, The Estimation and Tracking of Frequency, 2001: maximum of the periodogram on a finer grid).
    trials = max(1.0, 3.0 * (top - low) * length)
    limit = 2.0 * float(fdtri(2, look.dof, 1.0 - CAUTION["slosh"] / trials))
    at = int(np.argmax(energy))
    value = float(energy[at])
    verdict: Verdict = "caution" if value > limit else "fine"
    says = (
        f"The strongest steady swing slower than the roll has a period of {1 / frequency[at]:.0f} s, chi-square "
        f"{value:.0f} (limit {limit:.0f})" + ("; look for free liquid." if verdict == "caution" else ".")
    )
    arrays = {"time": evidence.time, "low": evidence.low, "frequency": frequency, "energy": energy}
    return Check("slosh", value, limit, "chi-square", CAUTION["slosh"], verdict, says, arrays)


def _pair(cosine: np.ndarray, sine: np.ndarray, look: Look) -> float:
    rest = look.rest
    a, b, c = float(cosine @ cosine), float(cosine @ sine), float(sine @ sine)
    x, y = float(cosine @ rest), float(sine @ rest)
    det = a * c - b * b
    if det <= 1e-12 * a * c:
        return x * x / max(a, 1e-300)
    return (c * x * x - 2 * b * x * y + a * y * y) / det
