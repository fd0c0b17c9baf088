"""Where the uncertainty of GM comes from: one line a source, then the total (GUM 5.1.2, G.4.1).

Everything enters as a change of heel or of arm and passes through the fit's gain d GM / d heel, so that the budgets of
the straight line and of the true curve are made by the same sums.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dsp.types import BudgetLine, DayHeel, WindowHeel
from reduction.gm.curve import BENDS
from reduction.types import Quantified, State

Array = NDArray[np.float64]

ZERO_ASSUMED_U = float(np.deg2rad(0.25))
"""rad. True upright where no station's zero was calibrated: the initial list of up to 0.5 degrees at 95 % (common
practice) that a coordinator would notice."""
BM_PER_GM_ASSUMED = (10.0, 6.0)
"""Mean and standard deviation of BM / GM where no hydrostatics are known: judgement, for widening a straight line."""


def zero_of(day: DayHeel, moment: Array) -> float:
    """Standard uncertainty (rad) of the zero that all heels of a day share.

    Where no zero was calibrated upright is taken as known to 0.5 degrees at 95 %, or to what the windows read without
    their moments, if that is more: she may have that list, or the stations may be mounted so.

    Parameters
    ----------
    moment : (n,) of each window, in any unit; NaN where it is not known.
    """
    if np.isfinite(day.zero_u):
        return day.zero_u
    heel = np.array([w.heel for w in day.windows], dtype=float)
    there = np.isfinite(heel) & np.isfinite(moment)
    if not there.any():
        return ZERO_ASSUMED_U
    away = moment[there] - float(np.mean(moment[there]))
    square = float(away @ away)
    slope = float(away @ heel[there]) / square if square > 0.0 else 0.0
    return max(ZERO_ASSUMED_U, 0.5 * abs(float(np.median(heel[there] - slope * moment[there]))))


@dataclass(frozen=True)
class Lever:
    """How GM answers to each heel of a fit."""

    gm: float
    """m."""
    gain: Array
    """(n,) d GM / d heel, m/rad."""
    stiffness: Array
    """(n,) m/rad, d arm / d heel."""
    heel: Array
    """(n,) rad."""
    arm: Array
    """(n,) m."""


def sound(covariance: Array) -> Array:
    """Return a covariance that can be one: off-diagonal parts drawn in until every combination has a variance above 0.

    Estimated covariances between windows can promise more than there is; the windows' own variances are kept.
    Rows and columns of windows without a heel (NaN) stay as they are.
    """
    there = np.isfinite(np.diag(covariance))
    square = np.ix_(there, there)
    part = np.nan_to_num(covariance[square])
    part = 0.5 * (part + part.T)
    own = np.diag(np.diag(part))
    scale = np.sqrt(np.maximum(np.diag(part), 1e-300))
    for _ in range(60):
        lowest = float(np.linalg.eigvalsh(part / np.outer(scale, scale)).min(initial=1.0))
        if lowest > 1e-4:
            break
        part = own + 0.9 * (part - own)
    result = covariance.copy()
    result[square] = part
    return result


def moment_covariance(
    states: Sequence[State], inputs: Mapping[str, float], displacement: float
) -> tuple[Array, dict[str, Array]]:
    """Covariance of the arms, and each common input's column.

    Parameters
    ----------
    states : one for each window.
    inputs : standard uncertainty of each common input named in the states' sensitivities, in its own unit; an input
        without one is taken as scaled already (u = 1).
    displacement : kg.

    Returns
    -------
    (n, n) m2 in total, and name -> (n,) m, change of every arm for one standard uncertainty of that input.

    Notes
    -----
    Windows of one state stand on the same weights: their own part is one and the same error.
    """
    n = len(states)
    own = np.zeros((n, n))
    for i, a in enumerate(states):
        for j, b in enumerate(states):
            if i == j or (a is b) or (a.label and a.label == b.label and a.moment == b.moment):
                own[i, j] = a.moment_u * b.moment_u / displacement**2
    names = sorted({name for s in states for name in s.sensitivities})
    columns = {
        name: np.array([s.sensitivities.get(name, 0.0) for s in states]) * inputs.get(name, 1.0) / displacement
        for name in names
    }
    total = own + sum((np.outer(c, c) for c in columns.values()), np.zeros((n, n)))
    return total, columns


def heel_lines(lever: Lever, windows: Sequence[WindowHeel], covariance: Array) -> list[BudgetLine]:
    """Split the part of the heels by the sources that the windows name; the shares add up to the whole.

    Parameters
    ----------
    lever : the fit.
    windows : those of the fit.
    covariance : (n, n) rad2 of the heels, as given.
    """
    whole = float(lever.gain @ covariance @ lever.gain)
    share: dict[str, float] = {}
    for gain, window, own in zip(lever.gain, windows, np.diag(covariance), strict=True):
        lines = {line.source: line.u**2 for line in window.budget if "scale" not in line.source and line.u > 0}
        total = sum(lines.values())
        if total <= 0:
            lines, total = {"heel of the windows": 1.0}, 1.0
        for source, variance in lines.items():
            share[source] = share.get(source, 0.0) + gain**2 * own * variance / total
    between = float(lever.gain @ (covariance - np.diag(np.diag(covariance))) @ lever.gain)
    if between > 0:
        share["drift and wind shared by windows"] = between
    total_share = sum(share.values())
    if total_share <= 0:
        return []
    return [BudgetLine(name, float(np.sqrt(whole * part / total_share))) for name, part in share.items()]


def common_lines(
    lever: Lever,
    day: DayHeel,
    zero_u: float,
    displacement: Quantified,
    arm_covariance: Array,
    columns: Mapping[str, Array],
) -> list[BudgetLine]:
    """Sources that reach all windows alike: scale, upright, displacement, moments."""
    lines = [BudgetLine("scale of the stations", abs(float(lever.gain @ lever.heel)) * _or_zero(day.scale_u))]
    lines.append(BudgetLine("true upright", abs(float(lever.gain.sum())) * zero_u))
    if displacement.u > 0:
        relative = displacement.u / displacement.value
        slope = float(lever.gain @ (lever.arm / lever.stiffness))
        lines.append(BudgetLine("displacement", abs(slope) * relative))
    by_arm = -lever.gain / lever.stiffness
    common = np.zeros_like(arm_covariance)
    for name, column in columns.items():
        common += np.outer(column, column)
        lines.append(BudgetLine(name, abs(float(by_arm @ column))))
    own = float(by_arm @ (arm_covariance - common) @ by_arm)
    if own > 0:
        lines.append(BudgetLine("positions of the weights", float(np.sqrt(own))))
    return [line for line in lines if line.u > 0]


def curvature_bias(lever: Lever, shape: str = "round") -> float:
    """d GM / d BM of a fit that takes the righting arm for straight: metre of GM over-read for a metre of BM.

    Parameters
    ----------
    shape : of the bend, key of `reduction.gm.curve.BENDS`; that of upright sides.
    """
    return float(lever.gain @ (-BENDS[shape](np.tan(lever.heel)) / lever.stiffness))


def total(value: float, lines: Sequence[BudgetLine], heel_dof: float, heel_sources: int, note: str = "") -> Quantified:
    """Combine a budget: root of the sum of squares, degrees of freedom by Welch-Satterthwaite (GUM G.4.1).

    Parameters
    ----------
    heel_dof : degrees of freedom of the first ``heel_sources`` lines taken together; the others count as known.
    """
    u2 = np.array([line.u**2 for line in lines])
    whole = float(u2.sum())
    heel = float(u2[:heel_sources].sum())
    dof = float("inf") if heel <= 0 or not np.isfinite(heel_dof) else heel_dof * (whole / heel) ** 2
    order = sorted(lines, key=lambda line: -line.u)
    return Quantified(value, float(np.sqrt(whole)), dof, tuple(order), "m", note)


def _or_zero(u: float) -> float:
    return u if np.isfinite(u) else 0.0
