"""The day worked out as far as it has come, in a thread of its own, and only when what it depends on has changed."""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, replace

from dsp.live import LiveView
from dsp.types import DayHeel
from logger.events import Event
from logger.marks import MarkedWindow
from reduction.types import GmResult, Quantified


@dataclass(frozen=True)
class Worked:
    """What the closed windows that stand come to."""

    numbers: tuple[int, ...] = ()
    """Lines that opened the windows, in the order of ``heel.windows``."""
    heel: DayHeel | None = None
    gm: GmResult | None = None
    displacement: float = float("nan")
    """kg, as used for GM."""
    history: tuple[tuple[str, float, float], ...] = ()
    """(label of the last window, GM m, u95 m) for the first two windows, the first three, and so on."""
    live: LiveView | None = None
    """Knows how she moves on this day, for looks at the open window; None before the first window is closed."""
    epoch_ns: int = 0
    """Epoch of the day that ``live`` has learnt."""
    kg: Quantified | None = None
    """m, as inclined; None where the folder does not give it."""
    next_step: str = ""
    """What would settle or improve the answer most, as a sentence."""
    why_no_gm: str = "GM needs windows with two different moments."


WorkOut = Callable[[Sequence[MarkedWindow], Sequence[Event], int], Worked]
"""Closed windows that stand, all marks, the moment (UTC ns) up to which the record counts -> what they come to."""


class Worker:
    """Keeps `Worked` up to date without ever holding up the screen.

    Windows that were worked out stay as they are until the marks change; a change that comes while one is being
    worked out waits its turn, and only the latest of several counts.
    """

    def __init__(self, work_out: WorkOut) -> None:
        self._work_out = work_out
        self._pool = ThreadPoolExecutor(1, thread_name_prefix="quietheel-reduce")
        self._lock = threading.Lock()
        self._key: tuple[MarkedWindow, ...] = ()
        self._running: Future[None] | None = None
        self._waiting: tuple[tuple[MarkedWindow, ...], tuple[Event, ...], int] | None = None
        self._latest = Worked()

    @property
    def latest(self) -> Worked:
        """The last result."""
        return self._latest

    @property
    def busy(self) -> bool:
        """Whether something is being worked out."""
        with self._lock:
            return self._running is not None

    def ask(self, windows: Sequence[MarkedWindow], events: Sequence[Event]) -> None:
        """Have these windows worked out, unless that is what the latest result is of.

        A window carries all that marks say of it (times, confirmations, who stood elsewhere, an overruled verdict), so
        that marks which change no window cost nothing.
        """
        closed = tuple(w for w in windows if w.stop_ns is not None and not w.voided)
        stop_ns = max((w.stop_ns or 0 for w in closed), default=0)
        with self._lock:
            if closed == self._key:
                return
            self._key = closed
            if not closed:
                self._waiting, self._latest = None, Worked()
                return
            self._waiting = (closed, tuple(events), stop_ns)
            if self._running is None:
                self._running = self._pool.submit(self._run)

    def wait(self) -> None:
        """Wait until nothing is left to do."""
        while (running := self._running) is not None:
            running.result()

    def close(self) -> None:
        """End the thread once it is done with what it is at."""
        with self._lock:
            self._waiting = None
        self._pool.shutdown(wait=True, cancel_futures=True)

    def _run(self) -> None:
        while True:
            with self._lock:
                if self._waiting is None:
                    self._running = None
                    return
                windows, events, stop_ns = self._waiting
                self._waiting = None
            try:
                found = self._work_out(windows, events, stop_ns)
            except Exception as error:
                # Whatever goes wrong here must not take the screen down on the day: it is said there instead.
                found = replace(self._latest, why_no_gm=f"The day could not be worked out: {error}")
            with self._lock:
                if windows == self._key:
                    self._latest = found
