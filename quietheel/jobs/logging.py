"""Record all stations of a test folder until somebody stops it."""

from __future__ import annotations

import asyncio
import contextlib
import signal
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from config.errors import bad
from config.folder import TestFolder
from logger.clock import Clock
from logger.live import Notice, Now
from logger.service import recording, run_logger


def log(
    folder: Path | str = ".",
    *,
    for_s: float | None = None,
    say: Callable[[Notice], None] = lambda notice: None,
    show: Callable[[Now], None] = lambda now: None,
    every_s: float = 1.0,
    clock: Clock | None = None,
) -> Now:
    """Record until interrupted (Ctrl-C, a termination signal) or for ``for_s`` seconds.

    Parameters
    ----------
    say : called with everything worth putting on screen.
    show : called each ``every_s`` seconds with the state of every station.

    Returns
    -------
    The last state, once everything is sealed on disk; ``without_readings`` names stations that gave nothing at all.

    Raises
    ------
    BadInput where the plan cannot be used, has no station to read, or another logger writes this record.
    """
    place = TestFolder(Path(folder))
    plan = place.plan()
    if not any(station.source.type != "manual" for station in plan.stations):
        raise bad("plan.toml", "stations", None, "at least one [[stations]] with a source that can be read")

    async def record() -> Now:
        stop = asyncio.Event()
        with _signals(stop):
            async with recording(plan, place.path, clock=clock, say=say) as run:
                end = None if for_s is None else asyncio.get_running_loop().time() + for_s
                while not stop.is_set():
                    show(run.now())
                    left = every_s if end is None else min(every_s, end - asyncio.get_running_loop().time())
                    if left <= 0:
                        break
                    with contextlib.suppress(TimeoutError):
                        async with asyncio.timeout(left):
                            await stop.wait()
                run.stop_reason = "interrupted" if stop.is_set() else "time is up"
            return run.now()

    return run_logger(record())


@contextlib.contextmanager
def _signals(stop: asyncio.Event) -> Iterator[None]:
    """Let Ctrl-C and a termination signal end the recording in order; a second one is left to the system."""
    loop = asyncio.get_running_loop()
    before: dict[int, Any] = {}

    def ask(number: int, frame: object) -> None:
        signal.signal(number, before[number])
        loop.call_soon_threadsafe(stop.set)

    for name in ("SIGINT", "SIGTERM", "SIGBREAK"):
        number = getattr(signal, name, None)
        if number is not None:
            with contextlib.suppress(ValueError):  # only the main thread may
                before[number] = signal.getsignal(number)
                signal.signal(number, ask)
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
