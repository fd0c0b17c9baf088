"""Whether she lies still, or how long still; what the open window is worth so far, and how much longer it needs."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from config.plan import Plan
from config.units import DEGREE
from dsp.live import LiveLook, LiveView
from dsp.types import Check
from logger.daystate import DayState
from logger.records import Quantity, Series
from quietheel.jobs.day import make_day
from quietheel.page.pulse import Pulse
from quietheel.page.words import number_or_none, span_words, with_signs
from quietheel.page.work import Worked

LEARN_NS = 60_000_000_000
"""Until the first window is closed, how she moves is learnt anew this often (day time)."""
LONGEST_WAIT_S = 120.0
"""A wait of so long leaves the bar empty."""
CERTAIN_NS = 10_000_000_000
"""A check must speak against the open window for so long (day time) before it is shown: asked anew each second, even a
clean window trips one now and then."""
FIRST_S = 1.0
"""An open window younger than this is not looked at."""
STALE_S = 5.0
"""Without a reading of heel for so long, or for three of the fastest station's intervals, nothing is said of rest."""
ENOUGH_HZ = 20.0
"""Of a faster station every second, third, ... reading is looked at: rest and roll need no more, and a look must be
quick. The closed window is worked out from all of them."""
_LOOKED_AT = (Quantity.HEEL, Quantity.WIND_SPEED, Quantity.WIND_DIRECTION, Quantity.LINE_TENSION)


@dataclass(frozen=True)
class Still:
    """What is said about rest."""

    words: str
    part: float
    """0 to 1: how far the wait is; 1 when settled, or when the open window is long enough."""
    heel_deg: float | None = None
    """Mean of the open window so far."""
    u95_deg: float | None = None
    more: str = ""
    """How much longer the open window needs, as a sentence."""
    warning: str = ""
    """What speaks against the open window so far, as a sentence; empty if nothing."""


class Stillness:
    """Looks at the last minutes with what the day has taught so far."""

    def __init__(self, plan: Plan) -> None:
        self._plan = plan
        self._own: LiveView | None = None
        self._learnt_ns = 0
        self._epoch_ns = 0
        self._against: dict[tuple[int, str], int] = {}

    def look(self, pulses: Mapping[tuple[str, Quantity], Pulse], state: DayState, worked: Worked, now_ns: int) -> Still:
        """Look once.

        Parameters
        ----------
        pulses : the last minutes of every channel.
        worked : the closed windows so far; its model of the day is used where there is one.
        """
        series = tuple(p.series() for key, p in pulses.items() if key[1] in _LOOKED_AT)
        series = tuple(_thinned(one) for one in series if len(one))
        if not any(one.quantity is Quantity.HEEL for one in series):
            return Still("No heel comes in.", 0.0)
        silent_s = _stale(series, now_ns)
        if silent_s:
            self._against = {}
            opened = f" Window {state.open_window.label} is open." if state.open_window is not None else ""
            return Still(f"No heel for {span_words(silent_s)}: whether she lies still is not known.{opened}", 0.0)
        live, epoch_ns = self._live(worked, min(int(one.time_ns[0]) for one in series), now_ns)
        day = make_day(self._plan, series, (), epoch_ns)
        window = state.open_window
        elapsed_s = 0.0 if window is None else (now_ns - window.start_ns) * 1e-9
        if elapsed_s < FIRST_S:
            window = None  # opened this moment: nothing of it can be told
        moved = math.nan if state.moved_ns is None else (state.moved_ns - epoch_ns) * 1e-9
        look = live.look(
            day,
            (now_ns - epoch_ns) * 1e-9,
            None if window is None else (window.start_ns - epoch_ns) * 1e-9,
            "open" if window is None else window.label,
            moved,
        )
        if window is None:
            return _said(look, moved)
        if worked.live is None:
            # How she moves must have been learnt from a closed window before a window is judged by it.
            return _teaching(look, moved, elapsed_s, window.label, self._plan.settings.window_s)
        return _said(look, moved, elapsed_s, window.label, self._warning(look.checks, window.number, now_ns))

    def _warning(self, checks: tuple[Check, ...], window: int, now_ns: int) -> str:
        against = {(window, check.code): check for check in checks if check.verdict == "rejected"}
        self._against = {key: self._against.get(key, now_ns) for key in against}
        certain = [check for key, check in against.items() if now_ns - self._against[key] >= CERTAIN_NS]
        return _spoken(certain[0].says) if certain else ""

    def _live(self, worked: Worked, first_ns: int, now_ns: int) -> tuple[LiveView, int]:
        if worked.live is not None:
            return worked.live, worked.epoch_ns
        if self._own is None or now_ns - self._learnt_ns > LEARN_NS:
            settings = self._plan.settings
            self._own = LiveView(settings.wanted_heel_u95_deg * DEGREE, settings.window_s)
            self._learnt_ns, self._epoch_ns = now_ns, first_ns
        return self._own, self._epoch_ns


def _rest(look: LiveLook, moved: float) -> str:
    """What is said of rest; she has not lain still since before the last weight came to rest (``moved``, s)."""
    rest = look.settled
    if not rest.settled or not math.isfinite(rest.since):
        return rest.says.replace(": about 0 s more", ": nearly over")
    lasting = span_words(look.at - max(rest.since, moved if math.isfinite(moved) else rest.since))
    says = re.sub(r"^Settled for \d+ s", f"Settled for {lasting}", rest.says)
    return says.replace("no roll to wait for", "no roll found yet")


def _teaching(look: LiveLook, moved: float, elapsed_s: float, label: str, length_s: float) -> Still:
    """Say how long the first window still lasts; its worth cannot be known before it has shown how she moves."""
    left_s, whole = length_s - elapsed_s, span_words(length_s)
    more = f"{span_words(left_s)} more to {whole}" if left_s > 0.5 else f"{whole} are over"
    more += "; its interval is known once it is closed."
    return Still(
        words=_spoken(f"{_rest(look, moved)} Window {label}: {more}"),
        part=min(elapsed_s / max(length_s, 1.0), 1.0),
        heel_deg=number_or_none(round(look.heel / DEGREE, 5)),
        more=f"{more[:1].upper()}{more[1:]}",
    )


def _said(look: LiveLook, moved: float, elapsed_s: float | None = None, label: str = "", warning: str = "") -> Still:
    rest, needed = look.settled, look.needed
    waiting = 1.0 - rest.wait / LONGEST_WAIT_S if math.isfinite(rest.wait) else 0.0
    part = 1.0 if rest.settled else min(max(waiting, 0.05 if math.isfinite(rest.wait) else 0.0), 0.95)
    if elapsed_s is None or needed is None:
        says = _rest(look, moved)
        return Still(_spoken(says if elapsed_s is None else f"{says} {_short(look, elapsed_s)}"), part)
    share = elapsed_s / (elapsed_s + needed.more) if math.isfinite(needed.more) else 0.05
    return Still(
        words=_spoken(f"{_rest(look, moved)} Window {label}: {_without_key(needed.says)}"),
        part=share,
        heel_deg=number_or_none(round(look.heel / DEGREE, 5)),
        u95_deg=number_or_none(round(look.u95 / DEGREE, 5)),
        more=_spoken(needed.says),
        warning=warning,
    )


def _stale(series: tuple[Series, ...], now_ns: int) -> float:
    """Seconds since the newest reading of heel where that is too long for a word on rest; 0 where it is not."""
    heel = [one for one in series if one.quantity is Quantity.HEEL]
    spacing = min(float(np.median(np.diff(one.time_ns[-20:]))) * 1e-9 if len(one) > 1 else 0.0 for one in heel)
    silent = (now_ns - max(int(one.time_ns[-1]) for one in heel)) * 1e-9
    return silent if silent > max(STALE_S, 3.0 * spacing) else 0.0


def _thinned(series: Series) -> Series:
    every = max(1, int(len(series) / max((series.time_ns[-1] - series.time_ns[0]) * 1e-9, 1.0) / ENOUGH_HZ))
    if every == 1:
        return series
    return replace(series, time_ns=series.time_ns[::every], value=series.value[::every], flags=series.flags[::every])


def _short(look: LiveLook, elapsed_s: float) -> str:
    return look.says if look.says != look.settled.says else f"Window open for {elapsed_s:.0f} s: too short to tell."


def _without_key(text: str) -> str:
    """Of a sentence what people on the pier need: the key of the plan stands in the list of windows."""
    return re.sub(r" \(settings\.\w+\)", "", text[:1].lower() + text[1:])


def _spoken(text: str) -> str:
    return with_signs(text).strip()
