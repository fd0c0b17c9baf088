"""MQTT: one persistent session for all topics of the plan; a message is acknowledged only once its rows are on disk.

Overload policy: MQTT can wait. The broker holds back whatever we have not acknowledged beyond ``RECEIVE_MAXIMUM``
messages (MQTT 5; with 3.1.1 the broker's own in-flight limit does it), and the session keeps what came while we were
away. So a message is lost neither to a crash here nor to an outage there, as long as the broker keeps its promise.

Where the broker is stands in `logger.sources.mqtt_address`; the connection itself is
`logger.sources.mqtt_client`; what it died of is put into words by `logger.sources.mqtt_words`.
"""

from __future__ import annotations

import contextlib
from collections import Counter, deque
from collections.abc import Callable
from pathlib import Path

import aiomqtt
import paho.mqtt.client as paho
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from config.errors import BadInput
from config.stations import Broker
from logger.clock import Clock
from logger.credentials import Credentials
from logger.records import Flag
from logger.sources.mqtt_address import broker_address, tls_context
from logger.sources.mqtt_client import AcknowledgingClient, heed
from logger.sources.mqtt_words import CONNECT_S, KEEPALIVE_S, in_words
from logger.sources.source import SourceLost

RECEIVE_MAXIMUM = 65_535
"""Messages the broker may send before one of them must be acknowledged (MQTT 5, section 3.1.2.11.3)."""
SESSION_S = 7 * 86400
"""How long the broker keeps the session while we are away (MQTT 5, section 3.1.2.11.2)."""
LARGEST_PACKET = 300 * 1024
"""Bytes (MQTT 5, section 3.1.2.11.4); a longer payload is refused by the decoder with any protocol."""
REDELIVERED_WITHIN_NS = 120_000_000_000
"""A broker sends again at once; what has not come by then was not owed."""
SHORT_NS = 3_000_000_000
"""A connection over sooner than this, again and again, is another client's doing under our name."""
BURST_SHARE = 0.25
"""After a resumed session, messages closer together than this share of the usual spacing come from the queue."""

Deliver = Callable[[bytes, int, Flag], int]
"""``deliver(payload, monotonic_ns, flags)``: record it; returns how many rows of the run must be safe before the
message may be acknowledged, or -1 if it was refused and must come again."""


def topic_matches(pattern: str, topic: str) -> bool:
    """Whether a subscription covers a topic (MQTT 5 section 4.7).

    >>> topic_matches("pier/+/tilt", "pier/aft/tilt"), topic_matches("pier/#", "pier"), topic_matches("#", "$SYS/x")
    (True, True, False)
    """
    if topic.startswith("$") and not pattern.startswith("$"):
        return False
    wanted, given = pattern.split("/"), topic.split("/")
    for at, level in enumerate(wanted):
        if level == "#":
            return True
        if at >= len(given) or (level != "+" and level != given[at]):
            return False
    return len(wanted) == len(given)


class Subscriber:
    """What one station wants of the broker."""

    def __init__(self, topic: str, deliver: Deliver) -> None:
        self.topic = topic
        self._deliver = deliver
        self._bursting = False
        self._last_ns = 0
        self._usual_ns = 0.0

    def resumed(self) -> None:
        """A session was taken up again: what comes in a burst now was sent before."""
        self._bursting = True
        self._last_ns = 0

    def message(self, payload: bytes, now_ns: int, *, redelivered: bool) -> int:
        """Hand one message on; see `Deliver`.

        Messages redelivered or in the burst after an outage are late: unless they carry a device time, their time of
        arrival is not the time of what they say, and their readings are flagged.
        """
        first, since = self._last_ns == 0, now_ns - self._last_ns
        self._last_ns = now_ns
        if self._bursting:
            # How long the first one took to come says nothing: the broker may have been slow to begin.
            self._bursting = first or redelivered or since < BURST_SHARE * (self._usual_ns or 100_000_000)
        elif since < 10_000_000_000:
            self._usual_ns += (since - self._usual_ns) / 16 if self._usual_ns else since
        late = redelivered or self._bursting
        return self._deliver(payload, now_ns, Flag.LATE if late else Flag.NONE)


class MqttSession:
    """The logger's session at the broker.

    Parameters
    ----------
    broker : the plan's ``[broker]`` table.
    subscribers : one for each station.
    folder : test folder, to which certificate files are relative.
    """

    def __init__(
        self, broker: Broker, subscribers: list[Subscriber], clock: Clock, who: Credentials, folder: Path
    ) -> None:
        self._broker = broker
        self._subscribers = subscribers
        self._clock = clock
        self._who = who
        self._host, self._port, self._tls = broker_address(broker)
        self._folder = folder
        self._files = self._file_stamps()
        self._context = tls_context(broker, folder) if self._tls else None
        # The embedded broker speaks 3.1.1 only.
        self._five = broker.protocol == "5" and broker.url != "embedded"
        self._client: AcknowledgingClient | None = None
        self._pending: deque[tuple[int, int, int]] = deque()
        self._acknowledged: deque[int] = deque(maxlen=4096)
        self._owed: Counter[int] = Counter()
        self._safe_before: dict[int, int] = {}
        self._routes: dict[str, tuple[Subscriber, ...]] = {}
        self._again = False
        self._holding = False
        self._connected_ns = 0
        self._short = 0
        self.duplicates = 0
        """Redelivered messages whose rows are there already; not recorded twice."""
        self.kept_from_before = 0
        """Retained messages: old values of unknown age, not recorded."""
        self.unroutable = 0
        """Messages on topics of no station, or whose topic is no text."""

    @property
    def name(self) -> str:
        """Scheme, host and port; never credentials."""
        return f"{'mqtts' if self._tls else 'mqtt'}://{self._host}:{self._port}"

    @property
    def clear_text_password(self) -> bool:
        """Whether a password would travel unencrypted to another machine."""
        loopback = self._host in ("localhost", "::1") or self._host.startswith("127.")
        return self._who.password is not None and not self._tls and not loopback

    @property
    def pending(self) -> int:
        """Messages received and not acknowledged yet."""
        return len(self._pending)

    async def run(self, opened: Callable[[], None]) -> None:
        """See `logger.sources.source.Source`."""
        self._read_certificates_again()
        client = self._make_client()
        client.on_answer = self._answered
        try:
            async with client:
                heed()
                self._client = client
                topics = sorted({subscriber.topic for subscriber in self._subscribers})
                for topic in topics:
                    granted = await client.subscribe(topic, qos=1)
                    heed()
                    if any((code if isinstance(code, int) else code.value) >= 0x80 for code in granted):
                        raise SourceLost(f"the broker refuses a subscription to {topic!r}")
                opened()
                raise SourceLost(self._why_lost(in_words(await client.lost())))
        except aiomqtt.MqttError as error:
            raise SourceLost(in_words(str(error)) or type(error).__name__) from error
        except (OSError, ValueError) as error:
            raise SourceLost(in_words(str(error))) from error
        finally:
            client.close()
            self._client = None
            self._forget_connection()

    def acknowledge(self, safe_rows: int) -> int:
        """Acknowledge every message whose rows are on disk; returns how many. Call it on the loop after a flush."""
        client = self._client
        if client is None:
            return 0
        count = 0
        while self._pending and self._pending[0][0] <= safe_rows:
            _, mid, mark = self._pending.popleft()
            client.acknowledge(mid)
            self._acknowledged.append(mark)
            count += 1
        if self._owed and self._clock.monotonic_ns() - self._connected_ns > REDELIVERED_WITHIN_NS:
            self._owed.clear()
            self._safe_before.clear()
        return count

    async def settle(self, seconds: float = 2.0) -> None:
        """Before the end: wait until the broker has our acknowledgements. Called after `hold` and `acknowledge`.

        A broker that sees the connection close may not read what came just before. It answers in order, so an answer
        to a later request (to end a subscription that never was) says that it has read everything.
        """
        if self._client is not None:
            with contextlib.suppress(aiomqtt.MqttError, OSError, ValueError):
                await self._client.unsubscribe("quietheel/nothing", timeout=seconds)

    def hold(self) -> None:
        """Take no more messages; what comes now stays with the broker for the next run."""
        self._holding = True

    def come_again(self) -> None:
        """Drop the connection if messages were refused, so that the broker sends them again. Call it when rows fit."""
        if self._again and self._client is not None:
            self._again = False
            self._client.drop()

    def _answered(self, session_present: bool) -> None:
        # Not where `run` goes on: the first messages of the session may be here before it does.
        self._connected_ns = self._clock.monotonic_ns()
        if session_present:
            for subscriber in self._subscribers:
                subscriber.resumed()

    def _why_lost(self, why: str) -> str:
        """Why an open connection broke; after the third in a row that did not last, what that may mean."""
        self._short = self._short + 1 if self._clock.monotonic_ns() - self._connected_ns < SHORT_NS else 0
        if self._short < 3:
            return why
        name = self._broker.client_id
        return (
            f"{why}, soon after it had answered, again and again; perhaps another client is called {name!r} there too"
        )

    def _file_stamps(self) -> list[tuple[str, int, int]]:
        stamps = []
        for name in (self._broker.ca_file, self._broker.client_certificate, self._broker.client_key):
            with contextlib.suppress(OSError):  # said where the file is read
                found = (self._folder / name).stat() if name else None
                stamps.append((name, found.st_mtime_ns, found.st_size) if found else ("", 0, 0))
        return stamps

    def _read_certificates_again(self) -> None:
        """Take certificates that were exchanged since: who mends what was refused need not start the logger again."""
        stamps = self._file_stamps() if self._tls else self._files
        if stamps == self._files:
            return
        try:
            self._context = tls_context(self._broker, self._folder)
        except BadInput as error:
            raise SourceLost(str(error)) from error
        self._files = stamps

    def _make_client(self) -> AcknowledgingClient:
        options: dict[str, object] = {
            "identifier": self._broker.client_id,
            "username": self._who.username,
            "password": self._who.password,
            "keepalive": KEEPALIVE_S,
            "timeout": CONNECT_S,
            "tls_context": self._context,
            "max_inflight_messages": 0,
        }
        if self._five:
            properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
            properties.SessionExpiryInterval = SESSION_S
            properties.ReceiveMaximum = RECEIVE_MAXIMUM
            properties.MaximumPacketSize = LARGEST_PACKET
            options |= {"protocol": aiomqtt.ProtocolVersion.V5, "clean_start": False, "properties": properties}
        else:
            options |= {"protocol": aiomqtt.ProtocolVersion.V311, "clean_session": False}
        return AcknowledgingClient(self._message, self._host, self._port, **options)

    def _forget_connection(self) -> None:
        """Message numbers die with a connection; remember what will come again although its rows are there.

        That is what was not acknowledged yet, and what was acknowledged last, since that may not have arrived.
        """
        self._owed.update(self._acknowledged)
        self._owed.update(mark for _, _, mark in self._pending)
        self._safe_before.update((mark, stop) for stop, _, mark in self._pending)
        self._acknowledged.clear()
        self._pending.clear()

    def _message(self, message: paho.MQTTMessage) -> None:
        now = self._clock.monotonic_ns()
        mid = message.mid if message.qos == 1 else 0
        if self._holding:
            return
        try:
            topic = message.topic
        except UnicodeDecodeError:
            topic = ""
        payload = bytes(message.payload)
        subscribers = self._routes.get(topic)
        if subscribers is None:
            subscribers = tuple(s for s in self._subscribers if topic_matches(s.topic, topic))
            if len(self._routes) < 4096:
                self._routes[topic] = subscribers
        if not subscribers or message.retain:
            self.kept_from_before += bool(subscribers)
            self.unroutable += not subscribers
            self._settle(0, mid, 0)
            return
        mark = hash((topic, payload))
        if message.dup and mark in self._owed:
            self.duplicates += 1
            self._settle(self._paid(mark), mid, mark)
            return
        stops = [s.message(payload, now, redelivered=message.dup) for s in subscribers]
        if min(stops) < 0:
            # Refused: unacknowledged it stays with the broker, which sends it again on the next connection.
            self._again = True
            return
        self._settle(max(stops), mid, mark)

    def _paid(self, mark: int) -> int:
        """Strike a redelivered message off; how many rows must be safe before it may be acknowledged this time."""
        stop = self._safe_before.get(mark, 0)
        self._owed[mark] -= 1
        if self._owed[mark] <= 0:
            del self._owed[mark]
            self._safe_before.pop(mark, None)
        return stop

    def _settle(self, stop: int, mid: int, mark: int) -> None:
        if mid:
            self._pending.append((stop, mid, mark))
