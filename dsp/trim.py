"""What trim does to a heel sensor not mounted exactly fore and aft: it reads ``cos(yaw) heel + sin(yaw) trim``."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from config.units import COVERAGE_95, DEGREE
from dsp.types import Array, StationKnowledge, Trace, WindowSpan

ASSUMED_YAW_U = 2.0 * DEGREE / COVERAGE_95
"""rad, standard uncertainty of a mounting's yaw where nothing is known (2 degrees at 95 %)."""
ASSUMED_TRIM_U = 0.02 * DEGREE / COVERAGE_95
"""rad, standard uncertainty of each window's trim about the day's where trim is not measured (0.02 degrees at 95 %)."""


@dataclass(frozen=True)
class CrossTalk:
    """Uncertainty that trim brings into the windows' heels."""

    covariance: Array
    """(k, k) rad2 of the window heels."""
    scale_u: float
    """Relative; what a yawed sensor under-reads, ``yaw^2 / 2``, of the combination."""
    assumptions: tuple[str, ...]


def cross_talk(
    trim: tuple[Trace, ...], knowledge: tuple[StationKnowledge, ...], windows: tuple[WindowSpan, ...]
) -> CrossTalk:
    """Propagate the mountings' yaw times the change of trim from window to window.

    Parameters
    ----------
    trim : trim channels, if any; their zeros do not matter.
    knowledge : one for each heel station combined.
    windows : k of them.
    """
    said: list[str] = []
    unknown = [k.name for k in knowledge if not np.isfinite(k.yaw_u)]
    if unknown:
        said.append(f"Nothing is known of how {', '.join(unknown)} point: yaw within 2 deg at 95 % assumed.")
    yaw = np.array([k.yaw_u if np.isfinite(k.yaw_u) else ASSUMED_YAW_U for k in knowledge])
    together = float(np.sqrt(np.sum(yaw**2)) / max(yaw.size, 1))
    means = _means(trim, windows)
    change = _changes(means)
    missing = ~np.isfinite(change)
    if missing.any() and windows:
        measured = int(np.isfinite(means).any(axis=0).sum())
        if measured == 0:
            why = "Trim was not measured"
        elif measured == 1:
            why = "Trim was measured in one window only, which tells no change of it"
        elif missing.all():
            why = "Trim was measured by no channel in two windows, which tells no change of it"
        else:
            why = "Trim was not measured in some windows"
        said.append(f"{why}: steady within 0.02 deg at 95 % assumed.")
    known = np.where(missing, 0.0, change)
    covariance = together**2 * (np.outer(known, known) + np.diag(np.where(missing, ASSUMED_TRIM_U**2, 0.0)))
    under = float(np.sqrt(np.sum((np.sqrt(3.0) / 2.0 * yaw**2) ** 2)) / max(yaw.size, 1))
    return CrossTalk(covariance=covariance, scale_u=under, assumptions=tuple(said))


def _means(trim: tuple[Trace, ...], windows: tuple[WindowSpan, ...]) -> Array:
    """Level of each trim channel in each window, (channels, windows); NaN where it has too few readings."""
    means = np.full((len(trim), len(windows)), np.nan)
    for row, trace in zip(means, trim, strict=True):
        for k, span in enumerate(windows):
            low, high = (int(i) for i in np.searchsorted(trace.time, [span.start, span.stop]))
            inside = trace.value[low:high]
            inside = inside[np.isfinite(inside)]
            if inside.size >= 3:
                row[k] = float(np.median(inside))
    return means


def _changes(means: Array) -> Array:
    """Trim of each window against the day's, over the channels that were on in two windows at least; else NaN."""
    rows = [row - float(np.nanmean(row)) for row in means if np.isfinite(row).sum() >= 2]
    if not rows:
        return np.full(means.shape[1], np.nan)
    table = np.array(rows)
    here = np.isfinite(table)
    total = np.where(here, table, 0.0).sum(axis=0)
    return np.where(here.any(axis=0), total / np.maximum(here.sum(axis=0), 1), np.nan)
