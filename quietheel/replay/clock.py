"""The clock of a day played again: runs at any speed, stands still, begins anew."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable

SLOWEST, FASTEST = 0.125, 20_000.0
"""Seconds of the day for each second of the wall."""


class PlayClock:
    """UTC of the recorded day, in ns, as it is being played.

    Never before ``start_ns`` and never after ``stop_ns``; safe to ask and to steer from several threads.

    >>> wall = iter([0, 1_000_000_000, 2_000_000_000])
    >>> clock = PlayClock(50, 10**12, speed=200.0, monotonic_ns=lambda: next(wall))
    >>> clock.now_ns(), clock.now_ns()
    (200000000050, 400000000050)
    """

    def __init__(
        self,
        start_ns: int,
        stop_ns: int,
        speed: float = 1.0,
        monotonic_ns: Callable[[], int] = time.monotonic_ns,
    ) -> None:
        self.start_ns = start_ns
        self.stop_ns = max(stop_ns, start_ns)
        self._monotonic_ns = monotonic_ns
        self._lock = threading.Lock()
        self._speed = min(max(speed, SLOWEST), FASTEST)
        self._paused = False
        self._day_ns = start_ns
        self._wall_ns = monotonic_ns()

    @property
    def speed(self) -> float:
        """Seconds of the day for each second of the wall, while it runs."""
        return self._speed

    @property
    def paused(self) -> bool:
        """Whether it stands still."""
        return self._paused

    @property
    def over(self) -> bool:
        """Whether the day has been played to its end."""
        return self.now_ns() >= self.stop_ns

    def now_ns(self) -> int:
        """UTC of the day, ns."""
        with self._lock:
            return self._now()

    def utc_ns(self) -> int:
        """The same, by the name that a log of marks asks for."""
        return self.now_ns()

    def pause(self, paused: bool) -> None:
        """Hold, or go on."""
        with self._lock:
            self._anchor(self._now())
            self._paused = paused

    def set_speed(self, speed: float) -> None:
        """Go on at another speed, held between `SLOWEST` and `FASTEST`."""
        with self._lock:
            self._anchor(self._now())
            self._speed = min(max(speed, SLOWEST), FASTEST)

    def restart(self) -> None:
        """Begin the day again."""
        with self._lock:
            self._anchor(self.start_ns)

    def finish(self) -> None:
        """Go to the end of the day."""
        with self._lock:
            self._anchor(self.stop_ns)

    def _now(self) -> int:
        if self._paused:
            return self._day_ns
        gone = int((self._monotonic_ns() - self._wall_ns) * self._speed)
        return min(self._day_ns + gone, self.stop_ns)

    def _anchor(self, day_ns: int) -> None:
        self._day_ns = day_ns
        self._wall_ns = self._monotonic_ns()
