"""The picture behind a verdict: curves of one check, thinned to what a screen can show."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from config.units import DEGREE
from dsp.types import Check, WindowHeel
from quietheel.page.words import number_or_none

MOST_POINTS = 600
"""Points of one curve that are sent."""
_UNITS = {"_m_s": ("m/s", 1.0), "_kN": ("kN", 1.0), "_N": ("kN", 1e-3), "_s": ("s", 1.0), "_deg": ("deg", 1.0)}
"""Ending of a curve's name -> unit shown and factor; a curve without one is an angle in rad."""


def window_detail(window: WindowHeel, checks: tuple[Check, ...], epoch_ns: int) -> dict[str, Any]:
    """What a click on a window opens: each station's heel, what spoke against it with a picture, what it passed."""
    stations = [
        {
            "name": one.station,
            "heel_deg": number_or_none(one.heel / DEGREE),
            "u95_deg": number_or_none(1.96 * one.u / DEGREE),
            "rate_hz": number_or_none(one.rate),
            "says": "" if one.used else f"not used: {one.reason}",
        }
        for one in window.stations
    ]
    against = [check for check in checks if check.verdict != "fine"]
    unmade = [check.code for check in checks if check.verdict == "fine" and not np.isfinite(check.threshold)]
    passed = [check.code for check in checks if check.verdict == "fine" and check.code not in unmade]
    clean = f"Passed: {', '.join(passed)}." if passed else ""
    if unmade:
        clean += f" Could not be asked: {', '.join(unmade)}."
    return {
        "stations": stations,
        "checks": [
            {"code": c.code, "verdict": c.verdict, "says": c.says, "picture": picture(c.evidence, epoch_ns)}
            for c in sorted(against, key=lambda c: c.verdict != "rejected")
        ],
        "clean": clean.strip(),
    }


def picture(evidence: dict[str, NDArray[np.float64]], epoch_ns: int) -> dict[str, Any] | None:
    """Turn named arrays into curves over one axis; None where there is nothing to draw.

    >>> picture({"time": np.array([0.0, 1.0]), "heel": np.array([0.0, DEGREE])}, 0)["curves"]
    {'heel': [0.0, 1.0]}
    """
    axis = next((name for name in ("time", "frequency") if name in evidence), None)
    if axis is None or evidence[axis].size < 2:
        return None
    x = np.asarray(evidence[axis], dtype=np.float64)
    group = -(-x.size // MOST_POINTS)
    unit, curves = "deg", {}
    for name, values in evidence.items():
        if name == axis or np.shape(values) != x.shape:
            continue
        ending = next((e for e in _UNITS if name.endswith(e)), None)
        shown, factor = _UNITS[ending] if ending else ("deg", 1.0 / DEGREE)
        unit = shown if not curves else unit
        if shown != unit:
            continue
        label = name.removesuffix(ending) if ending else name
        curves[label] = [number_or_none(round(v, 6)) for v in _thin(np.asarray(values) * factor, group).tolist()]
    if not curves:
        return None
    thinned = _thin(x, group)
    shown_x = thinned * 1e3 + epoch_ns / 1e6 if axis == "time" else thinned
    return {
        "x": np.round(shown_x, 3).tolist(),
        "timed": axis == "time",
        "x_unit": "" if axis == "time" else "Hz",
        "unit": unit,
        "curves": curves,
    }


def _thin(values: NDArray[np.float64], group: int) -> NDArray[np.float64]:
    """Mean of each group of neighbours; a window's evidence is smooth at the resolution of a screen."""
    if group <= 1:
        return values
    whole = values.size // group * group
    return np.asarray(values[:whole].reshape(-1, group).mean(axis=1))
