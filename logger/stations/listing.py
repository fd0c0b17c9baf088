"""What is plugged in and what is being said: serial ports with sample lines, topics seen at the broker."""

from __future__ import annotations

import asyncio
import contextlib
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import serial
from paho.mqtt.client import MQTTMessage

from config.stations import Broker
from logger.credentials import Credentials
from logger.sources.mqtt_address import broker_address, tls_context
from logger.sources.mqtt_client import AcknowledgingClient
from logger.sources.mqtt_words import CONNECT_S, in_words
from logger.sources.serial import PORT_FAULTS, plain, system_ports

BAUDS = (4800, 9600, 38400, 115200)
"""Tried in turn on a port nobody described (4800 and 38400: NMEA 0183 as read in its open summaries; the others are
common practice)."""
SAMPLES = 3
LONGEST_SAMPLE = 120
"""Characters shown of a line or payload."""
MOST_TOPICS = 500
"""A broker with more topics than this is not the test's own; the rest is counted, not listed."""


@dataclass(frozen=True)
class PortSeen:
    """One serial port."""

    port: str
    """Name to put into the plan."""
    description: str
    usb_serial: str
    """Serial number of the USB adapter; empty where it has none."""
    baud: int
    """At which the samples were read; 0 where nothing was."""
    samples: tuple[str, ...]
    """Lines as they came, unprintable characters as dots."""
    problem: str = ""
    """Why it could not be read; empty if it could."""


@dataclass(frozen=True)
class TopicSeen:
    """One topic at the broker."""

    topic: str
    messages: int
    rate_hz: float
    samples: tuple[str, ...]


def ports_seen(
    seconds: float = 1.5,
    bauds: Sequence[int] = BAUDS,
    *,
    ports: Callable[[], Iterable[Any]] = system_ports,
    busy: frozenset[str] = frozenset(),
) -> list[PortSeen]:
    """List the serial ports of this machine with lines read from each.

    Parameters
    ----------
    seconds : how long to listen at each baud rate; stops at the first rate that gives readable lines.
    bauds : rates to try. Empty: do not open any port.
    ports : gives the system's list.
    busy : ports to leave alone, since something records from them.
    """
    found = []
    for info in sorted(ports(), key=lambda info: str(info.device)):
        device = str(info.device)
        seen = PortSeen(device, str(getattr(info, "description", "") or ""), str(info.serial_number or ""), 0, ())
        if device in busy:
            found.append(_with(seen, problem="in use"))
        else:
            found.append(_listen(seen, seconds, bauds))
    return found


def _listen(seen: PortSeen, seconds: float, bauds: Sequence[int]) -> PortSeen:
    best: tuple[float, int, tuple[str, ...]] = (0.0, 0, ())
    for baud in bauds:
        try:
            with contextlib.closing(serial.serial_for_url(seen.port, baudrate=baud, timeout=0.1)) as line:
                data = _read(line, seconds)
        except PORT_FAULTS as error:
            return _with(seen, problem=plain(error))
        share = sum(32 <= byte < 127 or byte in (9, 10, 13) for byte in data) / max(1, len(data))
        if data and share > best[0]:
            best = (share, baud, _lines(data))
        if share > 0.98 and len(best[2]) >= 2:
            break
    return _with(seen, baud=best[1], samples=best[2]) if best[1] else seen


def _read(line: Any, seconds: float) -> bytes:
    until = time.monotonic() + seconds
    data = b""
    while time.monotonic() < until and len(data) < 4096:
        data += line.read(max(1, min(1024, line.in_waiting)))
    return data


def _lines(data: bytes) -> tuple[str, ...]:
    # The first piece is the end of a line whose beginning was not heard.
    pieces = [piece for piece in data.replace(b"\r", b"\n").split(b"\n")[1:] if piece]
    return tuple(shown(piece) for piece in (pieces or [data])[:SAMPLES])


def shown(data: bytes) -> str:
    """Text that can be put on any screen: at most `LONGEST_SAMPLE` characters, nothing unprintable.

    >>> shown(b"$YXXDR,A,1.2,D\\x1b[2J")
    '$YXXDR,A,1.2,D.[2J'
    """
    text = data[:LONGEST_SAMPLE].decode("utf-8", "replace")
    return "".join(character if character.isprintable() else "." for character in text)


def _with(seen: PortSeen, *, baud: int = 0, samples: tuple[str, ...] = (), problem: str = "") -> PortSeen:
    return PortSeen(seen.port, seen.description, seen.usb_serial, baud, samples, problem)


async def topics_seen(
    broker: Broker, folder: Path, who: Credentials, seconds: float = 3.0, topic: str = "#"
) -> tuple[list[TopicSeen], int]:
    """Ask the broker for a few seconds what is published.

    Parameters
    ----------
    broker : the plan's table.
    folder : test folder, for certificate files.
    topic : which topics to listen to.

    Returns
    -------
    Topics in order of name, and the number of messages on topics beyond `MOST_TOPICS`.

    Raises
    ------
    OSError where the broker cannot be reached; BadInput where the plan's table cannot be used.
    """
    import aiomqtt

    host, port, tls = broker_address(broker)
    version = aiomqtt.ProtocolVersion.V311 if broker.url == "embedded" or broker.protocol != "5" else None
    counts: dict[str, int] = {}
    samples: dict[str, list[str]] = {}
    beyond = 0

    def take(message: MQTTMessage) -> None:
        nonlocal beyond
        try:
            name = shown(message.topic.encode())
        except UnicodeDecodeError:
            name = "a topic that is no text"
        if name not in counts and len(counts) >= MOST_TOPICS:
            beyond += 1
            return
        counts[name] = counts.get(name, 0) + 1
        kept = samples.setdefault(name, [])
        if len(kept) < SAMPLES:
            kept.append(shown(bytes(message.payload)))

    client = AcknowledgingClient(
        take,
        host,
        port,
        username=who.username,
        password=who.password,
        protocol=version or aiomqtt.ProtocolVersion.V5,
        tls_context=tls_context(broker, folder) if tls else None,
        timeout=CONNECT_S,
    )
    try:
        async with client:
            await client.subscribe(topic, qos=0)
            begun = time.monotonic()
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(seconds):
                    raise aiomqtt.MqttError(await client.lost())
            passed = time.monotonic() - begun
    except aiomqtt.MqttError as error:
        raise OSError(f"broker {host}:{port}: {in_words(str(error))}") from error
    finally:
        client.close()
    found = [TopicSeen(name, count, count / passed, tuple(samples[name])) for name, count in sorted(counts.items())]
    return found, beyond
