"""Does the roll grow for a while, as in the wash of a tug or the waves of a passing vessel?"""

from __future__ import annotations

import numpy as np
from scipy.special import fdtrc, fdtri

from dsp.checks.alike import alike
from dsp.checks.budget import REJECT
from dsp.checks.look import Look, not_made
from dsp.checks.swing import FEWEST, SHARED, Swing, swing_of
from dsp.types import Array, Check, Verdict


def check(look: Look) -> Check:
    """Strongest run of pushes against the window's other pushes and the day's: F, Bonferroni over all runs."""
    swing = swing_of(look)
    if swing is None:
        return not_made(look, "burst", f"fewer than {FEWEST} roll periods")
    usual, weight = _usual(look.evidence.other_push, look.evidence.other_push_dof)
    chance, first, count, ratio, dof, runs = _strongest(swing, usual, weight)
    limit = float(fdtri(_inside(count), dof, 1.0 - REJECT["burst"] / runs))
    verdict: Verdict = "rejected" if chance * runs < REJECT["burst"] else "fine"
    grows = float(np.abs(swing.amplitude[first : first + count + 1]).max())
    says = (
        f"The strongest {count} of {swing.push.size} roll periods are pushed {np.sqrt(ratio):.1f} times as hard as is "
        f"usual (limit {np.sqrt(limit):.1f})"
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


def _usual(push: Array, dof: Array) -> tuple[float, float]:
    """Return the day's usual mean square push and the degrees of freedom it deserves as a prior."""
    if push.size < 3:
        return 0.0, 0.0
    middle = float(np.median(push))
    if not middle > 0.0:
        return 0.0, 0.0
    return middle, min(alike(push / middle, dof), float(dof.sum()) / 1.57)


def _inside(count: int) -> float:
    return 2.0 * count / (1.0 if count == 1 else SHARED)


def _strongest(swing: Swing, usual: float, weight: float) -> tuple[float, int, int, float, float, int]:
    """Find the unlikeliest run of pushes.

    Parameters
    ----------
    usual, weight : mean square push of the day and its weight in degrees of freedom; 0 knows nothing.

    Returns
    -------
    Chance of the run by itself, its first push, its length, its ratio, degrees of freedom below, number of runs.
    """
    power = np.abs(swing.push) ** 2
    total = np.concatenate([[0.0], np.cumsum(power)])
    size, runs = power.size, 0
    best = (2.0, 0, 1, 0.0, 2.0)
    for count in range(1, size // 2 + 1):
        inside = total[count:] - total[:-count]
        rest = 2.0 * (size - count) / SHARED
        outside = np.maximum(total[-1] - inside, 0.0) / (size - count)
        below = (rest * outside + weight * usual) / (rest + weight)
        runs += inside.size
        ratios = inside / count / np.maximum(below, 1e-300)
        at = int(np.argmax(ratios))
        chance = float(fdtrc(_inside(count), rest + weight, ratios[at]))
        if chance < best[0]:
            best = (chance, at, count, float(ratios[at]), rest + weight)
    return (*best, runs)
