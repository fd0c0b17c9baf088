"""The answer held against the plan's limits, and only where nothing is missing that a pass would rest on.

A limit is judged where everything it needs was measured or given with an interval. What is missing is named and the
limit is not judged; what a person decided, nobody has looked at or somebody changed after it was written is a
reservation, and a pass with a reservation is not called a pass. ``docs/method-lightship.md``, section 6.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from config.plan import Plan
from config.words import first_of
from reduction.day_gm import GmCase
from reduction.floating import Case
from reduction.inputs import DayInputs
from reduction.lightship.survey import Survey
from reduction.types import Answer, Centre, ConditionAnswer, Maybe, Quantified, WindowPoint
from reduction.verdict.criteria import judge, outlook, side_of
from reduction.window_points import used_again

FEWEST_WINDOWS = 4
"""GM and list are two unknowns: among three windows one that is spoilt can be seen but not told from the others."""
FEWEST_MOMENTS = 3
"""Two moments draw a straight line through anything."""
NAMED = 4
"""Spaces or windows named one by one in a sentence."""


@dataclass(frozen=True)
class Held:
    """What came of the limits."""

    conditions: tuple[ConditionAnswer, ...]
    outlook: str
    missing: dict[str, str] = field(default_factory=dict)
    """``conditions``, ``smallest_gm`` -> why it was not judged."""
    reservations: tuple[str, ...] = ()
    """What a pass would rest on beside measurements."""


def hold(
    inputs: DayInputs,
    case: Case | None,
    fit: GmCase | None,
    results: Mapping[str, Quantified],
    lightship: Maybe[Centre],
    survey: Survey,
    missing: Mapping[str, str],
    doubts: Sequence[str] = (),
) -> Held:
    """Hold a day against the limits of its plan.

    Parameters
    ----------
    results : of `reduction.lightship.budget.linear`, with ``condition 0`` and so on for the plan's conditions.
    missing : what could not be computed, with its reason.
    doubts : figures that no vessel has; nothing passes without a reservation on them.

    Returns
    -------
    Held; ``no limit given`` where the plan has none.
    """
    plan = inputs.plan
    limits, confidence = plan.limits, plan.settings.confidence
    not_judged: dict[str, str] = {}
    judged: list[ConditionAnswer] = []
    verdicts: list[str] = []
    without = _without_gm(case, fit, inputs, missing)
    if limits.conditions:
        lacking = list(dict.fromkeys((*_without_lightship(inputs, lightship, missing), *without)))
        if lacking:
            not_judged["conditions"] = "; ".join(lacking)
        else:
            found = [judge(c, results[f"condition {i}"], confidence) for i, c in enumerate(limits.conditions)]
            judged = [c for c in found if c.verdict != "not judged"]
            unknown = [c.name for c in found if c.verdict == "not judged"]
            if unknown:
                not_judged["conditions"] = f"the interval of KG is not known: {first_of(unknown, NAMED)}"
        verdicts += [c.verdict for c in judged]
    if limits.min_gm_m is not None:
        if without or fit is None:
            not_judged["smallest_gm"] = "; ".join(without) or missing.get("gm", "no GM")
        else:
            gm = fit.result.gm
            verdicts.append(side_of(gm.value - limits.min_gm_m, gm.u95(confidence)))
    reservations = (*doubts, *_reservations(inputs, case, fit, survey if limits.conditions else None))
    return Held(tuple(judged), outlook(verdicts, bool(not_judged), bool(reservations)), not_judged, reservations)


def gm_wanted(answer: Answer, plan: Plan) -> tuple[str, str] | None:
    """Verdict on the smallest GM that the plan wants, in a sentence; None where none is wanted or judged."""
    least, gm = plan.limits.min_gm_m, answer.gm.value
    if least is None or gm is None or "smallest_gm" in answer.missing:
        return None
    half = gm.gm.u95(answer.confidence)
    verdict = side_of(gm.gm.value - least, half)
    if verdict == "not judged":
        return None
    words = {"clear": "clear of the limit", "over": "less than is wanted"}.get(verdict, verdict)
    return verdict, f"GM {gm.gm.value:.4f} ± {half:.4f} m (fluid, as inclined) against {least:.3f} m at least: {words}."


def _without_lightship(inputs: DayInputs, lightship: Maybe[Centre], missing: Mapping[str, str]) -> list[str]:
    """What a complete lightship lacks."""
    lacking = []
    rows = inputs.tables.survey
    if rows is None:
        lacking.append("no survey.csv: what must come off and go on is not known")
    elif all(row.action == "not surveyed" for row in rows):
        lacking.append("survey.csv: no space has been surveyed yet")
    if "waterline" in missing:
        lacking.append(missing["waterline"])
    light = lightship.value
    if light is None:
        lacking.append(missing.get("lightship", "no lightship"))
    elif not (math.isfinite(light.vcg.value) and math.isfinite(light.mass.value)):
        lacking.append(missing.get("vcg", "the lightship's KG is not known"))
    return lacking


def _without_gm(case: Case | None, fit: GmCase | None, inputs: DayInputs, missing: Mapping[str, str]) -> list[str]:
    """What a GM lacks that a pass could rest on."""
    if case is None or fit is None:
        return [missing.get("gm", "no GM")]
    lacking = []
    if not _known(case.displacement):
        lacking.append("the displacement has no interval: read draughts, or give vessel.displacement_u95_t")
    if not _known(fit.result.gm):
        lacking.append("the interval of GM is not known")
    used = [p for p in fit.result.points if p.used]
    moments = len({round(p.moment) for p in used})
    if len(used) < FEWEST_WINDOWS or moments < FEWEST_MOMENTS:
        lacking.append(
            f"GM rests on {len(used)} windows of {moments} moments; {FEWEST_WINDOWS} of {FEWEST_MOMENTS} are needed to "
            "show a spoilt one"
        )
    again = used_again(inputs.day, fit.result.points)
    if again:
        lacking.append(f"windows that the checks rejected were used for want of others: {first_of(again, NAMED)}")
    return lacking


def _known(result: Quantified) -> bool:
    return math.isfinite(result.value) and math.isfinite(result.u) and result.u > 0.0


def _reservations(inputs: DayInputs, case: Case | None, fit: GmCase | None, survey: Survey | None) -> list[str]:
    """What nobody measured but a pass would rest on."""
    plan = inputs.plan
    said = list(inputs.altered)
    points: tuple[WindowPoint, ...] = fit.result.points if fit is not None else ()
    for used, words in ((True, "used"), (False, "left out")):
        decided = [p.label for p in points if p.overruled and p.used is used]
        if decided:
            one = "window" if len(decided) == 1 else "windows"
            said.append(f"{one} {first_of(decided, NAMED)} {words} by a person's decision")
    if plan.hydrostatics.source == "values" or inputs.tables.waterline is None:
        said.append("displacement typed, not read from draughts")
    unknown = [w.name for w in plan.weights if w.mass_u95_kg is None or w.position_u95_m is None]
    if unknown and not inputs.moments:
        said.append(f"no interval of mass or position for weight {first_of(unknown, NAMED)}")
    if survey is not None:
        if case is not None and case.km is not None and not case.hull.km_u > 0.0:
            said.append("KM taken as given, without an interval")
        if case is not None and case.cross_check_met is False:
            said.append("two sources of hydrostatics disagree")
        if survey.not_surveyed:
            said.append(f"not surveyed yet: {first_of(survey.not_surveyed, NAMED)}")
    return said
