"""The windows of a day as the answer lists them, whether they gave a GM or not."""

from __future__ import annotations

import math

from dsp.types import WindowHeel
from reduction.types import Answer, WindowPoint


def points_of(answer: Answer) -> tuple[WindowPoint, ...]:
    """Return every window in order; of a day without a GM with heel and checks, but no moment and no residual."""
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
            moment=nan,
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
        )
        for w in answer.day.windows
    )
