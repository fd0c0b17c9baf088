"""Play by a clock that is handed in: the wall's, a faster one, or one that a test moves."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Sequence
from typing import Protocol

from sim.marks import Mark

SHORTEST_WAIT_S = 0.004
"""Wall time. What falls due within it goes out together: hundreds of times real time without a wake-up a sample."""


class Clock(Protocol):
    """What a feed needs of time; the logger's clocks are such."""

    @property
    def speed(self) -> float:
        """How much faster than the wall it runs."""

    def host_ns(self) -> int:
        """UTC ns now."""

    async def sleep(self, seconds: float) -> None:
        """Wait, in seconds of this clock."""


async def until(clock: Clock, time_ns: int) -> None:
    """Wait until the clock says so."""
    while (left := time_ns - clock.host_ns()) > 0:
        await clock.sleep(left * 1e-9)
    await asyncio.sleep(0)


async def due_marks(marks: Sequence[Mark], clock: Clock) -> AsyncIterator[Mark]:
    """Yield each mark of the day when its time has come, for the front door to enter as a person would."""
    for mark in marks:
        await until(clock, mark.time_ns)
        yield mark
