"""Does the roll grow for a while, as in the wash of a tug or the waves of a passing vessel?"""

from __future__ import annotations

import numpy as np
from scipy.special import fdtrc, fdtri

from dsp.checks.budget import REJECT
from dsp.checks.look import Look, not_made
from dsp.checks.swing import Swing, swing_of
from dsp.types import Check, Verdict


def check(look: Look) -> Check:
    """Strongest run of pushes against the other pushes of the window: F, Bonferroni over all runs."""
    swing = swing_of(look)
    if swing is None:
        return not_made(look, "burst", "fewer than six roll periods")
    chance, first, count, ratio, runs = _strongest(swing)
    limit = float(fdtri(*_dof(count, swing.push.size), 1.0 - REJECT["burst"] / runs))
    verdict: Verdict = "rejected" if chance * runs < REJECT["burst"] else "fine"
    grows = float(np.abs(swing.amplitude[first : first + count + 1]).max())
    says = (
        f"The strongest {count} of {swing.push.size} roll periods are pushed {np.sqrt(ratio):.1f} times as hard as the "
        f"others (limit {np.sqrt(limit):.1f})"
        + (f"; the roll grows to {np.rad2deg(grows):.3f} deg, as in wash." if verdict == "rejected" else ".")
    )
    evidence = {
        "time": look.evidence.time,
        "roll": look.evidence.roll,
        "period_time": swing.time,
        "amplitude": np.abs(swing.amplitude),
        "push": np.abs(swing.push),
        "run": np.array([swing.time[first], swing.time[first + count]]),
    }
    return Check("burst", ratio, limit, "ratio of variances", REJECT["burst"], verdict, says, evidence)


def _dof(count: int, size: int) -> tuple[float, float]:
    """Degrees of freedom of the two mean squares.

    An amplitude is an average over its period, so that neighbouring pushes share a quarter of each other (increments
    of averages of a random walk); the variance of a sum of their squares grows by 1 + 2 / 16 at most.
    """
    shared = 1.0 + 2.0 / 16.0
    inside = 2.0 * count / (1.0 if count == 1 else shared)
    return inside, 2.0 * (size - count) / shared


def _strongest(swing: Swing) -> tuple[float, int, int, float, int]:
    """Return chance of the unlikeliest run by itself, its first push, length and ratio, and the number of runs."""
    power = np.abs(swing.push) ** 2
    total = np.concatenate([[0.0], np.cumsum(power)])
    size, runs = power.size, 0
    best = (2.0, 0, 1, 0.0)
    for count in range(1, size // 2 + 1):
        inside = total[count:] - total[:-count]
        outside = np.maximum(total[-1] - inside, 1e-300)
        runs += inside.size
        at = int(np.argmax(inside))
        ratio = float(inside[at] / count / (outside[at] / (size - count)))
        chance = float(fdtrc(*_dof(count, size), ratio))
        if chance < best[0]:
            best = (chance, at, count, ratio)
    return (*best, runs)
