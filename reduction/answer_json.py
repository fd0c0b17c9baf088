"""The answer as one JSON object: tonnes, metres and degrees, keys in the trade's words.

Fixed keys: ``gm.value_m``, ``gm.u95_m``, ``gm.method``; ``gm_line.value_m``, ``gm_line.u95_m``; ``kg_m``,
``displacement_t`` and ``lightship.{mass_t,vcg_m,lcg_m,tcg_m}`` each {value, u95}; ``windows``; ``missing``. What could
not be computed is null, with its reason under ``missing``. u95 is the half width of the interval at ``confidence``
(0.95 unless the plan says otherwise).
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence

from config.units import DEGREE
from dsp.types import BudgetLine, Check, DayHeel
from reduction.types import (
    Advice,
    Answer,
    AsInclined,
    Centre,
    ConditionAnswer,
    Deviation,
    GmResult,
    Quantified,
    SurveyItem,
    Waterline,
    WindowPoint,
)
from reduction.window_points import moment95, points_of, used_again

Json = dict[str, object]


def answer_json(answer: Answer) -> Json:
    """Turn an answer into plain values that `json.dumps` writes with ``allow_nan=False``."""
    c = answer.confidence
    gm, done = answer.gm.value, answer.as_inclined.value
    return {
        "name": answer.name,
        "preliminary": True,
        "headline": answer.headline,
        "outlook": answer.outlook,
        "reservations": list(answer.reservations),
        "doubts": list(answer.doubts),
        "next_step": answer.next_step,
        "confidence": c,
        "gm": _gm(gm, c),
        "gm_used_again": list(used_again(answer.day, gm.points)) if gm else [],
        "gm_line": _line(gm.line if gm else None, c),
        "gm_all": _gm_all(gm, c),
        "difference": gm.difference if gm else None,
        "kg_m": _pair(done.kg if done else None, c),
        "displacement_t": _displacement(answer.displacement.value, c),
        "lightship": _lightship(answer.lightship.value, c),
        "as_inclined": _as_inclined(done, c),
        "waterline": _waterline(answer.waterline.value, c),
        "hydrostatics": _floating(answer),
        "windows": [_window(p, c, moment95(answer, p)) for p in points_of(answer)],
        "wind": _wind(answer.day, gm, c),
        "day_checks": [_day_check(k) for k in (gm.day_checks if gm else ())],
        "survey": [_item(i) for i in answer.survey],
        "conditions": [_condition(k, c) for k in answer.conditions],
        "deviations": [_deviation(d) for d in answer.deviations],
        "advice": [_advice(a) for a in answer.advice],
        "budget": _budgets(answer),
        "monte_carlo": _drawn(answer),
        "assumptions": _assumptions(answer),
        "missing": dict(answer.missing),
        "provenance": {
            "version": answer.provenance.version,
            "made_at": answer.provenance.made_at,
            "inputs": [{"file": name, "sha256": sha} for name, sha in answer.provenance.inputs],
            "settings": answer.provenance.settings,
        },
    }


def _lightship(light: Centre | None, confidence: float) -> Json:
    if light is None:
        return {"mass_t": None, "vcg_m": None, "lcg_m": None, "tcg_m": None}
    return {
        "mass_t": _pair(light.mass, confidence, 1e-3),
        "vcg_m": _pair(light.vcg, confidence),
        "lcg_m": _pair(light.lcg, confidence),
        "tcg_m": _pair(light.tcg, confidence),
    }


def _as_inclined(done: AsInclined | None, confidence: float) -> Json | None:
    if done is None:
        return None
    return {
        "km_m": _pair(done.km, confidence),
        "gm_m": _pair(done.gm_fluid, confidence),
        "free_surface_tm": _pair(done.free_surface, confidence, 1e-3),
        "lcg_m": _pair(done.lcg.value, confidence),
        "tcg_m": _pair(done.tcg.value, confidence),
        "roll_period_s": _pair(done.roll_period.value, confidence),
        "radius_over_breadth": _pair(done.radius_ratio.value, confidence),
    }


def _day_check(check: Check) -> Json:
    return {
        "code": check.code,
        "value": _number(check.value),
        "threshold": _number(check.threshold),
        "verdict": check.verdict,
        "says": check.says,
    }


def _item(item: SurveyItem) -> Json:
    return {
        "item": item.name,
        "group": item.group,
        "space": item.space,
        "action": item.action,
        "mass_t": _number(item.mass / 1e3),
        "position_m": [_number(item.x), _number(item.y), _number(item.z)],
        "to_m": list(item.to) if item.to else None,
    }


def _condition(condition: ConditionAnswer, confidence: float) -> Json:
    return {
        "name": condition.name,
        "kg_m": _pair(condition.kg, confidence),
        "allowable_kg_m": condition.allowable,
        "margin_m": _number(condition.margin),
        "verdict": condition.verdict,
        "probability_over": _number(condition.probability_over),
        "says": condition.says,
    }


def _deviation(deviation: Deviation) -> Json:
    return {
        "what": deviation.what,
        "value": _number(deviation.value),
        "threshold": deviation.threshold,
        "unit": deviation.unit,
        "verdict": deviation.verdict,
        "says": deviation.says,
        "source": deviation.source,
    }


def _advice(advice: Advice) -> Json:
    return {
        "code": advice.code,
        "met": advice.met,
        "says": advice.says,
        "source": advice.source,
        "status": advice.status,
        "departure": advice.departure,
    }


def _number(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None


def _pair(result: Quantified | None, confidence: float, factor: float = 1.0) -> Json | None:
    if result is None or not math.isfinite(result.value):
        return None
    return {"value": result.value * factor, "u95": _number(result.u95(confidence) * factor)}


def _displacement(result: Quantified | None, confidence: float) -> Json | None:
    """Of one that was taken as given nobody knows the interval: null, not 0."""
    found = _pair(result, confidence, 1e-3)
    if found is not None and result is not None and result.u == 0.0:
        found["u95"] = None
    return found


def _gm(gm: GmResult | None, confidence: float) -> Json:
    if gm is None:
        return {"value_m": None, "u95_m": None, "method": None}
    method = "true curve" if gm.carried == "curve" else "straight line"
    if gm.carried == "curve" and gm.curve.value is not None and gm.curve.value.note:
        method += f", {gm.curve.value.note}"
    return {"value_m": _number(gm.gm.value), "u95_m": _number(gm.gm.u95(confidence)), "method": method}


def _line(result: Quantified | None, confidence: float) -> Json:
    if result is None:
        return {"value_m": None, "u95_m": None}
    return {"value_m": _number(result.value), "u95_m": _number(result.u95(confidence))}


def _gm_all(gm: GmResult | None, confidence: float) -> Json | None:
    """Both methods through every window, rejected ones included."""
    if gm is None:
        return None
    curve = gm.curve_all.value
    return {"line": _line(gm.line_all, confidence), "curve": _line(curve, confidence) if curve else None}


def _window(point: WindowPoint, confidence: float, moment_u95: float) -> Json:
    return {
        "label": point.label,
        "start": _time(point.start_ns),
        "stop": _time(point.stop_ns),
        "moment_tm": _number(point.moment / 1e3),
        "moment_u95_tm": _number(moment_u95 / 1e3),
        "heel_deg": _number((point.heel + point.list_change) / DEGREE),
        "list_change_deg": _number(point.list_change / DEGREE),
        "u95_deg": _number(point.u95(confidence) / DEGREE),
        "verdict": point.verdict,
        "reasons": list(point.reasons),
        "because": _because(point.checks),
        "used": point.used,
        "overruled": point.overruled,
        "wind_correction_deg": _number(point.wind_correction / DEGREE),
        "residual_deg": _number(point.residual_curve / DEGREE),
        "residual_line_deg": _number(point.residual_line / DEGREE),
    }


def _wind(day: DayHeel | None, gm: GmResult | None, confidence: float) -> Json:
    """What the wind was taken to do to the heel; empty where it was not measured."""
    if day is None or not math.isfinite(day.wind_coefficient):
        return {}
    shown = gm.wind if gm is not None and gm.wind is not None else None
    known = shown or Quantified(day.wind_coefficient, day.wind_coefficient_u)
    return {
        "reference_m_s": _number(day.reference_wind),
        "heel_deg_at_10_m_s": _pair(known, confidence, 100.0 / DEGREE),
    }


def _because(checks: Sequence[Check]) -> list[str]:
    """What the checks that were not content say, the worst first."""
    found = [c for c in checks if c.verdict != "fine"]
    return [c.says for c in sorted(found, key=lambda c: c.verdict != "rejected")]


def _time(ns: int) -> str:
    """RFC 3339, UTC, to the millisecond."""
    whole, rest = divmod(int(ns), 1_000_000_000)
    moment = dt.datetime.fromtimestamp(whole, tz=dt.UTC)
    return moment.strftime("%Y-%m-%dT%H:%M:%S") + f".{rest // 1_000_000:03d}Z"


def _waterline(waterline: Waterline | None, confidence: float) -> Json | None:
    if waterline is None:
        return None
    return {
        "mean_draught_m": _pair(waterline.mean_draught, confidence),
        "draught_aft_m": _pair(waterline.draught_aft, confidence),
        "draught_forward_m": _pair(waterline.draught_forward, confidence),
        "trim_m": _pair(waterline.trim, confidence),
        "list_deg": _pair(waterline.list, confidence, 1.0 / DEGREE),
        "hog_m": _pair(waterline.hog, confidence),
        "density_kg_m3": _pair(waterline.density, confidence),
        "readings": [
            {
                "mark": r.label,
                "kind": r.kind,
                "reading_m": r.reading,
                "waterline_z_m": r.waterline_z,
                "residual_m": _number(r.residual),
                "used": r.used,
                "says": r.says,
            }
            for r in waterline.readings
        ],
    }


def _floating(answer: Answer) -> Json | None:
    f = answer.floating.value
    if f is None:
        return None
    return {
        "source": f.source,
        "displacement_t": _number(f.displacement / 1e3),
        "lcb_m": _number(f.lcb),
        "kb_m": _number(f.kb),
        "lcf_m": _number(f.lcf),
        "km_m": _number(f.km),
        "kml_m": _number(f.kml),
        "bm_m": _number(f.bm),
        "tpc_t_per_cm": _number(f.tpc / 1e5),
        "mct_tm_per_cm": _number(f.mct / 1e5),
        "corrections": [{"what": k.source, "amount_t": _number(k.u / 1e3), "note": k.note} for k in f.corrections],
    }


def _budgets(answer: Answer) -> Json:
    done, light, gm = answer.as_inclined.value, answer.lightship.value, answer.gm.value
    found: dict[str, tuple[Quantified | None, float]] = {
        "gm_m": (gm.gm if gm else None, 1.0),
        "gm_line_m": (gm.line if gm else None, 1.0),
        "displacement_t": (answer.displacement.value, 1e-3),
        "kg_m": (done.kg if done else None, 1.0),
        "mass_t": (light.mass if light else None, 1e-3),
        "vcg_m": (light.vcg if light else None, 1.0),
        "lcg_m": (light.lcg if light else None, 1.0),
        "tcg_m": (light.tcg if light else None, 1.0),
    }
    return {name: _lines(q.budget, factor) for name, (q, factor) in found.items() if q is not None and q.budget}


def _lines(budget: tuple[BudgetLine, ...], factor: float) -> list[Json]:
    return [{"source": b.source, "u": _number(b.u * factor), "note": b.note} for b in budget]


def _drawn(answer: Answer) -> Json | None:
    drawn = answer.monte_carlo.value
    if drawn is None:
        return None
    scale = {
        "displacement": ("displacement_t", 1e-3),
        "mass": ("mass_t", 1e-3),
        "free_surface": ("free_surface_tm", 1e-3),
    }
    out: Json = {}
    for name, (low, high) in drawn.items():
        key, factor = scale.get(name, (name.replace(" ", "_") + "_m", 1.0))
        out[key] = [low * factor, high * factor]
    return out


def _assumptions(answer: Answer) -> list[str]:
    every = list(answer.assumptions)
    every += answer.gm.value.assumptions if answer.gm.value is not None else ()
    every += answer.day.assumptions if answer.day is not None else ()
    return list(dict.fromkeys(every))
