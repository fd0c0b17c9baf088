"""The natural roll by three ways of looking, held against each other; and its drift through the day.

A review of a century of roll-decay analysis finds the smallest uncertainty of damping with the fit of a decaying cosine
and the largest with the logarithmic decrement (ASME J. Verif. Valid. Uncert. Quantif. 10(1)). At a berth roll is pushed
all the time, which a decaying cosine does not know; the likelihood of `dsp.roll` does.
"""

from __future__ import annotations

import numpy as np
from scipy.optimize import least_squares

from dsp.bins import Grid, interpolate_short
from dsp.roll import RollLaw, WindowRoll
from dsp.spectrum import Pooled
from dsp.types import Array, RollComparison, RollMethod, WindowSpan

FEWEST_PERIODS = 3.0
"""Periods a window must have for a decaying cosine."""
EXPLAINED = 0.5
"""Share of a window's scatter that its decaying cosine must explain to count."""
APART = 3.0
"""Standard uncertainties of the difference at which two methods disagree."""


def decaying_cosine(heel: Array, step: float, frequency: float, damping: float) -> tuple[float, float, float]:
    """Fit ``a + b t + exp(-zeta w t) (c cos w t + d sin w t)`` to an even stretch.

    The four linear amplitudes are solved inside (variable projection); frequency and damping outside.

    Parameters
    ----------
    heel : (n,) rad. step : s. frequency : Hz and damping : fraction, to start from.

    Returns
    -------
    frequency : Hz. damping : fraction of critical. explained : share of the scatter that it explains.

    References
    ----------
    G. H. Golub and V. Pereyra, The differentiation of pseudo-inverses and nonlinear least squares problems whose
    variables separate, SIAM J. Numer. Anal. 10 (1973) 413-432 (from memory).

    >>> t = np.arange(400) * 0.25
    >>> swing = 0.01 * np.exp(-0.02 * 0.8 * t) * np.cos(0.8 * t + 1.0)
    >>> f, z, share = decaying_cosine(swing, 0.25, 0.12, 0.03)
    >>> round(2 * np.pi * f, 3), round(z, 3), round(share, 3)
    (0.8, 0.02, 1.0)
    """
    time = np.arange(heel.size) * step
    size = float(np.std(heel)) or 1.0
    line = np.column_stack([np.ones(heel.size), time - time.mean()])
    level = heel - line @ np.linalg.lstsq(line, heel, rcond=None)[0]

    def rest(x: Array) -> Array:
        turn = 2.0 * np.pi * frequency * (1.0 + x[0]) * time
        fade = np.exp(-x[1] * turn)
        design = np.column_stack([line, fade * np.cos(turn), fade * np.sin(turn)])
        return np.asarray((heel - design @ np.linalg.lstsq(design, heel, rcond=None)[0]) / size)

    found = least_squares(rest, np.array([0.0, damping]), bounds=([-0.2, -0.02], [0.2, 0.5]))
    explained = 1.0 - float(np.sum(found.fun**2)) * size**2 / max(float(np.sum(level**2)), 1e-300)
    return frequency * (1.0 + float(found.x[0])), float(found.x[1]), explained


def compare_roll(
    grid: Grid,
    heel: Array,
    windows: tuple[WindowSpan, ...],
    rolls: tuple[WindowRoll, ...],
    law: RollLaw | None,
    look: Pooled,
) -> RollComparison | None:
    """Hold the likelihood's roll against decaying cosines and the spectrum; None where there is no law.

    Parameters
    ----------
    heel : (n,) rad on ``grid``. rolls : one for each window. look : pooled spectrum of the windows.
    """
    if law is None:
        return None
    period, period_u = 1.0 / law.frequency, law.frequency_u / law.frequency**2
    methods = [
        RollMethod("likelihood", period, period_u, law.damping, law.damping_u),
        _by_decay(grid, heel, windows, law),
        _by_spectrum(look, law.frequency),
    ]
    others = [m for m in methods[1:] if np.isfinite(m.period)]
    odd = [m for m in others if abs(m.period - period) > APART * float(np.hypot(m.period_u, period_u)) + 0.02 * period]
    drift, drift_u = _drift(windows, rolls)
    said = f"Roll period {period:.2f} s"
    if odd:
        said += "; " + ", ".join(f"{m.method} says {m.period:.2f} s" for m in odd) + ": look at the spectrum."
    elif others:
        said += f", {1 + len(others)} of 3 methods agree."
    else:
        said += "; neither of the other two methods makes it out."
    if np.isfinite(drift_u) and abs(drift) > APART * drift_u:
        said += f" It changes by {drift:+.2f} s per hour: something aboard or under the keel changes."
    return RollComparison(tuple(methods), not odd, drift, drift_u, said)


def _by_decay(grid: Grid, heel: Array, windows: tuple[WindowSpan, ...], law: RollLaw) -> RollMethod:
    nan = float("nan")
    periods, dampings = [], []
    for span in windows:
        part = interpolate_short(heel[grid.slice(span.start, span.stop)], 4)
        if not np.isfinite(part).all() or part.size * grid.step < FEWEST_PERIODS / law.frequency:
            continue
        frequency, damping, explained = decaying_cosine(part, grid.step, law.frequency, law.damping)
        if explained > EXPLAINED and damping > 0.0:
            periods.append(1.0 / frequency)
            dampings.append(damping)
    if not periods:
        return RollMethod("decaying cosine", nan, nan, nan, nan)
    count = len(periods)
    if count < 3:
        return RollMethod(
            "decaying cosine", float(np.mean(periods)), 0.03 / law.frequency, float(np.mean(dampings)), nan
        )
    return RollMethod(
        "decaying cosine",
        float(np.mean(periods)),
        float(np.std(periods, ddof=1) / np.sqrt(count)),
        float(np.mean(dampings)),
        float(np.std(dampings, ddof=1) / np.sqrt(count)),
    )


def _by_spectrum(look: Pooled, frequency: float) -> RollMethod:
    """Peak of the pooled spectrum near the law's frequency; its half width over the stretches is the uncertainty."""
    nan = float("nan")
    near = (look.frequency > 0.75 * frequency) & (look.frequency < 1.3 * frequency)
    if near.sum() < 5:
        return RollMethod("spectrum", nan, nan, nan, nan)
    f, s = look.frequency[near], look.density[near]
    top = int(np.argmax(s))
    high = f[s > 0.5 * s[top]]
    half = 0.5 * float(high[-1] - high[0]) + 0.5 * float(f[1] - f[0])
    return RollMethod(
        "spectrum", 1.0 / float(f[top]), half / float(f[top]) ** 2 / float(np.sqrt(look.stretches)), nan, nan
    )


def _drift(windows: tuple[WindowSpan, ...], rolls: tuple[WindowRoll, ...]) -> tuple[float, float]:
    """Weighted straight line of the windows' periods against time, s per hour."""
    nan = float("nan")
    pairs = [
        (0.5 * (w.start + w.stop) / 3600.0, 1.0 / r.frequency, r.frequency_u / r.frequency**2)
        for w, r in zip(windows, rolls, strict=True)
        if np.isfinite(r.frequency) and np.isfinite(r.frequency_u) and r.frequency_u > 0
    ]
    if len(pairs) < 3:
        return nan, nan
    time, period, u = np.array(pairs).T
    weight = u**-2.0
    centre = float(np.sum(weight * time) / weight.sum())
    lever = float(np.sum(weight * (time - centre) ** 2))
    if lever <= 0:
        return nan, nan
    return float(np.sum(weight * (time - centre) * period) / lever), float(1.0 / np.sqrt(lever))
