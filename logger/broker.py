"""A broker of our own on loopback, so that a laptop alone works.

What it does not promise: it keeps its sessions in memory only, forgets a client without a password the moment it goes
away, and does not send again what was on its way then (measured: none of 1500 messages came again). It speaks MQTT
3.1.1 only and takes about a thousand messages a second. For the day itself use mosquitto with the settings of
docs/mosquitto.md.
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
import socket
import sys
from collections.abc import AsyncIterator

from config.errors import bad

NOT_PROMISED = (
    "the embedded broker keeps nothing while the logger is away and nothing over its own end; "
    "for the day itself use mosquitto, see docs/mosquitto.md"
)
"""Said on screen whenever the embedded broker is used."""


@contextlib.asynccontextmanager
async def embedded_broker(port: int, host: str = "127.0.0.1") -> AsyncIterator[None]:
    """Run a broker on loopback for as long as the block lasts.

    Raises
    ------
    BadInput where the port is taken or the extra is not installed.
    """
    for name in ("amqtt", "transitions"):
        logging.getLogger(name).setLevel(logging.CRITICAL)
    try:
        from amqtt.broker import Broker
    except ImportError:
        raise bad("plan.toml", "broker.url", "embedded", "the extra: pip install 'quietheel[broker]'") from None
    _check_port(host, port)
    broker = Broker(
        {
            "listeners": {"default": {"type": "tcp", "bind": f"{host}:{port}", "max_connections": 200}},
            "plugins": {"amqtt.plugins.authentication.AnonymousAuthPlugin": {"allow_anonymous": True}},
        }
    )
    await broker.start()
    try:
        yield
    finally:
        with contextlib.suppress(Exception):
            # Its ending may fail where a client broke off in the middle of a packet; nothing of ours depends on it.
            async with asyncio.timeout(5):
                await broker.shutdown()


def _check_port(host: str, port: int) -> None:
    with socket.socket() as probe:
        if sys.platform != "win32":
            # There it would let two programs have the port; elsewhere it only overlooks connections just ended.
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError:
            raise bad("plan.toml", "broker.port", port, "a free port; another program listens there already") from None
