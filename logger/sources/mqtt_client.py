"""The connection underneath an MQTT session: aiomqtt drives it, paho-mqtt has the switch for manual acknowledgement.

`AcknowledgingClient` is the one place that reaches through the former to the latter, and tests fail should either
change. Everything a broken connection can do ends in `AcknowledgingClient._break`, with what it died of;
`logger.sources.mqtt_words` says it to people.
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
import ssl
import threading
from collections.abc import Callable
from typing import Any

import aiomqtt
import paho.mqtt.client as paho

from logger.sources.mqtt_words import KEEPALIVE_S


class _LastTrouble(logging.Handler):
    """Keeps the last thing the library complained of, which its callbacks do not hand over."""

    def __init__(self) -> None:
        super().__init__()
        self.text = ""

    def emit(self, record: logging.LogRecord) -> None:
        self.text = record.getMessage().partition("on socket: ")[2]


def heed() -> None:
    """Raise CancelledError if the running task was asked to end.

    ``asyncio.wait_for`` of Python 3.11, underneath aiomqtt, forgets a cancellation that comes in the same turn of the
    loop as what it waits for: the task goes on as if nobody had asked.
    """
    task = asyncio.current_task()
    if task is not None and task.cancelling():
        raise asyncio.CancelledError


class AcknowledgingClient(aiomqtt.Client):
    """aiomqtt's client with acknowledgement in our hands and messages handed over without a queue between."""

    def __init__(
        self, on_message: Callable[[paho.MQTTMessage], None], hostname: str, port: int, **options: object
    ) -> None:
        # A logger of its own: the supervisor says what goes wrong, lines of the library would go to the screen beside.
        own = logging.Logger("quietheel.mqtt", logging.ERROR)
        self._trouble = _LastTrouble()
        own.addHandler(self._trouble)
        super().__init__(hostname, port, logger=own, **options)  # type: ignore[arg-type]
        self.on_answer: Callable[[bool], None] = lambda session_present: None
        """Called as soon as the broker takes us, before any message: whether it has kept our session."""
        self._closed = False
        self._client.manual_ack_set(True)
        self._client.on_message = lambda _client, _userdata, message: on_message(message)
        then = self._client.on_connect

        def connected(client: paho.Client, userdata: object, flags: paho.ConnectFlags, *rest: object) -> None:
            self.on_answer(bool(flags.session_present))
            # A broker may name another interval (MQTT 5, 3.2.2.3.14), 0 for never: a dead one would not be noticed.
            client._keepalive = min(client._keepalive or KEEPALIVE_S, KEEPALIVE_S)
            if then is not None:
                then(client, userdata, flags, *rest)  # type: ignore[arg-type]

        self._client.on_connect = connected
        self._client.on_disconnect = self._broken_off
        self._loop_thread = threading.get_ident()
        self._client.on_socket_open = self._opened
        self._client.on_socket_register_write = self._want_to_write

    # --- what paho calls -------------------------------------------------------------------------------------------

    def _broken_off(self, client: paho.Client, userdata: object, flags: Any, reason: Any, *rest: Any) -> None:
        if self._connected.cancelled():
            return  # aiomqtt would raise this cancellation into whatever runs just now
        if self._connected.done() and not reason.is_failure:
            self._on_disconnect(client, userdata, flags, reason, *rest)
            return
        said = str(reason) if reason.is_failure and str(reason) != "Unspecified error" else ""
        early = "" if self._connected.done() else " before it answered"
        self._break(aiomqtt.MqttError(said or self._trouble.text or f"the broker hung up{early}"))

    def _break(self, error: Exception) -> None:
        """Tell everybody who waits; aiomqtt leaves some of them to their time limits, which give no reason."""
        if not self._connected.done():
            self._connected.set_exception(aiomqtt.MqttError(str(error) or type(error).__name__))
        elif not self._disconnected.done():
            self._disconnected.set_exception(error)
        for granted in self._pending_subscribes.values():
            if not granted.done():
                granted.set_exception(aiomqtt.MqttError(str(error) or type(error).__name__))
        for ended in self._pending_unsubscribes.values():
            ended.set()

    def _opened(self, _client: paho.Client, _userdata: object, sock: Any) -> None:
        # Called in the thread that connects. aiomqtt's own hands a number over that may be another socket's by then.
        self._loop.call_soon_threadsafe(self._add_reader, sock)

    def _add_reader(self, sock: Any) -> None:
        if not self._closed and sock.fileno() >= 0:
            self._loop.add_reader(sock.fileno(), self._read)
            self._misc_task = self._loop.create_task(self._misc_loop())

    def _want_to_write(self, _client: paho.Client, _userdata: object, sock: Any) -> None:
        # aiomqtt's own hands the socket to the loop later, when it may be closed already.
        if threading.get_ident() == self._loop_thread:
            self._add_writer(sock)
        else:
            self._loop.call_soon_threadsafe(self._add_writer, sock)

    def _add_writer(self, sock: Any) -> None:
        if not self._closed and sock is not None and sock.fileno() >= 0:
            self._loop.add_writer(sock.fileno(), self._write)

    def _read(self) -> None:
        try:
            self._client.loop_read()
            # What TLS has decoded already shows on no socket.
            while isinstance(sock := self._client._sock, ssl.SSLSocket) and sock.pending() > 0:
                self._client.loop_read()
        except Exception as error:  # a broken connection can show as nearly anything here
            self._break(error)

    def _write(self) -> None:
        try:
            self._client.loop_write()
        except Exception as error:
            self._break(error)

    def _client_connect(self) -> None:
        """Connect, in a thread that cannot be cancelled; let go again if nobody waits for the connection any more."""
        super()._client_connect()
        if self._closed:
            with contextlib.suppress(RuntimeError):  # the loop has ended, and the process will
                self._loop.call_soon_threadsafe(self._client._sock_close)

    # --- what the session calls ------------------------------------------------------------------------------------

    def acknowledge(self, mid: int) -> None:
        """Tell the broker that message ``mid`` (QoS 1) is ours for good."""
        self._client.ack(mid, 1)

    async def lost(self) -> str:
        """Wait until the connection breaks; why."""
        try:
            await asyncio.shield(self._disconnected)
        except Exception as error:  # a hostile or broken broker can make paho raise nearly anything
            return str(error) or type(error).__name__
        return "connection closed"

    def close(self) -> None:
        """Let go of the socket whatever state the connection is in; a failed connect leaves it open."""
        self._closed = True
        self._client._sock_close()
        for future in (self._connected, self._disconnected):
            if future.done() and not future.cancelled():
                future.exception()  # seen, whoever else has not

    def drop(self) -> None:
        """Disconnect; the session stays at the broker."""
        self._client.disconnect()
