"""A publisher at the day's broker; each message is acknowledged before too many follow it."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator, Iterable
from urllib.parse import urlsplit

import aiomqtt

from config.errors import bad
from config.stations import MqttSource, Source

IN_FLIGHT = 8
"""Messages not yet acknowledged; a sender waits beyond it."""


class TopicOutlet:
    """One topic at a broker that need not run yet; `joined` connects all topics of a feed when it plays."""

    def __init__(self, topic: str) -> None:
        self._topic = topic
        self._client: aiomqtt.Client | None = None
        self._room = asyncio.Semaphore(1)

    @property
    def source(self) -> Source:
        """See `sim.feeds.outlet.Outlet`."""
        return MqttSource(type="mqtt", topic=self._topic)

    def join(self, client: aiomqtt.Client, room: asyncio.Semaphore) -> None:
        """Publish through this client from now on."""
        self._client, self._room = client, room

    async def connected(self) -> None:
        """The broker takes messages at any time."""

    async def send(self, data: bytes) -> None:
        """Publish one message and wait for its acknowledgement (QoS 1)."""
        if self._client is None:
            raise RuntimeError(f"{self._topic}: not joined to a broker")
        async with self._room:
            await self._client.publish(self._topic, data, qos=1, timeout=30)


@contextlib.asynccontextmanager
async def joined(url: str | None, outlets: Iterable[object]) -> AsyncIterator[None]:
    """Connect the topics among some outlets for as long as the block lasts; none among them, no connection."""
    topics = [outlet for outlet in outlets if isinstance(outlet, TopicOutlet)]
    if not topics:
        yield
        return
    if url is None:
        raise bad("feed", "broker", None, "mqtt://host:port of a running broker, for stations that speak MQTT")
    async with publisher(url) as client:
        room = asyncio.Semaphore(IN_FLIGHT)
        for outlet in topics:
            outlet.join(client, room)
        yield


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
