"""A bounded queue with an end, statistics and a stated overload policy, between a reader and what follows it.

Overload policy. A serial line, a socket or a register poll cannot wait: what does not fit is dropped, counted, and the
next item taken says how much went missing before it, so that the next reading carries ``Flag.DROPPED_BEFORE``. MQTT can
wait: nothing is put here that the broker has not been told to hold back (receive maximum), see `logger.sources.mqtt`.
"""

from __future__ import annotations

import asyncio
import threading
from collections import deque
from dataclasses import dataclass
from typing import NamedTuple

CHUNK_COST = 200
"""Bytes. What holding a chunk costs beside its data, so that a flood of single bytes is bounded too."""
ENOUGH = 65_536
"""Bytes held from which there is no waiting for more."""


class Chunk(NamedTuple):
    """Bytes as they came, stamped where they came in."""

    data: bytes
    monotonic_ns: int
    """Moment on the run's monotonic clock at which they were in our hands."""
    dropped_bytes: int = 0
    """Bytes dropped just before these because the queue was full."""
    dropped_lines: int = 0
    """Line ends among the dropped bytes: about as many readings are lost."""
    resumed: bool = False
    """First bytes after the source was opened again; a half line left over belongs to what was before."""


@dataclass(frozen=True)
class QueueStatistics:
    """How a queue is doing."""

    chunks: int
    bytes: int
    """Held now, with the cost of holding them."""
    limit_bytes: int
    most_bytes: int
    """Fullest it has been."""
    put_bytes: int
    dropped_bytes: int


class ByteQueue:
    """Bounded queue of chunks: put from any thread, taken by one task on the loop.

    Parameters
    ----------
    limit_bytes : what it holds at most.
    gather_s : after waking, the taker waits for this long (wall time) unless much is held already, so that many small
        chunks cost one turn of the loop. Stamps were taken before, nothing is lost by it.
    """

    def __init__(self, limit_bytes: int = 4_000_000, gather_s: float = 0.05) -> None:
        self._limit = limit_bytes
        self._gather_s = gather_s
        self._chunks: deque[Chunk] = deque()
        self._lock = threading.Lock()
        self._loop = asyncio.get_running_loop()
        self._loop_thread = threading.get_ident()
        self._ready = asyncio.Event()
        self._woken = False
        self._closed = False
        self._bytes = self._most = self._put = self._dropped = 0
        self._gap_bytes = self._gap_lines = 0
        self._resumed = False

    def put(self, data: bytes, monotonic_ns: int) -> bool:
        """Take bytes in; returns False if they had to be dropped. Never waits."""
        with self._lock:
            if self._closed:
                return False
            self._put += len(data)
            cost = len(data) + CHUNK_COST
            if self._bytes + cost > self._limit:
                self._dropped += len(data)
                self._gap_bytes += len(data)
                self._gap_lines += data.count(b"\n") or data.count(b"\r")
                return False
            self._chunks.append(Chunk(data, monotonic_ns, self._gap_bytes, self._gap_lines, self._resumed))
            self._gap_bytes = self._gap_lines = 0
            self._resumed = False
            self._bytes += cost
            self._most = max(self._most, self._bytes)
            wake = not self._woken
            self._woken = True
        if wake:
            self._wake()
        return True

    def mark_resumed(self) -> None:
        """Say that the next bytes are the first after an interruption."""
        with self._lock:
            self._resumed = True

    def close(self) -> None:
        """End: what is in it can still be taken, nothing more goes in."""
        with self._lock:
            self._closed = True
        self._wake()

    def _wake(self) -> None:
        try:
            if threading.get_ident() == self._loop_thread:
                self._ready.set()
            else:
                self._loop.call_soon_threadsafe(self._ready.set)
        except RuntimeError:
            # The loop has ended; nobody is left to wake.
            return

    async def take(self) -> list[Chunk]:
        """Return everything in it, waiting for the first chunk; an empty list is the end."""
        while True:
            await self._ready.wait()
            if self._gather_s and not self._closed and self._bytes < ENOUGH:
                await asyncio.sleep(self._gather_s)
            self._ready.clear()
            chunks = self.take_nowait()
            if chunks or self._closed:
                if self._closed:
                    self._ready.set()
                return chunks

    def take_nowait(self) -> list[Chunk]:
        """Return everything in it now."""
        with self._lock:
            chunks = list(self._chunks)
            self._chunks.clear()
            self._bytes = 0
            self._woken = False
        return chunks

    @property
    def statistics(self) -> QueueStatistics:
        """How it is doing."""
        with self._lock:
            return QueueStatistics(len(self._chunks), self._bytes, self._limit, self._most, self._put, self._dropped)
