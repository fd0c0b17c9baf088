"""Lines over TCP: a serial server, a device with a socket. Stamps are taken when the bytes reach the loop."""

from __future__ import annotations

import asyncio
import socket
from collections.abc import Callable

from config.stations import TcpSource
from logger.clock import Clock
from logger.sources.source import Sink, SourceLost

CONNECT_S = 3.0
"""How long a connection may take."""


class _Reader(asyncio.Protocol):
    def __init__(self, sink: Sink, clock: Clock, lost: asyncio.Future[str]) -> None:
        self._sink = sink
        self._now = clock.monotonic_ns
        self._lost = lost

    def data_received(self, data: bytes) -> None:
        self._sink(data, self._now())

    def connection_lost(self, exc: Exception | None) -> None:
        if not self._lost.done():
            self._lost.set_result(f"connection broken: {exc}" if exc else "the other side closed the connection")


class TcpLine:
    """One TCP connection, read for as long as it lasts."""

    def __init__(self, source: TcpSource, sink: Sink, clock: Clock) -> None:
        self._source = source
        self._sink = sink
        self._clock = clock

    @property
    def name(self) -> str:
        """Host and port."""
        return f"{self._source.host}:{self._source.port}"

    async def run(self, opened: Callable[[], None]) -> None:
        """See `logger.sources.source.Source`."""
        loop = asyncio.get_running_loop()
        lost: asyncio.Future[str] = loop.create_future()
        try:
            async with asyncio.timeout(CONNECT_S):
                transport, _ = await loop.create_connection(
                    lambda: _Reader(self._sink, self._clock, lost), self._source.host, self._source.port
                )
        except TimeoutError:
            raise SourceLost(f"no connection within {CONNECT_S:.0f} s") from None
        except OSError as error:
            raise SourceLost(error.strerror or str(error)) from error
        try:
            raw = transport.get_extra_info("socket")
            raw.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
            opened()
            raise SourceLost(await lost)
        finally:
            transport.abort()
