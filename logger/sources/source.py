"""What every source is."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Callable
from typing import Protocol

Sink = Callable[[bytes, int], object]
"""Takes bytes and the monotonic moment they came; never waits, never raises."""


class SourceLost(Exception):
    """Raised when a source cannot be opened or gives no more; the supervisor opens it again."""


class Source(Protocol):
    """Something that gives bytes or messages while it runs."""

    @property
    def name(self) -> str:
        """Short name for people, such as ``COM4``."""

    async def run(self, opened: Callable[[], None]) -> None:
        """Open, call ``opened``, deliver until cancelled.

        Called by the supervisor, again and again. Returns when the source has come to its end by itself.

        Raises
        ------
        SourceLost where it cannot be opened or breaks.
        """


async def run_in_thread(
    name: str, work: Callable[[threading.Event, Callable[[], None]], None], opened: Callable[[], None]
) -> None:
    """Run a blocking reader in a thread of its own until it ends or we are cancelled.

    ``work(stop, opened)`` must look at ``stop`` at least every few tenths of a second. What it raises is raised here.
    """
    loop = asyncio.get_running_loop()
    ended: asyncio.Future[None] = loop.create_future()
    stop = threading.Event()

    def settle(error: BaseException | None) -> None:
        if ended.done():
            return
        if error is None:
            ended.set_result(None)
        else:
            ended.set_exception(error)

    def on_loop(call: Callable[..., None], *arguments: object) -> None:
        try:
            loop.call_soon_threadsafe(call, *arguments)
        except RuntimeError:
            # The loop ended first; nobody waits any more.
            stop.set()

    def body() -> None:
        try:
            work(stop, lambda: on_loop(opened))
        except BaseException as error:  # carried to the loop
            on_loop(settle, error)
        else:
            on_loop(settle, None)

    thread = threading.Thread(target=body, name=name, daemon=True)
    thread.start()
    try:
        await ended
    finally:
        stop.set()
        for _ in range(100):
            if not thread.is_alive():
                break
            await asyncio.sleep(0.02)
