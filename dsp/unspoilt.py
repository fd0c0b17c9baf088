"""Learn the day's low-frequency heel again without the windows that look spoilt, so that they cannot hide each other.

A step or a creep in a third of the windows passes for restlessness of the whole day: the spectrum grows, windows seem
unlike each other, and the limits of the checks grow with both. Leaving suspects out of the learning costs a clean day
next to nothing, since a window is not rejected by it; it is asked again by what the others taught.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from dsp.model import DayModel
from dsp.types import Check

SUSPECT = 3.5
"""Standard uncertainties of a step, creep or wind part at which a window teaches nothing of a quiet day, whatever the
limit of its check. A clean window that comes so far is asked again all the same; with 4.5 three steps in nine windows
hid each other more often."""
SUSPECT_CODES = ("people", "drift", "wind")


def suspects(asked: Sequence[Sequence[Check]]) -> list[bool]:
    """Tell which windows look spoilt, whatever the verdict under a spectrum they may have spoilt themselves."""
    return [
        any(
            c.verdict == "rejected"
            or (
                c.code in SUSPECT_CODES
                and c.unit == "standard uncertainties"
                and (c.verdict == "caution" or c.value > SUSPECT)
            )
            for c in checks
        )
        for checks in asked
    ]


def relearnt(model: DayModel, spoilt: Sequence[bool]) -> DayModel | None:
    """Fit low-frequency heel and wind to the stretches of the other windows; None where too few are left.

    Parameters
    ----------
    spoilt : one for each window; the model's stretches are in the same order.
    """
    low = model.low
    if not any(spoilt) or len(low.contrasts) != len(spoilt):
        return None
    kept = [c for c, out in zip(low.contrasts, spoilt, strict=True) if not out]
    if len(kept) < max(3, len(spoilt) // 3):
        return None
    return replace(model, low=low.fitted_to(tuple(kept)))
