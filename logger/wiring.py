"""From the plan's stations to sources: stations that share a port, a line or the broker share one source."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from pathlib import Path

from config.errors import bad
from config.stations import Broker, ModbusSource, MqttSource, PlaybackSource, SerialSource, Station, TcpSource
from logger.byte_queue import ByteQueue
from logger.clock import Clock
from logger.credentials import Credentials
from logger.intake import Intake
from logger.records import Flag, Quantity, Reading
from logger.sources.mqtt import Deliver, MqttSession, Subscriber
from logger.sources.mqtt_address import broker_address
from logger.sources.source import Sink, Source

Append = Callable[[Sequence[Reading]], int]
"""``append(readings)``: hand rows to the record; how many rows must be safe for these to be, -1 if refused."""
FEW_PORTS = 8
"""So many serial ports are read as bytes come; on more of them the readings of busy lines gather for a moment."""


class Line:
    """One station on the wire: its intake, and its queue where bytes come by a thread or a socket."""

    def __init__(self, station: Station, broker: Broker, speed: float = 1.0) -> None:
        self.station = station
        self.intake = Intake(station, describe(station, broker), speed)
        self.queue = None if isinstance(station.source, MqttSource | PlaybackSource) else ByteQueue()


def describe(station: Station, broker: Broker) -> str:
    """Where a station's readings come from, as it stands in the record; never credentials.

    >>> from config.stations import Station
    >>> describe(Station(name="aft", source={"type": "serial", "port": "COM4", "baud": 38400}), Broker())
    'serial:COM4@38400'
    """
    source = station.source
    match source:
        case SerialSource():
            return f"serial:{source.port}@{source.baud}"
        case TcpSource():
            return f"tcp:{source.host}:{source.port}"
        case ModbusSource():
            return f"modbus:{source.port}@{source.baud}/{source.unit_address}"
        case MqttSource():
            host, port, tls = broker_address(broker)
            return f"{'mqtts' if tls else 'mqtt'}://{host}:{port}/{source.topic}"
        case PlaybackSource():
            return f"playback:{source.run}"
        case _:
            return "manual"


def sources(
    lines: Iterable[Line], broker: Broker, clock: Clock, append: Append, who: Credentials, folder: Path
) -> list[tuple[Source, list[Line]]]:
    """Make the sources of a plan, each with the stations that hang on it.

    Raises
    ------
    BadInput where stations share a port with different settings or a run to play leads outside the folder.
    """
    found: list[tuple[Source, list[Line]]] = []
    shared: dict[tuple[str, str], list[Line]] = {}
    for line in lines:
        source = line.station.source
        match source:
            case SerialSource() | ModbusSource():
                # By the port alone: an adapter with several ports has one serial number for all of them.
                shared.setdefault((source.type, source.port), []).append(line)
            case TcpSource():
                shared.setdefault((source.type, f"{source.host}:{source.port}"), []).append(line)
            case MqttSource():
                shared.setdefault((source.type, ""), []).append(line)
            case PlaybackSource():
                found.append((_playback(line, source, clock, append, folder), [line]))
            case _:
                continue
    many = sum(kind == "serial" for kind, _ in shared) > FEW_PORTS
    for (kind, port), sharing in shared.items():
        if kind != "mqtt":
            _same_settings(port, sharing)
        found.append((_shared(kind, sharing, broker, clock, append, who, folder, many), sharing))
    return found


def _shared(
    kind: str,
    sharing: list[Line],
    broker: Broker,
    clock: Clock,
    append: Append,
    who: Credentials,
    folder: Path,
    many_ports: bool,
) -> Source:
    first = sharing[0].station.source
    if kind == "mqtt":
        subscribers = [Subscriber(_topic(line), _deliver(line, clock, append)) for line in sharing]
        return MqttSession(broker, subscribers, clock, who, folder)
    if isinstance(first, SerialSource):
        from logger.sources.serial import GATHER_S, SerialPort

        return SerialPort(first, _fan_out(sharing), clock, gather_s=GATHER_S if many_ports else 0.0)
    if isinstance(first, TcpSource):
        from logger.sources.tcp import TcpLine

        return TcpLine(first, _fan_out(sharing), clock)
    from logger.sources.modbus import ModbusLine

    devices = [(line.station.source, _fan_out([line])) for line in sharing]
    return ModbusLine([(source, sink) for source, sink in devices if isinstance(source, ModbusSource)], clock)


def _fan_out(lines: list[Line]) -> Sink:
    puts = [line.queue.put for line in lines if line.queue is not None]
    if len(puts) == 1:
        return puts[0]

    def put(data: bytes, monotonic_ns: int) -> None:
        for one in puts:
            one(data, monotonic_ns)

    return put


def _topic(line: Line) -> str:
    assert isinstance(line.station.source, MqttSource)
    return line.station.source.topic


def _deliver(line: Line, clock: Clock, append: Append) -> Deliver:
    intake = line.intake

    def deliver(payload: bytes, monotonic_ns: int, flags: Flag) -> int:
        readings = intake.take(payload, clock.host_ns(monotonic_ns), flags)
        return append(readings) if readings else 0

    return deliver


def _playback(line: Line, source: PlaybackSource, clock: Clock, append: Append, folder: Path) -> Source:
    from logger.sources.playback import Playback

    run = (folder / source.run).resolve()
    if not run.is_relative_to(folder.resolve()):
        raise bad("plan.toml", f"stations, {line.station.name}, source.run", source.run, "a run inside the test folder")

    def play(quantity: Quantity, value: float, host_ns: int, flags: Flag) -> None:
        reading = line.intake.adopt(quantity, value, host_ns, flags)
        if reading is not None:
            append((reading,))

    return Playback(source, run, line.station.name, play, clock)


def _same_settings(port: str, sharing: list[Line]) -> None:
    own = {"unit_address", "registers", "poll_s"}
    settings = [line.station.source.model_dump(exclude=own) for line in sharing]
    if any(other != settings[0] for other in settings[1:]):
        names = ", ".join(line.station.name for line in sharing)
        raise bad("plan.toml", f"stations {names}", port, "the same settings for all stations on one port")
