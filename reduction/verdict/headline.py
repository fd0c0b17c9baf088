"""The answer in words: what a coordinator reads out to the owner, and what would settle or improve it most."""

from __future__ import annotations

import math
from dataclasses import replace

from config.plan import Plan
from config.words import listed
from reduction.lightship.budget import first_to_improve
from reduction.types import Answer, Quantified
from reduction.verdict.limits import gm_wanted
from reduction.window_points import again_in_words, used_again

REMEDY = {
    "draught and freeboard readings": "re-read draughts and freeboards, both sides, with a draught tube in calm water",
    "displacement": "know displacement better: read draughts and freeboards again, take more density samples",
    "displacement as given": "read draughts and freeboards, so that displacement does not rest on a typed figure",
    "density of the water": "take more density samples, at several depths and places",
    "hydrostatics: displacement": "get hydrostatics of better known accuracy for this hull",
    "hydrostatics: KM": "get hydrostatics of better known accuracy for this hull",
    "hydrostatics: BM": "get hydrostatics of better known accuracy for this hull",
    "scale of the stations": "have the stations' scale calibrated to a smaller interval",
    "zero of the stations": "calibrate the zero of a station against a level surface of the vessel",
    "masses of the test weights": "weigh the test weights again on a certificated scale",
    "positions of the test weights": "measure the positions of the test weights again",
    "moments as given": "weigh the test weights and measure their places again, for moments of a smaller interval",
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
        "clear with reservations": f"clear of the limits given, but with reservations ({_reserved(answer)})",
        "over": "over a limit given",
        "too close to call": "too close to a limit to call",
        "not judged": f"the limits could not be compared ({not_judged(answer)})",
        "no limit given": "no limit was given to compare with",
    }[answer.outlook]
    if not parts:
        why = answer.gm.reason or "see what is missing"
        return replace(answer, headline=f"{answer.name}: no result yet: {why}.")
    caveat = again_in_words(_again(answer))
    said = f"{answer.name}: {', '.join(parts)}; {verdict}. {f'{caveat} ' if caveat else ''}"
    if answer.doubts:
        said += f"Not to be relied on before it is explained: {'; '.join(answer.doubts)}. "
    said += "Preliminary until the authority accepts it."
    return replace(answer, headline=said)


def not_judged(answer: Answer) -> str:
    """Why limits of the plan were not judged."""
    reasons = [answer.missing[key] for key in ("conditions", "smallest_gm") if key in answer.missing]
    return "; ".join(dict.fromkeys(part for reason in reasons for part in reason.split("; ")))


def _reserved(answer: Answer) -> str:
    return "; ".join(answer.reservations)


def next_step(answer: Answer, results: dict[str, Quantified], plan: Plan) -> Answer:
    """Say what would settle the verdict, or else improve the answer most."""
    if answer.gm.value is None:
        return replace(answer, next_step=f"Nothing can be said about GM before this is mended: {answer.gm.reason}.")
    if answer.doubts:
        return replace(answer, next_step=f"Before anything else, explain: {'; '.join(answer.doubts)}.")
    unsettled = [c for c in answer.conditions if c.verdict != "clear"]
    if unsettled:
        worst = min(unsettled, key=lambda c: c.margin)
        if worst.verdict == "over":
            said = (
                f"{worst.name} is over its limit by {-worst.margin:.3f} m; check survey and tanks for a mistake, then "
                "take it to the designer and the authority: who decides is the authority."
            )
        else:
            source = first_to_improve(worst.kg)
            said = f"To settle {worst.name}: {_remedy(source, answer)} ({source} carries most of its interval)."
        return replace(answer, next_step=said)
    wanted = gm_wanted(answer, plan)
    if wanted is not None and wanted[0] != "clear":
        if wanted[0] == "over":
            said = f"{wanted[1]} Look for a mistake, then take it to the designer and the authority; it decides."
            return replace(answer, next_step=said)
        source = first_to_improve(answer.gm.value.gm)
        said = f"To settle the smallest GM wanted: {_remedy(source, answer)} ({source} carries most of its interval)."
        return replace(answer, next_step=said)
    if answer.outlook == "not judged":
        return replace(answer, next_step=f"To have the limits judged, mend what is missing: {not_judged(answer)}.")
    if _again(answer):
        said = f"{_repeat(answer, _again(answer))}: GM rests on windows that the checks rejected."
        return replace(answer, next_step=said[:1].upper() + said[1:])
    if answer.outlook == "clear with reservations":
        return replace(answer, next_step=f"To be clear without reservations, settle: {_reserved(answer)}.")
    for name, what in (("vcg", "lightship VCG"), ("kg", "KG")):
        target = results.get(name)
        if target is not None and math.isfinite(target.value) and target.budget:
            if name == "vcg" and answer.lightship.value is None:
                continue
            source = first_to_improve(target)
            said = f"To narrow {what} most: {_remedy(source, answer)} ({source} carries most of it)."
            return replace(answer, next_step=said)
    source = first_to_improve(answer.gm.value.gm)
    return replace(answer, next_step=f"To narrow GM most: {_remedy(source, answer)} ({source} carries most of it).")


def behind(source: str, answer: Answer) -> str:
    """The source itself, or what carries most of the displacement where that is the source."""
    displacement = answer.displacement.value
    return (first_to_improve(displacement) if source == "displacement" and displacement else "") or source


def _remedy(source: str, answer: Answer) -> str:
    """What would make a source smaller, naming the movement or the reading where one stands out."""
    source = behind(source, answer)
    if source not in REMEDY or source in ("heel of the windows", "choice of windows"):
        return _repeat(answer)
    said = REMEDY[source]
    water = answer.waterline.value
    if source == "draught and freeboard readings" and water is not None:
        misread = [r.label for r in water.readings if not r.used]
        end = "aft" if water.draught_aft.u > water.draught_forward.u else "forward"
        said += f", first of all {', '.join(misread)}" if misread else f", first of all {end}"
    return said


def _again(answer: Answer) -> tuple[str, ...]:
    """Rejected windows that GM rests on."""
    return used_again(answer.day, answer.gm.value.points) if answer.gm.value is not None else ()


def _repeat(answer: Answer, spoilt: tuple[str, ...] = ()) -> str:
    """Name the movements to repeat: those spoilt or left out, or else the one whose heel weighs most in GM."""
    assert answer.gm.value is not None
    points = answer.gm.value.points
    off = [p.label for p in points if not p.used or p.label in spoilt]
    if off:
        return f"repeat movement {listed(off)}"
    middle = sum(p.moment for p in points) / max(len(points), 1)
    weightiest = max(points, key=lambda p: abs(p.moment - middle) * (p.u if math.isfinite(p.u) else 0.0), default=None)
    if weightiest is None:
        return REMEDY["heel of the windows"]
    return f"repeat movement {weightiest.label}, with a longer window"


def _said(result: Quantified, confidence: float, unit: str, factor: float = 1.0) -> str:
    """Value and half width, to two digits of the half width."""
    value, half = result.value * factor, result.u95(confidence) * factor
    if not math.isfinite(half) or half <= 0:
        return f"{value:.3f} {unit}"
    digits = max(0, 1 - math.floor(math.log10(half)))
    return f"{value:.{digits}f} ± {half:.{digits}f} {unit}"
