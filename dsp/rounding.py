"""What rounding leaves in the mean of a window where she lies too still for it to average out."""

from __future__ import annotations

import numpy as np

from dsp.estimate import Evaluated
from dsp.prepare import Prepared
from dsp.types import Array


def rounding_u(prepared: Prepared, windows: list[Evaluated]) -> Array:
    """Return (k,) rad: standard uncertainty of each window's mean from the rounding of the readings.

    The mean of readings rounded to q is off by ``q / pi exp(-2 pi^2 s^2 / q^2) sin(...)`` where they scatter by s
    (first term of the characteristic function's series), by anything up to q / 2 where they do not scatter at all: here
    ``q / sqrt(12)`` times the exponential. s is judged from below, a quarter of q^2 being what rounding itself can add
    to the variance of readings. Each window and station has its own, and counts by the weight of the station.

    References
    ----------
    B. Widrow and I. Kollar, Quantization Noise, Cambridge 2008, chapter 4 (from memory).
    """
    found = np.zeros(len(windows))
    step = np.array([marks.resolution for marks in prepared.marks])
    if not (step > 0.0).any():
        return found
    own = np.maximum(prepared.noise, 1e-12)
    for k, one in enumerate(windows):
        weight = np.array([bins.count[one.index].sum() for bins in prepared.bins]) / own**2
        share = weight / max(float(weight.sum()), 1e-300)
        total = 0.0
        for s, (trace, marks) in enumerate(zip(prepared.traces, prepared.marks, strict=True)):
            low, high = (int(i) for i in np.searchsorted(trace.time, [one.span.start, one.span.stop]))
            value = trace.value[low:high][marks.good[low:high]]
            if step[s] > 0.0 and value.size and share[s] > 0.0:
                scatter = max(float(np.var(value)) - 0.25 * step[s] ** 2, 0.0)
                left = step[s] / np.sqrt(12.0) * np.exp(-2.0 * np.pi**2 * scatter / step[s] ** 2)
                total += (share[s] * left) ** 2
        found[k] = np.sqrt(total)
    return found
