"""A clock for tests that never wait."""

from __future__ import annotations

import asyncio
import heapq
import itertools

from logger.clock import SECOND, Anchor


class HandClock:
    """A clock that stands still until a test moves it; its system clock can be stepped."""

    def __init__(self, start_utc_ns: int = 1_900_000_000 * SECOND) -> None:
        self._now = 1_000 * SECOND
        self._anchor = Anchor(self._now, start_utc_ns)
        self._system_offset = 0
        self._sleepers: list[tuple[int, int, asyncio.Future[None]]] = []
        self._order = itertools.count()

    @property
    def speed(self) -> float:
        """See `Clock`."""
        return 1.0

    @property
    def anchor(self) -> Anchor:
        """The anchor of the run."""
        return self._anchor

    def monotonic_ns(self) -> int:
        """See `Clock`."""
        return self._now

    def system_utc_ns(self) -> int:
        """See `Clock`."""
        return self._anchor.utc_at(self._now) + self._system_offset

    def host_ns(self, monotonic_ns: int | None = None) -> int:
        """See `Clock`."""
        return self._anchor.utc_at(self._now if monotonic_ns is None else monotonic_ns)

    def utc_ns(self) -> int:
        """See `Clock`."""
        return self.host_ns()

    async def sleep(self, seconds: float) -> None:
        """Wait until a test has moved the clock far enough."""
        if seconds <= 0:
            await asyncio.sleep(0)
            return
        woken = asyncio.get_running_loop().create_future()
        heapq.heappush(self._sleepers, (self._now + round(seconds * SECOND), next(self._order), woken))
        await woken

    def step_system(self, seconds: float) -> None:
        """Put the system clock forward (or back)."""
        self._system_offset += round(seconds * SECOND)

    async def advance(self, seconds: float) -> None:
        """Move on, waking each sleeper at its own moment and letting everything that then can run do so."""
        end = self._now + round(seconds * SECOND)
        await _settle()
        while self._sleepers and self._sleepers[0][0] <= end:
            due, _, woken = heapq.heappop(self._sleepers)
            self._now = max(self._now, due)
            if not woken.done():
                woken.set_result(None)
            await _settle()
        self._now = end
        await _settle()


async def _settle() -> None:
    for _ in range(20):
        await asyncio.sleep(0)
