"""The picture behind a verdict: curves of one check, thinned to what a screen can show."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from config.units import COVERAGE_95, DEGREE
from dsp.types import Check, WindowHeel
from quietheel.page.words import number_or_none, with_signs

MOST_POINTS = 600
"""Points of one curve that are sent."""
FEW_POINTS = 40
"""Fewer are drawn as points with whiskers: one value for each window, not a trace."""
MARGIN_S = 20.0
"""Shown of a whole day's trace on either side of the window."""
_NO_CURVE = {"moment", "used", "sorted", "score", "energy", "whitened", "pressure"}
"""Arrays of a check that are not in the unit of its picture."""
_NAMES = {
    "low": "heel without roll and wind",
    "transient": "dying swing",
    "wind_part": "wind's part",
    "shift": "off the curve",
    "line": "drift",
}
"""What a curve is called on screen, where its own name says too little."""
_UNITS = {"wind_speed": ("m/s", 1.0), "tension": ("kN", 1e-3)}
"""Beginning of a curve's name -> unit shown and factor; every other curve is an angle in rad."""


def window_detail(window: WindowHeel, checks: tuple[Check, ...], epoch_ns: int) -> dict[str, Any]:
    """What a click on a window opens: each station's heel, what spoke against it with a picture, what it passed."""
    stations = [
        {
            "name": one.station,
            "heel_deg": number_or_none(one.heel / DEGREE),
            "u95_deg": number_or_none(COVERAGE_95 * one.u / DEGREE),
            "rate_hz": number_or_none(one.rate),
            "says": "" if one.used else f"not used: {one.reason}",
        }
        for one in window.stations
    ]
    against = [check for check in checks if check.verdict != "fine"]
    unmade = [check.code for check in checks if check.verdict == "fine" and not np.isfinite(check.threshold)]
    failed = {check.code for check in against}
    passed = dict.fromkeys(c.code for c in checks if c.verdict == "fine" and c.code not in (*unmade, *failed))
    unmade = [code for code in dict.fromkeys(unmade) if code not in failed and code not in passed]
    clean = f"Passed: {', '.join(passed)}." if passed else ""
    if unmade:
        clean += f" Could not be asked: {', '.join(unmade)}."
    return {
        "stations": stations,
        "checks": [
            {
                "code": c.code,
                "verdict": c.verdict,
                "says": with_signs(c.says),
                "picture": picture(c.evidence, epoch_ns, (window.span.start, window.span.stop)),
            }
            for c in sorted(against, key=lambda c: c.verdict != "rejected")
        ],
        "clean": clean.strip(),
    }


def picture(
    evidence: dict[str, NDArray[np.float64]], epoch_ns: int, span: tuple[float, float] = (-np.inf, np.inf)
) -> dict[str, Any] | None:
    """Turn named arrays into curves over one axis; None where there is nothing to draw.

    Parameters
    ----------
    evidence : ``Check.evidence``; ``time`` (s since the epoch) or ``frequency`` (Hz) is the axis.
    span : s since the epoch, the window; a trace is shown from shortly before to shortly after it.

    >>> picture({"time": np.array([0.0, 1.0]), "heel": np.array([0.0, DEGREE])}, 0)["curves"]
    {'heel': [0.0, 1.0]}
    """
    axis = next((name for name in ("time", "frequency") if name in evidence), None)
    if axis is None or evidence[axis].size < 2:
        return None
    x = np.asarray(evidence[axis], dtype=np.float64)
    keep = slice(0, x.size)
    few = x.size <= FEW_POINTS
    if axis == "time" and not few:
        first, last = np.searchsorted(x, [span[0] - MARGIN_S, span[1] + MARGIN_S])
        keep = slice(int(first), int(last))
    group = 1 if few else max(1, -(-x[keep].size // MOST_POINTS))
    unit, curves, whiskers = "", {}, {}
    for name, values in evidence.items():
        if name == axis or name in _NO_CURVE or np.shape(values) != x.shape:
            continue
        shown, factor = next((u for start, u in _UNITS.items() if name.startswith(start)), ("deg", 1.0 / DEGREE))
        if unit not in ("", shown):
            continue
        unit = shown
        thinned = [number_or_none(round(v, 6)) for v in _thin(np.asarray(values)[keep] * factor, group).tolist()]
        of = name.removesuffix("_u")
        if few and of != name and of in evidence:
            whiskers[_NAMES.get(name.removesuffix("_u"), name.removesuffix("_u"))] = [
                None if v is None else round(COVERAGE_95 * v, 6) for v in thinned
            ]
        else:
            curves[_NAMES.get(name, name.replace("_", " "))] = thinned
    if not curves:
        return None
    place = _thin(x[keep], group)
    shown_x = place * 1e3 + epoch_ns / 1e6 if axis == "time" else place
    return {
        "x": np.round(shown_x, 3).tolist(),
        "timed": axis == "time",
        "x_unit": "" if axis == "time" else "Hz",
        "unit": unit,
        "points": few,
        "curves": curves,
        "whiskers": whiskers,
    }


def _thin(values: NDArray[np.float64], group: int) -> NDArray[np.float64]:
    """Mean of each group of neighbours: a window's evidence is smooth at the resolution of a screen."""
    if group <= 1:
        return values
    whole = values.size // group * group
    return np.asarray(values[:whole].reshape(-1, group).mean(axis=1))
