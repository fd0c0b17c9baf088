"""One end of the wire: a pseudo-terminal, a TCP port, an RFC 2217 port or a topic at a broker."""

from __future__ import annotations

import asyncio
import contextlib
import os
import sys
from collections.abc import AsyncIterator
from typing import Protocol

from config.stations import SerialSource, Source, TcpSource

WAIT_FOR_READER_S = 30.0
"""Wall time that an outlet waits for somebody to connect before it gives up."""

OPENING_S = 0.15
"""Wall time that a reader may take from opening a pseudo-terminal to emptying its buffer."""


class Outlet(Protocol):
    """Where a station's bytes go out."""

    @property
    def source(self) -> Source:
        """How a plan reaches it."""

    async def connected(self) -> None:
        """Return once somebody listens; raises TimeoutError where nobody comes."""

    async def send(self, data: bytes) -> None:
        """Hand bytes over; waits while the other end is not keeping up, so that nothing is lost."""


def has_ptys() -> bool:
    """Whether this system has pseudo-terminals."""
    return sys.platform != "win32" and hasattr(os, "openpty")


class PtyOutlet:
    """A pseudo-terminal: a serial port without the cable."""

    def __init__(self, master: int, name: str, baud: int) -> None:
        self._master = master
        self._held: int | None = None
        self._source = SerialSource(type="serial", port=name, baud=baud)

    @property
    def source(self) -> Source:
        """See `Outlet`."""
        return self._source

    async def connected(self) -> None:
        """Return once the port has been opened; opening throws away what was sent before it.

        From then on this end holds the port open as well, so that a reader may go and come again.
        """
        async with asyncio.timeout(WAIT_FOR_READER_S):
            while _hung_up(self._master):
                await asyncio.sleep(0.02)
        await asyncio.sleep(OPENING_S)
        self._held = os.open(self._source.port, os.O_RDWR | os.O_NOCTTY)

    async def send(self, data: bytes) -> None:
        """See `Outlet`."""
        loop = asyncio.get_running_loop()
        view = memoryview(data)
        while view:
            try:
                view = view[os.write(self._master, view) :]
            except BlockingIOError:
                room = loop.create_future()
                loop.add_writer(self._master, _wake, room)
                try:
                    await room
                finally:
                    loop.remove_writer(self._master)

    def close(self) -> None:
        """Close both ends."""
        for end in (self._held, self._master):
            if end is not None:
                os.close(end)


def _hung_up(master: int) -> bool:
    """Whether nobody has the other end open."""
    import select

    look = select.poll()
    look.register(master, select.POLLHUP)
    return any(what & select.POLLHUP for _, what in look.poll(0))


def _wake(room: asyncio.Future[None]) -> None:
    if not room.done():
        room.set_result(None)


@contextlib.asynccontextmanager
async def open_pty(baud: int) -> AsyncIterator[PtyOutlet]:
    """Open a pseudo-terminal in raw mode."""
    if sys.platform == "win32":
        raise OSError("this system has no pseudo-terminals")
    import tty

    master, slave = os.openpty()
    outlet = PtyOutlet(master, os.ttyname(slave), baud)
    try:
        tty.setraw(slave)
        os.set_blocking(master, False)
        os.close(slave)
        yield outlet
    finally:
        outlet.close()


class TcpOutlet:
    """A server of one port; whoever connects gets the bytes from then on."""

    def __init__(self, rfc2217: bool, baud: int) -> None:
        self._port = 0
        self._rfc2217 = rfc2217
        self._baud = baud
        self._someone = asyncio.Event()
        self._writers: dict[asyncio.StreamWriter, Telnet | None] = {}

    @property
    def source(self) -> Source:
        """See `Outlet`."""
        if self._rfc2217:
            return SerialSource(type="serial", port=f"rfc2217://127.0.0.1:{self._port}", baud=self._baud)
        return TcpSource(type="tcp", host="127.0.0.1", port=self._port)

    async def connected(self) -> None:
        """See `Outlet`."""
        async with asyncio.timeout(WAIT_FOR_READER_S):
            await self._someone.wait()

    async def send(self, data: bytes) -> None:
        """See `Outlet`."""
        for writer, telnet in list(self._writers.items()):
            writer.write(telnet.escape(data) if telnet else data)
        for writer in list(self._writers):
            with contextlib.suppress(ConnectionError):
                await writer.drain()

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        telnet = Telnet(writer, self._baud) if self._rfc2217 else None
        if telnet is None:
            self._welcome(writer, None)
        try:
            while data := await reader.read(4096):
                if telnet is not None:
                    telnet.take(data)
                    if telnet.ready and writer not in self._writers:
                        self._welcome(writer, telnet)
        except ConnectionError:
            pass  # the other end went away; the next one is welcome
        finally:
            self._writers.pop(writer, None)
            writer.close()

    def _welcome(self, writer: asyncio.StreamWriter, telnet: Telnet | None) -> None:
        self._writers[writer] = telnet
        self._someone.set()

    @contextlib.asynccontextmanager
    async def serving(self) -> AsyncIterator[TcpOutlet]:
        """Listen on a free loopback port for as long as the block lasts."""
        server = await asyncio.start_server(self._serve, "127.0.0.1", 0)
        self._port = server.sockets[0].getsockname()[1]
        try:
            yield self
        finally:
            server.close()
            for writer in list(self._writers):
                with contextlib.suppress(ConnectionError):
                    await writer.drain()
                writer.close()


class Telnet:
    """The serving side of RFC 2217 on one connection: agrees to what a client asks, answers its port settings.

    Telnet commands start with 255 (RFC 854): 251 to 254 are WILL, WONT, DO, DONT; 250 to 240 enclose a
    subnegotiation. Option 44 is the port control (RFC 2217 section 2); its answers carry the command plus 100.
    """

    _IAC, _DONT, _DO, _WONT, _WILL, _SB, _SE, _COM_PORT = 255, 254, 253, 252, 251, 250, 240, 44
    _BINARY, _NO_GO_AHEAD = 0, 3

    def __init__(self, writer: asyncio.StreamWriter, baud: int) -> None:
        self._writer = writer
        self._baud = baud
        self._pending = b""
        self._said: set[tuple[int, int]] = set()
        self.ready = False
        """The client has set the port up."""

    def escape(self, data: bytes) -> bytes:
        """Double every byte 255."""
        return data.replace(b"\xff", b"\xff\xff")

    def take(self, data: bytes) -> None:
        """Read what the client says and answer it."""
        data = self._pending + data
        at = 0
        while at < len(data):
            if data[at] != self._IAC:
                at += 1
                continue
            if at + 1 >= len(data):
                break
            command = data[at + 1]
            if command in (self._WILL, self._WONT, self._DO, self._DONT):
                if at + 2 >= len(data):
                    break
                self._option(command, data[at + 2])
                at += 3
            elif command == self._SB:
                end = data.find(bytes([self._IAC, self._SE]), at)
                if end < 0:
                    break
                self._port_control(data[at + 2 : end].replace(b"\xff\xff", b"\xff"))
                at = end + 2
            else:
                at += 2
        self._pending = data[at:]

    def _option(self, command: int, option: int) -> None:
        known = option in (self._BINARY, self._NO_GO_AHEAD, self._COM_PORT)
        if command == self._WILL:
            self._say(self._DO if known else self._DONT, option)
        elif command == self._DO:
            self._say(self._WILL if known else self._WONT, option)

    def _say(self, word: int, option: int) -> None:
        if (word, option) not in self._said:
            self._said.add((word, option))
            self._writer.write(bytes([self._IAC, word, option]))

    def _port_control(self, body: bytes) -> None:
        if len(body) < 2 or body[0] != self._COM_PORT:
            return
        command, value = body[1], body[2:]
        if command == 1 and value == b"\0\0\0\0":
            value = self._baud.to_bytes(4, "big")
        answer = bytes([self._COM_PORT, command + 100]) + value
        frame = bytes([self._IAC, self._SB]) + answer.replace(b"\xff", b"\xff\xff") + bytes([self._IAC, self._SE])
        self._writer.write(frame)
        if command == 12 and value in (b"\x02", b"\x03"):
            # PURGE-DATA of the sending side: clients that empty both buffers do it last when they open the port.
            # What came before would be thrown away with the purge of the receiving side.
            self.ready = True
