"""Do the stations tell one heel, in the mean of the window and all through it?"""

from __future__ import annotations

import numpy as np
from scipy.special import stdtrit

from dsp.checks.budget import REJECT
from dsp.checks.look import Look, not_made
from dsp.types import Array, Check, Verdict

BLOCKS = 8
"""Pieces of a window whose means judge how steady a station is against the others."""


def check(look: Look) -> Check:
    """Largest of two scores of each station: its mean against the others, and its first half against its second.

    A window is rejected only if the disagreement also reaches the window's own uncertainty; else it is a caution.
    """
    evidence = look.evidence
    names = [s for s, r in evidence.station_residual.items() if int(np.isfinite(r).sum()) >= 4 * BLOCKS]
    if len(names) < 2:
        return not_made(look, "disagreement", "a single station has nobody to disagree with")
    scores: dict[str, tuple[float, float, str]] = {}
    for name in names:
        off, u = evidence.station_difference.get(name, (0.0, float("inf")))
        mean_score = abs(off) / u if u > 0 else 0.0
        shift, shift_u = _halves(evidence.station_residual[name])
        half_score = abs(shift) / shift_u if shift_u > 0 else 0.0
        # Six degrees of freedom behind the halves: brought to the scale of a normal score by equal chance.
        half_score = _as_normal(half_score, BLOCKS - 2)
        scores[name] = max((mean_score, off, "in the mean"), (half_score, shift, "between its two halves"))
    worst = max(scores, key=lambda name: scores[name][0])
    value, size, where = scores[worst]
    limit = float(stdtrit(1e6, 1.0 - REJECT["disagreement"] / (4 * len(names))))
    matters = abs(size) / len(names) > evidence.mean_u
    verdict: Verdict = "fine" if value <= limit else "rejected" if matters else "caution"
    says = (
        f"Station {worst} differs from the others by {np.rad2deg(size):+.4f} deg {where}, {value:.1f} times the "
        f"uncertainty (limit {limit:.1f})."
    )
    arrays: dict[str, Array] = {"time": evidence.time}
    arrays.update({f"station {name}": evidence.station_residual[name] for name in names})
    return Check("disagreement", value, limit, "standard uncertainties", REJECT["disagreement"], verdict, says, arrays)


def _halves(residual: Array) -> tuple[float, float]:
    """Return second half minus first half and its standard uncertainty, from the means of `BLOCKS` pieces."""
    pieces = [float(np.nanmean(p)) for p in np.array_split(residual, BLOCKS) if np.isfinite(p).any()]
    if len(pieces) < BLOCKS:
        return 0.0, float("inf")
    first, second = np.array(pieces[: BLOCKS // 2]), np.array(pieces[BLOCKS // 2 :])
    pooled = (first.var(ddof=1) + second.var(ddof=1)) / 2.0
    return float(second.mean() - first.mean()), float(np.sqrt(2.0 * pooled / (BLOCKS // 2)))


def _as_normal(score: float, dof: int) -> float:
    from scipy.special import ndtri, stdtr

    return float(-ndtri(max(float(stdtr(dof, -abs(score))), 1e-300)))
