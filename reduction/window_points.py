"""The windows of a day as the answer lists them, whether they gave a GM or not."""

from __future__ import annotations

import math
from collections.abc import Sequence

from dsp.types import DayHeel, WindowHeel
from reduction.types import Answer, Quantified, WindowPoint


def used_again(day: DayHeel | None, points: Sequence[WindowPoint]) -> tuple[str, ...]:
    """Labels of windows that their checks rejected and that stand in the fit all the same, for want of others.

    A window that a person decided on is not among them.
    """
    rejected = {w.span.label for w in day.windows if w.verdict == "rejected"} if day is not None else set()
    return tuple(p.label for p in points if p.used and not p.overruled and p.label in rejected)


def again_in_words(labels: Sequence[str]) -> str:
    """What is said beside a GM that rests on windows used again, as a sentence; empty where it does not.

    >>> again_in_words(["2", "6"])
    'Too few windows passed the checks: rejected ones (2, 6) were used again. Do not rely on this GM; repeat movements.'
    """
    if not labels:
        return ""
    which, were = ("rejected ones", "were") if len(labels) > 1 else ("a rejected one", "was")
    return (
        f"Too few windows passed the checks: {which} ({', '.join(labels)}) {were} used again. Do not rely on this GM; "
        "repeat movements."
    )


def moment95(answer: Answer, point: WindowPoint) -> float:
    """Half width, kg m, of the moment of a window; NaN where the folder does not know it."""
    return Quantified(point.moment, answer.moment_u.get(point.label, math.nan)).u95(answer.confidence)


def points_of(answer: Answer) -> tuple[WindowPoint, ...]:
    """Return every window in order; of a day without a GM with moment, heel and checks, but no residual."""
    if answer.gm.value is not None:
        return answer.gm.value.points
    if answer.day is None:
        return ()
    epoch, nan = answer.day.epoch_ns, math.nan
    decided = {o.window: o for o in answer.overrules}

    def overruled(window: WindowHeel) -> str:
        over = decided.get(window.span.label)
        return f"{over.reason} ({over.by}; the checks said {window.verdict})" if over else ""

    return tuple(
        WindowPoint(
            label=w.span.label,
            start_ns=epoch + round(w.span.start * 1e9),
            stop_ns=epoch + round(w.span.stop * 1e9),
            moment=answer.moment.get(w.span.label, nan),
            heel=w.heel,
            u=w.u,
            dof=w.dof,
            scale_u=0.0,
            verdict=decided[w.span.label].verdict if w.span.label in decided else w.verdict,
            reasons=w.reasons,
            checks=w.checks,
            residual_line=nan,
            residual_curve=nan,
            used=False,
            overruled=overruled(w),
            wind_correction=w.wind_correction,
        )
        for w in answer.day.windows
    )
