"""The lightship held against the previous or estimated one, and conditions against their allowable KG."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtr

from config.plan import AllowableKg, Vessel
from config.units import TONNE
from reduction.types import Centre, ConditionAnswer, Deviation, Quantified

Array = NDArray[np.float64]


UNSETTLED = "too close to call"


@dataclass(frozen=True)
class Threshold:
    """How far a lightship may lie from the previous one before the document asks for more."""

    mass_percent: float
    lcg_percent: float
    source: str


def solas_mass_percent(length: float) -> float:
    """SOLAS II-1/5.2: 2 % of lightship mass up to L = 50 m, 1 % from 160 m, linear in between.

    >>> solas_mass_percent(50), solas_mass_percent(105), solas_mass_percent(160)
    (2.0, 1.5, 1.0)
    """
    return min(2.0, max(1.0, 2.0 - (length - 50.0) / 110.0))


def threshold_of(vessel: Vessel) -> Threshold | None:
    """Published thresholds by ship type and length; None where none is known to apply."""
    kind, length = vessel.type, vessel.length_m
    if kind == "passenger":
        return Threshold(2.0, 1.0, "SOLAS II-1/5.5 (passenger ships)")
    if kind == "fishing":
        return Threshold(3.0, 1.0, "46 CFR 28.535(b) (fishing vessels, United States)")
    if kind == "tug":
        return Threshold(2.0, 1.0, "46 CFR 144.315(b) (towing vessels, United States)")
    if kind == "offshore":
        if length is None:
            return None
        source = "SOLAS II-1/5.2 (cargo ships; for a mobile unit 1 %, MODU Code 3.1)"
        return Threshold(solas_mass_percent(length), 0.5, source)
    if kind == "high_speed":
        return Threshold(2.0, 1.0, "HSC Code 2.7.2 and its interpretation")
    if length is None or kind not in ("cargo", "other", "barge", "yacht"):
        return None
    words = "SOLAS II-1/5.2 (cargo ships" + ("" if kind == "cargo" else ", for comparison only") + ")"
    return Threshold(solas_mass_percent(length), 0.5, words)


def deviations(found: Centre, vessel: Vessel, confidence: float) -> tuple[Deviation, ...]:
    """Compare mass, LCG and VCG with the plan's previous or estimated lightship; none where there is none."""
    before = vessel.lightship
    if before is None:
        return ()
    threshold = threshold_of(vessel)
    rows: list[Deviation] = []
    name = before.source or "previous or estimated lightship"
    if threshold is not None and math.isfinite(found.mass.value):
        mass = found.mass
        percent = 100.0 * (mass.value / TONNE / before.mass_t - 1.0)
        u95 = 100.0 * mass.u95(confidence) / TONNE / before.mass_t
        rows.append(_deviation("lightship mass", percent, u95, threshold.mass_percent, "%", threshold.source, name))
    if threshold is not None and vessel.length_m and math.isfinite(found.lcg.value):
        percent = 100.0 * (found.lcg.value - before.lcg_m) / vessel.length_m
        u95 = 100.0 * found.lcg.u95(confidence) / vessel.length_m
        rows.append(_deviation("LCG", percent, u95, threshold.lcg_percent, "% of L", threshold.source, name))
    if math.isfinite(found.vcg.value) and before.vcg_m:
        percent = 100.0 * (found.vcg.value / before.vcg_m - 1.0)
        u95 = 100.0 * found.vcg.u95(confidence) / abs(before.vcg_m)
        source = "SOLAS II-1/5.4, explanatory notes (MSC.429(98))"
        rows.append(_deviation("VCG", percent, u95, 1.0, "%", source, name))
    return tuple(rows)


def _deviation(
    what: str, value: float, u95: float, threshold: float, unit: str, source: str, against: str
) -> Deviation:
    size = abs(value)
    known = math.isfinite(u95) and u95 > 0.0
    verdict = "within" if known and size + u95 <= threshold else "beyond" if size - u95 > threshold else UNSETTLED
    found = f"{what} differs by {value:+.2f} ± {u95:.2f} {unit} from the {against}"
    says = f"{found}; the threshold is {threshold:.2f} {unit}."
    return Deviation(what, value, threshold, unit, says, source, verdict)


def condition_kg(condition: AllowableKg) -> Callable[[Mapping[str, Array]], Array]:
    """Fluid KG (m) of a loading condition from draws of the lightship: so that mass and VCG move together.

    KG = (lightship moment + deadweight moment + free-surface moments) / total mass.
    """
    deadweight = condition.mass_t * TONNE
    moment = deadweight * condition.vcg_m + condition.free_surface_tm * TONNE

    def kg(out: Mapping[str, Array]) -> Array:
        return np.asarray((out["mass"] * out["vcg"] + moment) / (out["mass"] + deadweight))

    return kg


def side_of(margin: float, half: float) -> str:
    """``clear``, ``over`` or ``too close to call``; ``not judged`` where margin or half width is not known.

    >>> side_of(0.2, 0.1), side_of(-0.2, 0.1), side_of(0.05, 0.1), side_of(0.2, float("nan")), side_of(0.2, 0.0)
    ('clear', 'over', 'too close to call', 'not judged', 'not judged')
    """
    if not (math.isfinite(margin) and math.isfinite(half) and half > 0.0):
        return "not judged"
    return "clear" if margin > half else "over" if margin < -half else "too close to call"


def chance(probability: float) -> str:
    """Print a chance; never as nothing or as certain.

    >>> chance(0.0), chance(0.21), chance(0.9999), chance(float("nan"))
    ('below 0.1 %', '21.0 %', 'above 99.9 %', 'not known')
    """
    if not math.isfinite(probability):
        return "not known"
    if probability < 0.001:
        return "below 0.1 %"
    return "above 99.9 %" if probability > 0.999 else f"{100.0 * probability:.1f} %"


def judge(condition: AllowableKg, kg: Quantified, confidence: float) -> ConditionAnswer:
    """Say whether a condition is clear of its limit, over it, or too close to call at the stated confidence.

    An interval that is not known, or that is 0 because everything was taken as given, judges nothing.
    """
    margin = condition.allowable_kg_m - kg.value
    half = kg.u95(confidence)
    verdict = side_of(margin, half)
    if verdict == "not judged":
        says = (
            f"{condition.name}: KG {kg.value:.3f} m without a known interval against {condition.allowable_kg_m:.3f} m "
            "allowed: not judged."
        )
        return ConditionAnswer(condition.name, kg, condition.allowable_kg_m, margin, verdict, math.nan, says)
    over = float(stdtr(min(kg.dof, 1e9), -margin / kg.u))
    words = {
        "clear": "clear of the limit",
        "over": "over the limit",
        "too close to call": f"too close to call at {100 * confidence:g} % confidence",
    }[verdict]
    says = (
        f"{condition.name}: KG {kg.value:.3f} ± {half:.3f} m against {condition.allowable_kg_m:.3f} m allowed, "
        f"{words}; the chance of being over is {chance(over)}."
    )
    return ConditionAnswer(condition.name, kg, condition.allowable_kg_m, margin, verdict, over, says)


def outlook(verdicts: list[str], not_judged: bool = False, reservations: bool = False) -> str:
    """Worst verdict of all; ``no limit given`` without any.

    Parameters
    ----------
    not_judged : whether a limit of the plan could not be judged.
    reservations : whether a pass would rest on something that was not measured.

    >>> outlook(["clear", "too close to call"])
    'too close to call'
    >>> outlook(["clear"], not_judged=True), outlook(["clear"], reservations=True)
    ('not judged', 'clear with reservations')
    """
    for worst in ("over", "too close to call"):
        if worst in verdicts:
            return worst
    if not_judged or "not judged" in verdicts:
        return "not judged"
    if "clear" in verdicts:
        return "clear with reservations" if reservations else "clear"
    return "no limit given"
