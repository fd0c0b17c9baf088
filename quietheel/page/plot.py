"""GM so far and the moment-tangent plot as they are drawn."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from config.units import COVERAGE_95, DEGREE
from quietheel.jobs.windows import half_width_deg
from quietheel.page.words import number_or_none
from quietheel.page.work import Worked
from reduction.gm.words import list_change_words
from reduction.types import GmResult, WindowPoint
from reduction.window_points import again_in_words, used_again

SO_FAR = "from the record up to the last closing; quietheel reduce reads all of it, and decides"
"""Why the view's last digit may be another one: what comes after a window tells how she moves as well."""
FEWEST = 3
"""Windows below which an interval of GM says little; shown all the same, with that remark."""


def gm_section(worked: Worked) -> dict[str, Any]:
    """``value_m``, ``u95_m``, ``says``, ``history`` (one entry for each number of windows from two on)."""
    gm = worked.gm
    if gm is None or not math.isfinite(gm.gm.value):
        return {"value_m": None, "u95_m": None, "says": worked.why_no_gm, "history": []}
    used = sum(point.used for point in gm.points)
    left = len(gm.points) - used
    how = "true curve" if gm.carried == "curve" else "straight line"
    again = again_in_words(used_again(worked.heel, gm.points))
    says = f"{again} " if again else ""
    says += f"By the {how} from {used} window{'s' if used != 1 else ''}"
    says += f", {left} left out. " if left else ". "
    if gm.carried == "curve":
        says += f"The straight line says {gm.line.value:.4f} ± {gm.line.u95():.4f} m. "
    if gm.list_change is not None and worked.heel is not None:
        says += list_change_words(gm.list_change, worked.heel) + " "
    if used < FEWEST and not again:
        says += "Too few windows to lean on. "
    elif not again and worked.kg is not None and math.isfinite(worked.kg.value):
        says += f"KG as inclined {worked.kg.value:.3f} ± {worked.kg.u95():.3f} m. "
    return {
        "value_m": round(gm.gm.value, 6),
        "u95_m": number_or_none(round(gm.gm.u95(), 6)) if math.isfinite(gm.gm.u) else None,
        "says": f"{says}Preliminary: {SO_FAR}.",
        "history": [
            {"label": label, "value_m": round(value, 6), "u95_m": round(u95, 6)} for label, value, u95 in worked.history
        ],
    }


def plot_section(worked: Worked, planned_tm: list[float]) -> dict[str, Any]:
    """Points, line, residuals with their intervals and the band of the fit; ``planned_tm`` are states to come."""
    gm = worked.gm
    if gm is None:
        return {"points": [], "planned": planned_tm, "slope": None, "intercept": None, "band": []}
    heels = worked.heel.windows if worked.heel is not None else ()
    points = [
        _point(gm, point, half_width_deg(heel))
        for point, heel in zip(gm.points, heels, strict=True)
        if math.isfinite(point.heel)
    ]
    section: dict[str, Any] = {
        "points": points,
        "planned": planned_tm,
        "slope": None,
        "intercept": None,
        "band": [],
    }
    if not math.isfinite(gm.line.value) or not worked.displacement > 0:
        return section
    # Moments are drawn in t m and the slope is of tan heel, so that both fit the trade's plot.
    slope = 1000.0 / (gm.line.value * worked.displacement)
    used = [p for p in gm.points if p.used and math.isfinite(p.heel)]
    intercept = float(np.mean([math.tan(p.heel) - slope * p.moment / 1000.0 for p in used])) if used else 0.0
    section["slope"], section["intercept"] = slope, intercept
    section["band"] = _band(gm, used, slope)
    return section


def _point(gm: GmResult, point: WindowPoint, u95_deg: float) -> dict[str, Any]:
    residual = point.residual_curve if gm.carried == "curve" else point.residual_line
    return {
        "label": point.label,
        "moment_tm": round(point.moment / 1000.0, 4),
        "tangent": round(math.tan(point.heel), 8),
        "residual_deg": number_or_none(round(residual / DEGREE, 6)) if math.isfinite(residual) else None,
        "u95_deg": round(u95_deg, 6) if math.isfinite(u95_deg) else 0.0,
        "verdict": point.verdict,
        "used": point.used,
    }


def _band(gm: GmResult, used: list[WindowPoint], slope: float) -> list[list[float]]:
    """Half width (deg, 95 %) of where the fit lies: GM's interval turns the line about the middle of its points."""
    if len(used) < 2 or not math.isfinite(gm.gm.u):
        return []
    moments = np.array([p.moment / 1000.0 for p in used])
    middle = float(np.mean(moments))
    turn = gm.gm.u95() / gm.gm.value * slope
    shift = COVERAGE_95 * float(np.sqrt(np.mean([p.u**2 for p in used]) / len(used)))
    reach = 1.12 * max(float(np.max(np.abs(moments))), 1e-6)
    return [
        [round(float(m), 4), round(float(np.hypot(turn * (m - middle), shift)) / DEGREE, 6)]
        for m in np.linspace(-reach, reach, 25)
    ]
