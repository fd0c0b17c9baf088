"""Whether she lies still, for how long, and how much longer to wait for the wanted interval."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from config.plan import Plan
from logger.daystate import DayState
from logger.records import Quantity
from quietheel.page.pulse import Pulse
from quietheel.page.words import span_words
from quietheel.page.work import Worked


@dataclass(frozen=True)
class Still:
    words: str
    part: float
    heel_deg: float | None = None
    u95_deg: float | None = None
    more: str = ""


class Stillness:
    def __init__(self, plan: Plan) -> None:
        self._plan = plan

    def look(
        self, pulses: Mapping[tuple[str, Quantity], Pulse], state: DayState, worked: Worked, now_ns: int
    ) -> Still:
        wanted = self._plan.settings.wanted_heel_u95_deg
        start = now_ns - 240_000_000_000
        if state.moved_ns:
            start = max(start, state.moved_ns)
        if state.open_window is not None:
            start = max(start, state.open_window.start_ns)
        means = []
        for (_, quantity), pulse in pulses.items():
            if quantity is not Quantity.HEEL:
                continue
            time, value = pulse.since(start)
            if time.size < 20:
                continue
            block = (now_ns - time) // 10_000_000_000
            counts = np.bincount(block, minlength=1)
            sums = np.bincount(block, weights=value, minlength=1)
            with np.errstate(invalid="ignore", divide="ignore"):
                means.append((sums / counts)[:24])
        if not means:
            return Still("No heel comes in.", 0.0)
        size = min(len(m) for m in means)
        heel = np.mean([m[:size] for m in means], axis=0)
        still = 1
        while still < size and abs(heel[still] - np.mean(heel[:still])) < 0.05:
            still += 1
        if still < 3:
            return Still("She is still moving.", 0.0)
        u95 = 2.2 * float(np.std(heel[:still], ddof=1)) / math.sqrt(still) + 1e-4
        more = max(0.0, still * 10 * ((u95 / wanted) ** 2 - 1))
        words = f"Still for {span_words(still * 10)}."
        if u95 <= wanted:
            says = f"Good to ±{u95:.4f}°."
        else:
            says = f"{span_words(more)} more for ±{wanted:g}°; now ±{u95:.4f}°."
        return Still(f"{words} {says}", (wanted / u95) ** 2, float(np.mean(heel[:still])), u95, says)
