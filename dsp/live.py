"""What the live page asks once a second: heel now, settled or how long still, what the open window is worth so far.

`LiveView.know` takes what the closed windows of the day so far have taught, the same that they are evaluated by;
`LiveView.look` takes the last minutes only and is quick.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.special import stdtrit

from config.units import DEGREE
from dsp import checks
from dsp.estimate import Evaluated, evaluate_window
from dsp.evidence import evidence_of
from dsp.joint import Common, budget_of
from dsp.level import smoothed_level
from dsp.low import on_another_grid
from dsp.model import DayModel, Learnt, learnt_from, rolls_of
from dsp.prepare import Prepared, prepare, prepare_like
from dsp.rounding import rounding_u
from dsp.settled import Needed, Settled, Suggestion, more_seconds, settled, suggested
from dsp.stretches import still_stretches
from dsp.types import Check, Day, RollMotion, Trace, Verdict, WindowSpan
from dsp.wind import pressure_on

MEMORY = 900.0
"""s of record looked at once a second."""


@dataclass(frozen=True)
class LiveLook:
    """The state of things at one moment."""

    at: float
    """s since the epoch."""
    settled: Settled
    roll: RollMotion
    """Roll of the day as known so far."""
    heel: float
    """rad, mean of the open window so far; NaN without one."""
    u95: float
    """rad, half width of its 95 % interval."""
    needed: Needed | None
    """None without an open window or while it is too short to tell."""
    checks: tuple[Check, ...]
    verdict: Verdict
    reasons: tuple[str, ...]
    says: str
    """One sentence for the screen."""


class LiveView:
    """Keeps the day's model between looks.

    Example
    -------
    >>> view = LiveView()
    >>> look = view.look(Day(epoch_ns=0, heel=(), windows=()), at=10.0, opened=None)
    >>> look.says
    'No heel readings.'
    """

    def __init__(self, wanted: float = 0.005 * DEGREE, length: float = 120.0) -> None:
        """``wanted`` rad: half width wanted of each window; ``length`` s: usual length of a window."""
        self.wanted, self.length = wanted, length
        self._prepared: Prepared | None = None
        self._model: DayModel | None = None
        self._restless = float("nan")
        self._first = float("nan")

    def know(self, learnt: Learnt | str) -> None:
        """Take over what a day has taught; a sentence in its place changes nothing."""
        if isinstance(learnt, Learnt):
            self._restless, self._first = _restlessness(learnt), _first_level(learnt.prepared)
            self._prepared, self._model = _without_readings(learnt.prepared), learnt.model

    def learn(self, day: Day) -> None:
        """Learn the day's model from its windows; without any, steady stretches of the record stand in for them."""
        self._learn(day, day.windows or _standing_in(day, float("inf")))

    def _learn(self, day: Day, spans: tuple[WindowSpan, ...]) -> None:
        if spans:
            self.know(learnt_from(replace(day, windows=spans)))

    def look(
        self, day: Day, at: float, opened: float | None, label: str = "open", moved_at: float = float("nan")
    ) -> LiveLook:
        """Look at the last minutes.

        Parameters
        ----------
        day : at least the last `MEMORY` seconds of traces; its windows are not looked at.
        at : s since the epoch, now.
        opened : s since the epoch, when the open window was opened; None if none is open.
        """
        nan = float("nan")
        early = min(at - MEMORY, opened - 60.0) if opened is not None else at - MEMORY
        recent = replace(day, heel=tuple(_since(t, early) for t in day.heel))
        recent = replace(recent, heel=tuple(t for t in recent.heel if t.time.size >= 5))
        nothing = RollMotion(nan, nan, nan, nan, 0.0)
        if not recent.heel:
            waiting = Settled(False, nan, nan, nan, nan, "No heel readings.")
            return LiveLook(at, waiting, nothing, nan, nan, None, (), "fine", (), "No heel readings.")
        if self._model is None:
            mine = () if opened is None else (WindowSpan(label, opened, at),)
            self._learn(recent, (*_standing_in(recent, at if opened is None else opened), *mine))
        span = WindowSpan(label, opened if opened is not None else max(early, at - self.length), at, moved_at)
        model, known = self._model, self._prepared
        lately = replace(recent, windows=(span,))
        prepared = prepare_like(lately, known) if known is not None else prepare(lately)
        if isinstance(prepared, str) or model is None:
            says = prepared if isinstance(prepared, str) else "Not enough record yet to know how she moves."
            waiting = Settled(False, nan, nan, nan, nan, says)
            return LiveLook(at, waiting, nothing, nan, nan, None, (), "fine", (), says)
        period = 1.0 / model.frequency
        roll = RollMotion(period, nan, model.damping, nan, nan) if np.isfinite(period) else nothing
        until = prepared.heel[: prepared.grid.slice(early, at).stop]
        rest = settled(prepared.grid, until, period, model.damping, self.wanted, self.length, self._restless)
        if opened is None or at - opened < 15.0:
            return LiveLook(at, rest, roll, nan, nan, None, (), "fine", (), rest.says)
        wind = pressure_on(prepared.grid, day.wind) if day.wind is not None else None
        here = replace(model, low=on_another_grid(model.low, prepared.grid, wind))
        one = evaluate_window(prepared, span, rolls_of(prepared)[1][0], here)
        if not isinstance(one, Evaluated):
            return LiveLook(at, rest, roll, nan, nan, None, (), "fine", (), one)
        motion_u, stations_u = float(np.sqrt(one.fitted.variance)), self._stations_u(prepared, one)
        # Welch and Satterthwaite (JCGM 100, G.4): only motion is known by degrees of freedom.
        wide = float(stdtrit(max(one.dof * (1.0 + (stations_u / motion_u) ** 2) ** 2, 1.0), 0.975))
        u95, stations_u95 = wide * motion_u, wide * stations_u
        step, white = prepared.grid.step, one.model.white
        needed = more_seconds(one.model, at - opened, u95, self.wanted, one.dof, white, step, stations_u95)
        reference = one.pressure if here.low.fit.coefficient.size else nan
        still = still_stretches(prepared.grid, prepared.heel, prepared.windows, period)[0]
        asked = checks.run(evidence_of(lately, prepared, one, here.low, wind, roll, reference, 0, still))
        verdict, reasons = checks.judge(asked)
        mean = one.fitted.mean + float(one.fitted.weight @ one.wind_part)
        interval = "" if needed.says.startswith("Interval") else f" Interval {needed.u95 / DEGREE:.4f} deg,"
        says = f"Heel {mean / DEGREE:+.4f} deg.{interval} {needed.says}"
        return LiveLook(at, rest, roll, mean, needed.u95, needed, asked, verdict, reasons, says)

    def _stations_u(self, prepared: Prepared, one: Evaluated) -> float:
        """Standard uncertainty (rad) that the stations leave in a window however long it is, as when it is closed."""
        none = np.zeros(1)
        common = Common(prepared.alignment, 0.0, 0.0, np.zeros((1, 1)), none, rounding_u(prepared, [one]))
        every = sum(line.u**2 for line in budget_of(one, 0, common))
        level = one.fitted.mean - (self._first if np.isfinite(self._first) else one.fitted.mean)
        scale = prepared.alignment.scale_u * level
        return float(np.sqrt(max(every - one.fitted.variance, 0.0) + scale**2))


def _restlessness(learnt: Learnt) -> float:
    """Scatter (rad) of smoothed heel about its level where she stood still, as a day's windows show it."""
    prepared, model = learnt.prepared, learnt.model
    smooth, width = smoothed_level(prepared.grid, prepared.heel, 1.0 / model.frequency)
    inner = [smooth[part][width:-width] for part in model.still if part.stop - part.start > 3 * width]
    spread = [float(np.std(one[np.isfinite(one)])) for one in inner if np.isfinite(one).sum() >= width]
    return float(np.median(spread)) if spread else float("nan")


def _first_level(prepared: Prepared) -> float:
    """Heel (rad) of the first window, taken for that without weights off their places (common practice)."""
    first = prepared.windows[0] if prepared.windows else None
    inside = prepared.heel[prepared.grid.slice(first.start, first.stop)] if first is not None else np.zeros(0)
    inside = inside[np.isfinite(inside)]
    return float(np.mean(inside)) if inside.size else float("nan")


def _standing_in(day: Day, before: float) -> tuple[WindowSpan, ...]:
    """Steady stretches that end before a time (s), to learn from where no window is closed yet."""
    found = _stretches(day) if day.heel else []
    return tuple(WindowSpan(f"still {k}", s.start, s.stop) for k, s in enumerate(found) if s.stop <= before)


def _without_readings(prepared: Prepared) -> Prepared:
    """What `prepare_like` needs: the stations' alignment and noise, the grid's step and the roll."""
    none = np.zeros(0)
    traces = tuple(Trace(trace.station, none, none) for trace in prepared.traces)
    return replace(prepared, traces=traces, marks=(), bins=(), heel=none, variance=none, aligned=none)


def suggest_windows(day: Day, shortest: float = 60.0, longest: float = 600.0) -> tuple[WindowSpan, ...]:
    """Suggest windows from the record alone; evaluate them with `dsp.day.evaluate_day` for their verdicts.

    Parameters
    ----------
    day : traces; its windows are not looked at.
    shortest, longest : s.
    """
    return tuple(
        WindowSpan(f"suggested {k + 1}", s.start, s.stop) for k, s in enumerate(_stretches(day, shortest, longest))
    )


def _stretches(day: Day, shortest: float = 40.0, longest: float = 600.0) -> list[Suggestion]:
    """Steady stretches of the whole record, at the roll period that the record itself shows."""
    times = [t.time for t in day.heel if t.time.size]
    if not times:
        return []
    begin, end = float(min(t[0] for t in times)), float(max(t[-1] for t in times))
    # Pieces of two minutes, fewer and longer ones on a long day: the stations are brought together piece by piece.
    edges = np.linspace(begin, end, max(2, min(int((end - begin) / 120.0), 60) + 1))
    pieces = tuple(WindowSpan(f"{k}", float(edges[k]), float(edges[k + 1])) for k in range(edges.size - 1))
    prepared = prepare(replace(day, windows=pieces))
    if isinstance(prepared, str):
        return []
    return suggested(prepared.grid, prepared.heel, 1.0 / prepared.roll_frequency, shortest, longest)


def _since(trace: Trace, start: float) -> Trace:
    first = int(np.searchsorted(trace.time, start))
    suspect = trace.suspect[first:] if trace.suspect.size == trace.time.size else trace.suspect
    return Trace(trace.station, trace.time[first:], trace.value[first:], suspect)
