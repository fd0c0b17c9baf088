"""The page that answers: verdict, results with intervals, what is preliminary and who decides, what comes next."""

from __future__ import annotations

import re
from collections.abc import Sequence

from config.plan import Plan
from config.words import listed
from reduction.gm.words import list_change_words
from reduction.report.document import Block, Bullets, Headline, Result, Results
from reduction.report.numbers import DEGREES, HARD_SPACE, METRES, TONNES, confidence_words, quantity
from reduction.report.words import OUTLOOK, Form, clock, missing_in_words, reason_words
from reduction.types import Answer, Check, Quantified, WindowPoint
from reduction.window_points import points_of, used_again

LIGHTSHIP = "Lightship"
MOST_WINDOWS = 5
"""Windows that are told one by one where the answer must fit a page or a screen."""
MOST_UNMET = 2
"""Procedure checks not met that the first page spells out."""


def first_page(answer: Answer, plan: Plan, form: Form, voided: Sequence[str] = ()) -> tuple[Block, ...]:
    """Write the blocks of the first page; ``voided``: sentences on windows that a person voided."""
    tone, word = OUTLOOK.get(answer.outlook, ("open", answer.outlook))
    blocks: list[Block] = [Headline(tone, word, unbroken(answer.headline))]
    found = results(answer)
    if any(not r.name.startswith(LIGHTSHIP) for r in found):
        blocks.append(Results(tuple(r for r in found if not r.name.startswith(LIGHTSHIP)), "As inclined"))
    if any(r.name.startswith(LIGHTSHIP) for r in found):
        blocks.append(Results(tuple(r for r in found if r.name.startswith(LIGHTSHIP)), "Lightship"))
    if answer.missing:
        missing = [f"{what}: {reason}" for what, reason in missing_in_words(answer.missing)]
        blocks.append(Bullets(tuple(missing), title="Not computed"))
    blocks.append(Bullets(windows_in_words(answer, plan, voided), title="Windows"))
    blocks.append(Bullets(standing_in_words(answer, plan, form), title="What this is worth, and who decides"))
    if answer.next_step:
        blocks.append(Bullets((answer.next_step,), title="What would settle or improve it most"))
    return tuple(blocks)


def unbroken(sentence: str) -> str:
    """Keep a value, its half width and its unit on one line.

    >>> unbroken("GM 1.06 ± 0.01 m, lightship 889 t with VCG").count(HARD_SPACE)
    4
    """
    bound = re.sub(r"(?<=\d) (?=(?:m|t)\b)", HARD_SPACE, sentence)
    return bound.replace(" ± ", f"{HARD_SPACE}±{HARD_SPACE}")


def results(answer: Answer) -> tuple[Result, ...]:
    """List GM, KG, displacement and lightship, each with its interval; what is not there is left out."""
    rows: list[tuple[str, Quantified, str, float, str]] = []
    if answer.gm.value is not None:
        by = "true curve" if answer.gm.value.carried == "curve" else "straight line"
        rows.append(("GM", answer.gm.value.gm, "m", METRES, f"fluid, as inclined, {by}"))
    if answer.as_inclined.value is not None:
        rows.append(("KG", answer.as_inclined.value.kg, "m", METRES, "solid, as inclined, above baseline"))
    displacement = displacement_of(answer)
    if displacement is not None:
        rows.append(("Displacement", displacement, "t", TONNES, "as inclined"))
    if answer.lightship.value is not None:
        light = answer.lightship.value
        rows.append(("Lightship mass", light.mass, "t", TONNES, ""))
        rows.append(("Lightship VCG", light.vcg, "m", METRES, "above baseline"))
        rows.append(("Lightship LCG", light.lcg, "m", METRES, "forward of aft perpendicular"))
        rows.append(("Lightship TCG", light.tcg, "m", METRES, "to starboard of centreline"))
    made = []
    for name, result, unit, factor, basis in rows:
        text = quantity(result, unit, factor, answer.confidence)
        made.append(Result(name, text.value, text.interval, unit, text.span, basis))
    return tuple(made)


def displacement_of(answer: Answer) -> Quantified | None:
    """Displacement as inclined, kg; known sometimes where KG is not."""
    if answer.as_inclined.value is not None:
        return answer.as_inclined.value.displacement
    return answer.displacement.value


def windows_in_words(answer: Answer, plan: Plan, voided: Sequence[str] = ()) -> tuple[str, ...]:
    """Say which windows were used, and of the others why not; ``voided``: what is said of those voided by hand."""
    points = points_of(answer)
    used = [p for p in points if p.used]
    if answer.gm.value is None:
        lines = [answer.gm.reason or "no windows"]
    else:
        lines = [f"{len(used)} of {len(points)} windows used: {listed([p.label for p in used]) or 'none'}."]
        again = used_again(answer.day, points)
        if again:
            lines.append(
                f"Used although the checks rejected {'them' if len(again) > 1 else 'it'}: {listed(list(again))}."
            )
        change = answer.gm.value.list_change
        if change is not None and answer.day is not None:
            lines.append(list_change_words(change, answer.day))
    lines += voided[:MOST_WINDOWS]
    if len(voided) > MOST_WINDOWS:
        lines.append(f"{len(voided) - MOST_WINDOWS} more were voided; the marks of the day say which.")
    if plan.settings.leave_out:
        lines.append(f"Not read from {listed(list(plan.settings.leave_out))}: left out by whoever reduced the day.")
    left = answer.gm.value is not None
    changed = answer.gm.value is not None and answer.gm.value.list_change is not None
    told = [p for p in points if (left and not p.used) or p.verdict != "fine" or p.overruled]
    if len(told) > MOST_WINDOWS:
        told.sort(key=lambda p: p.used)  # those not used are told first
    lines += [window_sentence(point, plan, short=True) for point in told[:MOST_WINDOWS]]
    if len(told) > MOST_WINDOWS:
        rest = listed([p.label for p in told[MOST_WINDOWS:]])
        lines.append(f"Also not plainly fine: {rest}; the table of windows says why.")
    if answer.gm.value is not None and answer.gm.value.line_all is not None and (len(used) < len(points) or changed):
        every = answer.gm.value.curve_all.value if answer.gm.value.carried == "curve" else answer.gm.value.line_all
        if every is not None:
            lines.append(f"With every window kept GM would be {quantity(every, 'm', METRES, answer.confidence)}.")
    return tuple(lines)


def window_sentence(point: WindowPoint, plan: Plan, *, short: bool = False) -> str:
    """Say what became of one window, and why.

    The sentences of the checks that decided are quoted: they carry the figures. ``short`` quotes the clearest one.
    """
    at = clock(point.start_ns, plan.test.utc_offset_h, with_seconds=False)
    unsaid = "by a person's decision" if point.overruled else "no reason on record"
    reasons = "; ".join(reason_words(code) for code in point.reasons) or unsaid
    deciding = [check for check in point.checks if check.code in point.reasons and check.verdict != "fine"]
    if short and deciding:
        deciding = [max(deciding, key=excess)]
    says = [check.says for check in deciding]
    verdict = {"rejected": "rejected", "caution": "used with caution" if point.used else "set aside"}.get(
        point.verdict, "used" if point.used else "not used"
    )
    over = f" Overruled: {point.overruled}" if point.overruled else ""
    if point.verdict == "fine" and not point.reasons:
        return f"Window {point.label} ({at}) {verdict}.{over}"
    return f"Window {point.label} ({at}) {verdict}: {reasons}. {' '.join(says)}{over}".strip()


def excess(check: Check) -> float:
    """How many times its threshold a check's value is; 1 where that cannot be said."""
    ratio = abs(check.value / check.threshold) if check.threshold else 1.0
    return ratio if ratio == ratio else 1.0


def assumptions_of(answer: Answer) -> tuple[str, ...]:
    """Everything that was assumed: by the reduction, by the fit of GM and for the heels of the windows, each once."""
    everything = list(answer.assumptions)
    everything += [] if answer.gm.value is None else answer.gm.value.assumptions
    everything += [] if answer.day is None else answer.day.assumptions
    return tuple(dict.fromkeys(everything))


def standing_in_words(answer: Answer, plan: Plan, form: Form) -> tuple[str, ...]:
    """Say what is preliminary and who decides."""
    body = plan.test.approving_body or "the authority or class"
    who = body[:1].upper() + body[1:]
    if form == "preliminary":
        first = f"Preliminary, made on the day: nothing here is approved. {who} decides; local rules come first."
    else:
        first = f"Final result of the coordinator. It becomes valid when {body} accepts it; local rules come first."
    lines = [first]
    if form == "preliminary":
        lines.append(
            "Still to be confirmed after the day: survey entries, tank soundings, hydrostatics at the actual "
            "waterline, certificates of the weights and of the instruments."
        )
    assumed = len(assumptions_of(answer))
    if assumed:
        points = "1 point" if assumed == 1 else f"{assumed} points"
        lines.append(f"Assumed, for want of a figure: {points}, listed under Assumptions.")
    beyond = [deviation.says for deviation in answer.deviations if deviation.verdict == "beyond"]
    if beyond:
        lines.append(" ".join(f"{says[:1].upper()}{says[1:]}" for says in beyond))
    beside = [said for said in answer.reservations if said not in answer.doubts]
    if beside and answer.outlook != "clear with reservations":
        lines.append(f"Whatever the verdict, it rests on more than measurements: {'; '.join(beside)}.")
    unmet = [advice for advice in answer.advice if advice.met is False]
    if unmet:
        departures = sum(1 for advice in unmet if advice.departure)
        lines.append(
            f"{len(unmet)} of {len(answer.advice)} procedure checks not met, {departures} with a reason on record: "
            + " ".join(advice.says for advice in unmet[:MOST_UNMET])
            + (" More under Procedure checks." if len(unmet) > MOST_UNMET else "")
        )
    lines.append(f"Intervals cover {confidence_words(answer.confidence)}: value ± half width.")
    return tuple(lines)


def degrees(result: Quantified, confidence: float) -> str:
    """Print an angle in degrees with its interval."""
    return str(quantity(result, "deg", DEGREES, confidence))
