"""One step of the view a second, handed to every page that looks."""

from __future__ import annotations

import asyncio
import contextlib
import json
from collections.abc import AsyncIterator

from quietheel.page.view import DayView

QUEUE = 8
"""Deltas a slow page may be behind before it is given the whole day anew."""


class Broadcast:
    """Steps the view once each period and hands every page the same text."""

    def __init__(self, view: DayView, period_s: float) -> None:
        self.view = view
        self.period_s = period_s
        self.watchers: set[asyncio.Queue[str | None]] = set()
        self.wake = asyncio.Event()
        self.trouble = ""

    async def run(self) -> None:
        """Step until cancelled. A fault in one step is shown on the page and does not end the day."""
        while True:
            self.wake.clear()
            try:
                delta = await asyncio.to_thread(self.view.step)
                self.trouble = ""
            except Exception as error:
                # The record and the marks are written by others: whatever they hold, the screen must go on. What cannot
                # be read now may be readable in a second.
                self.trouble = str(error)
                delta = {
                    "next": {
                        "sentence": "The record cannot be read",
                        "then": self.trouble,
                        "action": None,
                        "others": [],
                    }
                }
            self.tell(as_text(delta))
            # Not `wait_for`: on Python 3.11 it forgets a cancellation that comes together with the event.
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(self.period_s):
                    await self.wake.wait()

    def tell(self, text: str | None) -> None:
        """Put one message before every page; None ends the streams."""
        for queue in self.watchers:
            if queue.full():
                while not queue.empty():
                    queue.get_nowait()
                queue.put_nowait(as_text(self.view.whole()))
            else:
                queue.put_nowait(text)

    async def stream(self) -> AsyncIterator[bytes]:
        """Give one page the whole day, then every change."""
        queue: asyncio.Queue[str | None] = asyncio.Queue(QUEUE)
        self.watchers.add(queue)
        try:
            text: str | None = as_text(self.view.whole())
            while text is not None:
                yield f"event: delta\ndata: {text}\n\n".encode()
                text = await queue.get()
        finally:
            self.watchers.discard(queue)


def as_text(data: object) -> str:
    """JSON on one line, safe inside a page: no ``<`` can end the element it stands in.

    >>> as_text({"name": "</script>"})
    '{"name":"\\\\u003c/script>"}'
    """
    return json.dumps(data, separators=(",", ":"), ensure_ascii=False, allow_nan=False).replace("<", "\\u003c")
