"""Bring the stations to one zero, one scale and one drift, and combine them on the grid.

Model of station ``s`` in window ``k``: ``mean[s, k] = h[k] + zero[s] + scale[s] h[k] + drift[s] (t[k] - t0) + error``.
``scale`` and ``drift`` have the priors of the calibration record, so that their common part, which no comparison of
stations can show, settles where the records together say (docs/method-heel.md, section 3). After the alignment a
station that falls silent moves neither the level nor the scale of the combination.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import chdtri

from config.units import COVERAGE_95, DEGREE
from dsp.bins import Binned, Grid, window_means
from dsp.types import Array, StationKnowledge, WindowSpan

ASSUMED_SCALE_U = 0.005 / COVERAGE_95
"""Relative standard uncertainty of scale where no calibration record says otherwise (0.5 % at 95 %)."""
ASSUMED_DRIFT_U = 0.01 * DEGREE / 3600.0 / COVERAGE_95
"""rad/s, standard uncertainty of drift of a lone station without a record (0.01 deg per hour at 95 %)."""
FREE_DRIFT_U = 0.2 * DEGREE / 3600.0
"""rad/s, prior of drift between stations where the record says nothing: wide enough to leave it to the data."""
LEAST_DRIFT_U = 1e-11
"""rad/s (2e-6 degrees an hour), taken where a record says that there is less, or none at all."""
CONFLICT = 1e-3
"""Probability by chance below which the stations' scales are said to contradict their records."""
SOLUTIONS = 12
"""Times the stations are aligned, each from the heel and the drifts of the one before; the last with their own
scatter."""
DRIFT_LAW = 3.0
"""Degrees of freedom of Student's law about a record's drift: most stations keep to it, and of one that is loose or
warms up it says nothing (judgement)."""
WANDER_SHARE = 0.005
"""Standard uncertainty of a window from wandering zeros, as a share of the day's heel, from which it is spoken of."""


@dataclass(frozen=True)
class Alignment:
    """What each station adds to the common heel, and what remains unknown of the combination."""

    zero: Array
    """(s,) rad, against the combination."""
    scale: Array
    """(s,) relative, against the combination."""
    drift: Array
    """(s,) rad/s, against the combination."""
    centre: float
    """s since the epoch, where drift is nought."""
    scale_u: float
    """Relative standard uncertainty of the combination's scale."""
    drift_u: float
    """rad/s, standard uncertainty of the combination's drift."""
    residual: Array
    """(s, k) rad, window means of each station minus the combination after alignment; NaN where there are none."""
    residual_u: Array
    """(s, k) rad, standard uncertainty expected of ``residual``."""
    wander_u: float
    """rad, standard uncertainty of the combination's mean in one window from wandering zeros, beyond straight drift."""
    assumptions: tuple[str, ...]
    conflict: str = ""
    """Where the stations differ by more than records and noise explain, a sentence; the interval holds it."""


def align(
    grid: Grid,
    bins: tuple[Binned, ...],
    noise: Array,
    knowledge: tuple[StationKnowledge, ...],
    windows: tuple[WindowSpan, ...],
) -> Alignment:
    """Find zero, scale and drift of each station against the others from the window means of the day.

    Parameters
    ----------
    bins : one for each station, on ``grid``.
    noise : (s,) rad, standard deviation of one reading.
    knowledge : one for each station.
    """
    stations, count = len(bins), len(windows)
    mean, share = window_means(grid, bins, windows)
    u = np.nan_to_num(noise)[:, None] * share + 1e-9
    scale_prior = np.array([k.scale_u if np.isfinite(k.scale_u) else ASSUMED_SCALE_U for k in knowledge])
    drift_prior = np.array([k.drift_u if np.isfinite(k.drift_u) else FREE_DRIFT_U for k in knowledge])
    drift_prior = np.maximum(drift_prior, LEAST_DRIFT_U)
    centre = float(np.mean([0.5 * (w.start + w.stop) for w in windows])) if windows else grid.start
    times = np.array([0.5 * (w.start + w.stop) - centre for w in windows])
    assumptions = _assumptions(knowledge)
    error = np.full(stations, 0.0)
    zero, scale, drift, heel = np.zeros(stations), np.zeros(stations), np.zeros(stations), np.zeros(count)
    residual = np.full_like(mean, np.nan)
    for step in range(SOLUTIONS):
        believed = drift_believed(drift, drift_prior)
        zero, scale, drift, heel = _solve(mean, np.hypot(u, error[:, None]), scale_prior, believed, times, heel)
        residual = mean - heel - zero[:, None] - scale[:, None] * heel - drift[:, None] * times
        # Once, when the product of scale and heel has settled: again and again, a station that contradicts its record
        # would be explained away, a little more each time.
        error = _extra(residual, u) if step == SOLUTIONS - 2 else error
    error = np.maximum(error, _extra(residual, u))
    wander_u = float(np.sqrt(np.mean(error**2) / stations))
    scale_u, conflict = _common_scale(scale, scale_prior, knowledge)
    drift_u, drifts = _common_drift(drift, drift_prior, knowledge)
    conflict = " ".join(said for said in (conflict, drifts) if said)
    seen = heel[np.isfinite(mean).any(axis=0)]
    if not conflict and seen.size and wander_u > WANDER_SHARE * float(np.ptp(seen)):
        wander = f"{np.rad2deg(np.max(error)):.3f} deg"
        conflict = f"The stations wander against each other by some {wander} from window to window."
    return Alignment(
        zero=zero,
        scale=scale,
        drift=drift,
        centre=centre,
        scale_u=scale_u,
        drift_u=drift_u,
        residual=residual,
        residual_u=np.hypot(u, error[:, None]),
        wander_u=wander_u,
        assumptions=(*assumptions, conflict) if conflict else assumptions,
        conflict=conflict,
    )


def _common_scale(scale: Array, prior: Array, knowledge: tuple[StationKnowledge, ...]) -> tuple[float, str]:
    """Relative standard uncertainty of the combination's scale, and what is said if the records cannot all be right.

    Departures from the common scale wider than the records allow widen it by their chi square (Birge's ratio). Where
    chance does not explain them any one station may be the right one: the combination is then not known better than by
    the largest departure.
    """
    bounded = np.maximum(prior, 1e-7)
    alone = float(1.0 / np.sqrt(np.sum(1.0 / bounded**2)))
    if scale.size < 2:
        return alone, ""
    chi2 = float(np.sum((scale / bounded) ** 2))
    widened = alone * float(np.sqrt(max(1.0, chi2 / (scale.size - 1))))
    if chi2 <= float(chdtri(scale.size - 1, CONFLICT)):
        return widened, ""
    each = ", ".join(f"{k.name} {100 * s:+.1f} %" for k, s in zip(knowledge, scale, strict=True))
    says = (
        f"The stations' scales differ by more than their records allow ({each} of the mean); any may be the right one."
    )
    return max(widened, float(np.max(np.abs(scale)))), says


def _solve(
    mean: Array, u: Array, scale_prior: Array, drift_prior: Array, times: Array, heel: Array
) -> tuple[Array, Array, Array, Array]:
    """Solve for window heels and the stations' zero, scale, drift with their priors; linear in each pass."""
    stations, count = mean.shape
    if not heel.any():
        heel = _nanmean(mean)
    size = count + 3 * stations
    rows, right = [], []
    for s in range(stations):
        for k in range(count):
            if np.isfinite(mean[s, k]):
                row = np.zeros(size)
                row[k] = 1.0
                row[count + s] = 1.0
                row[count + stations + s] = heel[k]
                row[count + 2 * stations + s] = times[k]
                rows.append(row / u[s, k])
                right.append(mean[s, k] / u[s, k])
    for s in range(stations):
        for column, prior in (
            (count + s, 0.1),
            (count + stations + s, max(scale_prior[s], 1e-7)),
            (count + 2 * stations + s, drift_prior[s]),
        ):
            row = np.zeros(size)
            row[column] = 1.0 / prior
            rows.append(row)
            right.append(0.0)
    for k in range(count):
        if not np.isfinite(mean[:, k]).any():
            row = np.zeros(size)
            row[k] = 1.0
            rows.append(row)
            right.append(0.0)
    matrix = np.array(rows)
    norm = np.sqrt(np.sum(matrix**2, axis=0))
    norm[norm == 0] = 1.0
    solution = np.linalg.lstsq(matrix / norm, np.array(right), rcond=1e-13)[0] / norm
    return (
        solution[count : count + stations],
        solution[count + stations : count + 2 * stations],
        solution[count + 2 * stations :],
        solution[:count],
    )


def _nanmean(value: Array) -> Array:
    """Mean over the first axis of what is there, 0 where nothing is."""
    here = np.isfinite(value)
    total = np.where(here, value, 0.0).sum(axis=0)
    return np.asarray(total / np.maximum(here.sum(axis=0), 1))


def _extra(residual: Array, u: Array) -> Array:
    """Scatter of each station's window means beyond its noise; robust against a window or two that went wrong.

    It is taken from the plain mean of the stations: from a weighted one, the station that was believed a little more
    would have the less scatter, and be believed more yet.
    """
    stations, count = residual.shape
    extra = np.zeros(stations)
    if stations < 2:
        return extra
    residual = residual - _nanmean(residual)
    free = max(1.0, count - 3.0) / count * (stations - 1.0) / stations
    for s in range(stations):
        here = np.isfinite(residual[s])
        if here.sum() >= 4:
            spread = 1.4826 * float(np.median(np.abs(residual[s][here]))) / np.sqrt(free)
            extra[s] = np.sqrt(max(0.0, spread**2 - float(np.median(u[s][here] ** 2))))
    return extra


def drift_believed(drift: Array, prior: Array) -> Array:
    """Standard uncertainty (s,) of drift that a record is taken for, once its station was seen to drift so (rad/s).

    Student's law of v degrees of freedom about nought is a normal one whose variance is ``prior^2 (v + x^2) / (v + 1)``
    for a drift of x times ``prior`` (iteratively reweighted least squares: K. L. Lange, R. J. A. Little, J. M. G.
    Taylor, Robust statistical modeling using the t distribution, J. Am. Stat. Assoc. 84 (1989) 881-896, from memory).
    So one station that drifts where the others keep to their records is let drift, and takes none of them with it.

    >>> drift_believed(np.array([0.0, 20.0]), np.ones(2)).round(1)
    array([ 1., 10.])
    """
    ratio = (DRIFT_LAW + (drift / prior) ** 2) / (DRIFT_LAW + 1.0)
    return np.asarray(prior * np.sqrt(np.maximum(ratio, 1.0)))


def _common_drift(drift: Array, prior: Array, knowledge: tuple[StationKnowledge, ...]) -> tuple[float, str]:
    """Drift of the combination: from the records where there are any, else from how the stations drift apart.

    Where records are contradicted, and not by a few stations against most others, nobody can say which of them drifts:
    the combination may then drift as the worst of them.
    """
    known = np.array([k.drift_u for k in knowledge])
    stations = known.size
    usable = np.isfinite(known)
    if usable.any() and stations > 1:
        believed = drift_believed(drift, prior)
        alone = float(1.0 / np.sqrt(np.sum(1.0 / believed**2)))
        if not usable.all():
            alone = max(alone, float(np.max(known[usable]) / np.sqrt(stations)))
        odd = usable & (np.abs(drift) > np.sqrt(chdtri(1.0, CONFLICT / stations)) * prior)
        if not odd.any():
            return alone, ""
        each = " and ".join(
            f"{k.name} by {np.rad2deg(3600.0 * d):+.3f} deg an hour"
            for k, d, out in zip(knowledge, drift, odd, strict=True)
            if out
        )
        if 2 * int(odd.sum()) < stations:
            return alone, f"Against the others drifts {each}, more than its record allows; it was taken off."
        return max(alone, float(np.max(np.abs(drift)))), (
            f"The stations drift apart by more than their records allow ({each} from their mean); any may be right."
        )
    if usable.any():
        return float(known[0]), ""
    if stations == 1:
        return ASSUMED_DRIFT_U, ""
    from scipy.special import stdtrit

    spread = float(np.sqrt(np.sum(drift**2) / (stations - 1)))
    widened = float(stdtrit(stations - 1, 0.975)) / COVERAGE_95
    lone = min(max(spread * widened, 0.1 * ASSUMED_DRIFT_U), 3.0 * ASSUMED_DRIFT_U + spread)
    return lone / float(np.sqrt(stations)), ""


def _assumptions(knowledge: tuple[StationKnowledge, ...]) -> tuple[str, ...]:
    said = []
    no_scale = [k.name for k in knowledge if not np.isfinite(k.scale_u)]
    if no_scale:
        said.append(f"No calibration record gives the scale of {', '.join(no_scale)}: 0.5 % at 95 % assumed.")
    no_drift = [k.name for k in knowledge if not np.isfinite(k.drift_u)]
    if no_drift and len(knowledge) == 1:
        said.append(f"Nothing is known of the drift of {no_drift[0]}: 0.01 deg per hour at 95 % assumed.")
    elif no_drift:
        said.append(f"Drift of {', '.join(no_drift)} is judged from how the stations drift apart.")
    return tuple(said)


def combined(grid: Grid, bins: tuple[Binned, ...], noise: Array, alignment: Alignment) -> tuple[Array, Array, Array]:
    """Combine the aligned stations, each with the weight of its noise.

    Returns
    -------
    heel : (n,) rad, NaN where every station is silent.
    variance : (n,) rad2 of its white noise.
    aligned : (s, n) rad, each station after alignment, NaN where silent.
    """
    time = grid.time - alignment.centre
    aligned = np.array(
        [
            (one.mean - alignment.zero[s] - alignment.drift[s] * time) / (1.0 + alignment.scale[s])
            for s, one in enumerate(bins)
        ]
    )
    known = np.where(np.isfinite(noise) & (noise > 0), noise, np.nan)
    floor = float(np.nanmedian(known)) * 0.1 if np.isfinite(known).any() else 1e-6
    own = np.maximum(np.nan_to_num(known, nan=floor), max(floor, 1e-7))
    counts = np.array([one.count for one in bins])
    weight = np.where(np.isfinite(aligned), counts / own[:, None] ** 2, 0.0)
    total = weight.sum(axis=0)
    with np.errstate(invalid="ignore", divide="ignore"):
        heel = np.where(total > 0, np.nansum(np.where(weight > 0, aligned * weight, 0.0), axis=0) / total, np.nan)
        variance = np.where(total > 0, 1.0 / total, np.nan)
    return np.asarray(heel), np.asarray(variance), np.asarray(aligned)
