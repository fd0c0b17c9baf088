"""The answer in words: what a coordinator reads out to the owner, and what would settle or improve it most."""

from __future__ import annotations

import math
from dataclasses import replace

from reduction.budget import first_to_improve
from reduction.types import Answer, Quantified

REMEDY = {
    "draught and freeboard readings": "re-read draughts and freeboards, both sides, with a draught tube in calm water",
    "displacement as given": "read draughts and freeboards, so that displacement does not rest on a typed figure",
    "density of the water": "take more density samples, at several depths and places",
    "hydrostatics: displacement": "get hydrostatics of better known accuracy for this hull",
    "hydrostatics: KM": "get hydrostatics of better known accuracy for this hull",
    "scale of the stations": "have the stations' scale calibrated to a smaller interval",
    "zero of the stations": "calibrate the zero of a station against a level surface of the vessel",
    "masses of the test weights": "weigh the test weights again on a certificated scale",
    "positions of the test weights": "measure the positions of the test weights again",
    "free surface": "empty or press up the slack tanks",
    "survey: masses": "weigh or confirm the heaviest items of the deadweight survey",
    "survey: centres": "measure the centres of the heaviest items of the deadweight survey",
    "people: masses": "weigh the people aboard, or have fewer of them",
    "tanks: masses": "sound the tanks again",
    "BM": "give BM or cross curves at the waterline of the test",
    "curvature left out": "give BM or cross curves, so that the true curve can be fitted",
    "choice of windows": "repeat the movements whose windows stand off the others",
    "heel of the windows": "repeat movements, with longer windows",
}
"""Source of uncertainty -> what would make it smaller."""


def headline(answer: Answer) -> Answer:
    """Give the answer its one sentence."""
    c = answer.confidence
    parts = []
    if answer.gm.value is not None:
        parts.append(f"GM {_said(answer.gm.value.gm, c, 'm')}")
    if answer.as_inclined.value is not None:
        parts.append(f"KG as inclined {_said(answer.as_inclined.value.kg, c, 'm')}")
    light = answer.lightship.value
    if light is not None:
        words = f"lightship {_said(light.mass, c, 't', 1e-3)}"
        if math.isfinite(light.vcg.value):
            words += f" with VCG {_said(light.vcg, c, 'm')}"
        parts.append(words)
    verdict = {
        "clear": "clear of the limits given",
        "over": "over a limit given",
        "too close to call": "too close to a limit to call",
        "no limit given": "no limit was given to compare with",
    }[answer.outlook]
    if not parts:
        why = answer.gm.reason or "see what is missing"
        return replace(answer, headline=f"{answer.name}: no result yet: {why}.")
    said = f"{answer.name}: {', '.join(parts)}; {verdict}. Preliminary until the authority accepts it."
    return replace(answer, headline=said)


def next_step(answer: Answer, results: dict[str, Quantified]) -> Answer:
    """Say what would settle the verdict, or else improve the answer most."""
    again = _again(answer)
    if answer.gm.value is None:
        return replace(answer, next_step=f"Nothing can be said about GM before this is mended: {answer.gm.reason}.")
    open_conditions = [c for c in answer.conditions if c.verdict != "clear"]
    if open_conditions:
        worst = min(open_conditions, key=lambda c: c.margin)
        source = first_to_improve(worst.kg)
        step = _remedy(source, again)
        if worst.verdict == "over":
            said = (
                f"{worst.name} is over its limit by {-worst.margin:.3f} m; check survey and tanks for a mistake, then "
                "take it to the designer and the authority: who decides is the authority."
            )
        else:
            said = f"To settle {worst.name}: {step} ({source} carries most of its interval)."
        return replace(answer, next_step=said)
    target = results.get("vcg") or results.get("kg")
    if target is None or not math.isfinite(target.value):
        target = answer.gm.value.gm
        source = first_to_improve(target)
        known = source if source in REMEDY else "heel of the windows"
        return replace(answer, next_step=f"To narrow GM most: {_remedy(known, again)}.")
    source = first_to_improve(target)
    what = "lightship VCG" if target is results.get("vcg") else "KG"
    return replace(answer, next_step=f"To narrow {what} most: {_remedy(source, again)} ({source} carries most of it).")


def _again(answer: Answer) -> str:
    if answer.gm.value is None:
        return ""
    off = [p.label for p in answer.gm.value.points if not p.used]
    return f"repeat movement {' and '.join(off)}" if off else ""


def _remedy(source: str, again: str) -> str:
    if source in ("heel of the windows", "choice of windows") and again:
        return again
    return REMEDY.get(source, f"look into {source}" if source else "nothing stands out")


def _said(result: Quantified, confidence: float, unit: str, factor: float = 1.0) -> str:
    """Value and half width, to two digits of the half width."""
    value, half = result.value * factor, result.u95(confidence) * factor
    if not math.isfinite(half) or half <= 0:
        return f"{value:.3f} {unit}"
    digits = max(0, 1 - math.floor(math.log10(half)))
    return f"{value:.{digits}f} ± {half:.{digits}f} {unit}"
