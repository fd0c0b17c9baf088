"""How the stations of a window fared, for the checks on sensors."""

from __future__ import annotations

import numpy as np

from dsp.types import Verdict, WindowEvidence


def shares(evidence: WindowEvidence, mask: str) -> dict[str, float]:
    """Station -> share of its samples in the window under one of the masks of `dsp.types.StationMarks`."""
    return {m.station: float(np.mean(getattr(m, mask))) if getattr(m, mask).size else 0.0 for m in evidence.marks}


def sensor_verdict(evidence: WindowEvidence, bad: set[str]) -> Verdict:
    """Caution while a sound station is left, rejected if none is."""
    if not bad:
        return "fine"
    alive = {t.station for t, m in zip(evidence.traces, evidence.marks, strict=True) if int(m.good.sum()) >= 5}
    return "caution" if alive - bad else "rejected"


def named(values: dict[str, float]) -> tuple[str, float]:
    """Return the station with the largest value and that value; empty name where there is no station."""
    if not values:
        return "", 0.0
    name = max(values, key=lambda key: values[key])
    return name, values[name]
