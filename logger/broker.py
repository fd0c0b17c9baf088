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
    await _port_is_free(host, port)
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


async def _port_is_free(host: str, port: int) -> None:
    try:
        _, writer = await asyncio.open_connection(host, port)
    except OSError:
        return
    writer.close()
    raise bad("plan.toml", "broker.port", port, "a free port; another program listens there already")
