"""The day's low-frequency heel: cut the record into stretches where nothing moves, fit spectrum and wind to them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from config.units import DEGREE
from dsp.bins import Grid
from dsp.contrast import Compressor, Contrast, Stretch
from dsp.motion import Hats, roll_covariance
from dsp.reml import SLOW, SLOW_AIR, Known, LowFit, fit
from dsp.spectrum import Pooled, expected, nonnegative_fit
from dsp.types import Array
from dsp.wind import SMOOTHING, Pressure, log_prior, smoothed, unlike_gusts

BELOW_ROLL = 0.6
"""The low-frequency band ends at this share of the roll frequency."""
USUAL_COEFFICIENT = 0.7 * DEGREE / 100.0
"""rad per (m/s)^2, prior standard uncertainty of the wind coefficient: 10 m/s abeam heel most vessels by less
than twice 0.7 degrees (windage 500 m2, lever 6 m, 2000 t, GM 1 m: 0.6 degrees; GM 0.5 m: 1.2). It only counts in
light air."""
HIGHEST = 0.15
"""Hz, where it ends at the latest."""


@dataclass(frozen=True)
class Cut:
    """Where a stretch lies, and how its roll is."""

    part: slice
    """Bins of the day's grid."""
    roll_variance: float


@dataclass(frozen=True)
class LowHeel:
    """What the day says about low-frequency heel and wind."""

    fit: LowFit
    compressor: Compressor
    regressors: Array
    """(n, r) of the wind on the day's grid, r = 0 without."""
    smoothing: float
    """s, of the first regressor; NaN without wind."""
    unsettled_u: float
    """rad per (m/s)^2, what the coefficient may be off by since the smoothing is not certain; 0 without wind."""
    contrasts: tuple[Contrast, ...]
    """One for each stretch."""

    known: Known

    def fitted_to(self, contrasts: tuple[Contrast, ...]) -> LowHeel:
        """Fit again to other contrasts, such as those of the windows that nothing spoilt."""
        return replace(self, fit=fit(self.fit.hats, list(contrasts), self.fit.free, self.known), contrasts=contrasts)

    def with_differences(self, extra: Contrast) -> LowHeel:
        """Fit again with differences between windows of one state of the weights, which show what is slower."""
        return replace(self.fitted_to((*self.contrasts, extra)), contrasts=self.contrasts)


def low_heel(
    step: float,
    heel: Array,
    variance: Array,
    cuts: list[Cut],
    roll_frequency: float,
    damping: float,
    wind: Pressure | None,
    look: Pooled,
) -> LowHeel:
    """Fit the low-frequency spectrum of the day, with the wind's coefficient where there is wind.

    The time over which gusts at mast and hull are alike is chosen from `SMOOTHING` by likelihood and `log_prior`.
    """
    cuts = [c for c in cuts if np.isfinite(heel[c.part]).sum() >= 3]
    lengths = [(c.part.stop - c.part.start) * step for c in cuts]
    typical = float(np.median(lengths)) if lengths else 60.0
    highest = min(HIGHEST, BELOW_ROLL * roll_frequency) if np.isfinite(roll_frequency) else HIGHEST
    highest = max(min(highest, 0.2 / step), 1.5 / typical)
    longest = max(lengths, default=60.0)
    spread = (max(c.part.stop for c in cuts) - min(c.part.start for c in cuts)) * step if cuts else longest
    hats = Hats.between(0.5 / longest, highest, 0.5 / step, 0.5 / spread)
    start = whole_band(look, hats, step, roll_frequency, damping, float(np.nanmedian(variance)))
    compressor = Compressor(hats, start[hats.low :], step, roll_frequency, damping)
    smoothings = SMOOTHING if wind is not None else (float("nan"),)
    made = [smoothed(wind.value, step, tau) for tau in SMOOTHING] if wind is not None else []
    every = np.column_stack(made) if made else np.zeros((heel.size, 0))
    seen = [compressor.contrast(s) for s in stretches(heel, variance, cuts, every)]
    tried: list[tuple[float, LowHeel]] = []
    for number, smoothing in enumerate(smoothings):
        unlike, slow, prior = np.zeros(hats.node.size), SLOW_AIR, 0.0
        if wind is not None:
            unlike, slow = unlike_gusts(wind.value, step, smoothing, hats), SLOW
            prior = log_prior(smoothing, wind.speed)
        regressors = every[:, number : number + 1]
        known = Known(np.full(regressors.shape[1], USUAL_COEFFICIENT), slow, unlike)
        contrasts = [one.with_pressure(number) for one in seen]
        found = fit(hats, contrasts, start, known)
        low = LowHeel(found, compressor, regressors, smoothing, 0.0, tuple(contrasts), known)
        tried.append((found.log_likelihood + prior, low))
        start = found.free
    best = max(tried, key=lambda one: one[0])[1]
    return best if wind is None else replace(best, unsettled_u=_unsettled_u(tried, best))


def _unsettled_u(tried: list[tuple[float, LowHeel]], best: LowHeel) -> float:
    """Root mean square by which the coefficient is off the chosen one over all smoothings, each by its odds.

    0 without wind.
    """
    if not best.fit.coefficient.size:
        return 0.0
    odds = np.exp([worth - max(w for w, _ in tried) for worth, _ in tried])
    away = np.array([float(low.fit.coefficient[0] - best.fit.coefficient[0]) for _, low in tried])
    more = np.array(
        [float(low.fit.coefficient_covariance[0, 0] - best.fit.coefficient_covariance[0, 0]) for _, low in tried]
    )
    return float(np.sqrt(max(float(odds @ (away**2 + more)) / float(odds.sum()), 0.0)))


def on_another_grid(low: LowHeel, grid: Grid, wind: Pressure | None) -> LowHeel:
    """Carry what the day taught to a grid of the same step over another piece of record."""
    if low.regressors.shape[1] and wind is not None:
        return replace(low, regressors=smoothed(wind.value, grid.step, low.smoothing)[:, None])
    without = replace(low.fit, coefficient=np.zeros(0), coefficient_covariance=np.zeros((0, 0)))
    return replace(low, fit=without, regressors=np.zeros((grid.size, 0)))


def stretches(heel: Array, variance: Array, cuts: list[Cut], regressors: Array) -> list[Stretch]:
    """Cut stretches from the day's grid; bins without samples are left out."""
    made = []
    for cut in cuts:
        index = np.arange(cut.part.start, cut.part.stop)
        index = index[np.isfinite(heel[index])]
        made.append(Stretch(index, heel[index], variance[index], regressors[index], cut.roll_variance))
    return [s for s in made if s.index.size >= 3]


def contrast_of(low: LowHeel, heel: Array, variance: Array, cut: Cut) -> Contrast | None:
    """See one window as the fit sees its stretches."""
    made = stretches(heel, variance, [cut], low.regressors)
    return low.compressor.contrast(made[0]) if made else None


def whole_band(look: Pooled, hats: Hats, step: float, roll_frequency: float, damping: float, white: float) -> Array:
    """Fit the whole pooled spectrum, roll and white noise included, by amounts of hats; (p,) rad2/Hz.

    The low nodes are a start for the likelihood; those above stay, since they hardly touch a mean.
    """
    if look.frequency.size < 4:
        return np.full(hats.node.size, 1e-9)
    size = 2 * (look.frequency.size - 1)
    lags = np.arange(look.length) * step
    parts = expected(hats.covariance(lags), step, look.length, size)
    if np.isfinite(roll_frequency):
        roll = expected(roll_covariance(lags, roll_frequency, damping), step, look.length, size)
        parts = np.vstack([parts, roll])
    use = look.frequency > 1.5 / (look.length * step)
    parts = np.maximum(parts[:, use], 1e-12)
    density = np.maximum(look.density[use], 1e-24)
    fixed = np.full(density.size, 2.0 * step * white)
    amount = nonnegative_fit(parts, density, fixed, 0.3 * np.median(density) / parts.max(axis=1) + 1e-24)
    seen = int(np.searchsorted(hats.node, 0.5 / (look.length * step)))
    amount[:seen] = amount[min(seen, hats.node.size - 1)]
    return np.maximum(amount[: hats.node.size], 1e-3 * 2.0 * step * white + 1e-20)
