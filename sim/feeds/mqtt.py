"""A publisher at the day's broker; each message is acknowledged before too many follow it."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator
from urllib.parse import urlsplit

import aiomqtt

from config.errors import bad
from config.stations import MqttSource, Source

IN_FLIGHT = 20
"""Messages not yet acknowledged; a sender waits beyond it."""


class TopicOutlet:
    """One topic."""

    def __init__(self, client: aiomqtt.Client, topic: str, room: asyncio.Semaphore) -> None:
        self._client = client
        self._topic = topic
        self._room = room

    @property
    def source(self) -> Source:
        """See `sim.feeds.outlet.Outlet`."""
        return MqttSource(type="mqtt", topic=self._topic)

    async def connected(self) -> None:
        """The broker takes messages at any time."""

    async def send(self, data: bytes) -> None:
        """Publish one message and wait for its acknowledgement (QoS 1)."""
        async with self._room:
            await self._client.publish(self._topic, data, qos=1, timeout=30)


@contextlib.asynccontextmanager
async def publisher(url: str) -> AsyncIterator[aiomqtt.Client]:
    """Connect to a broker given as ``mqtt://host:port``."""
    parts = urlsplit(url)
    if parts.scheme != "mqtt" or not parts.hostname:
        raise bad("feed", "broker", url, "mqtt://host:port")
    async with aiomqtt.Client(
        parts.hostname, parts.port or 1883, identifier="quietheel-simulator", protocol=aiomqtt.ProtocolVersion.V311
    ) as client:
        yield client
