"""What the logger takes in, beside a bare reader that only counts, in the same run.

    python tests/bench/throughput.py [--seconds 6] [serial mqtt stations]

serial: a pty written at several baud rates and as fast as it goes; bare reader: pyserial, its customary read call,
counts line ends and does nothing else. Without pace two more stand beside it: pyserial's own `readline` in a loop, and
the bare reader that takes each line apart (its moment, checksum and number) and keeps nothing.
mqtt: QoS 1 through a real mosquitto; bare subscriber: aiomqtt, counts messages, acknowledges by itself.
stations: 64 stations at 100 Hz over TCP and over ptys; share of one core used.
Prints one table; exit code 1 where a bar is missed.
"""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import multiprocessing
import os
import resource
import statistics
import sys
import tempfile
import time
from pathlib import Path

from rig import Mosquitto

from config.plan import Plan
from config.stations import Broker, ChannelMap, MqttSource, SerialSource, Station, TcpSource
from logger.dialects.nmea import sentence
from logger.service import recording, run_logger

SHARE = 0.7
HALF_A_CORE = 0.5
HEEL = (ChannelMap(quantity="heel", field="HEEL", unit="deg"),)


class Pair:
    """A pty: the flood goes into the master, the reader opens the slave."""

    def __init__(self) -> None:
        import pty
        import tty

        self.master, self.slave = pty.openpty()
        tty.setraw(self.master)
        tty.setraw(self.slave)
        self.path = os.ttyname(self.slave)

    def flood(self, seconds: float, baud: float) -> multiprocessing.Process:
        return spawn(_flood_handle, self.master, seconds, baud)

    def close(self) -> None:
        os.close(self.master)
        os.close(self.slave)


def _flood_handle(handle: int, seconds: float, baud: float) -> None:
    """Write lines at a baud rate (ten bits a byte), or as fast as it goes where that is 0."""
    block = b"".join(sentence(f"HEXDR,A,{n / 100:.2f},D,HEEL") for n in range(20))
    began = time.monotonic()
    written = 0
    while (now := time.monotonic()) < began + seconds:
        if baud and written > (now - began) * baud / 10:
            time.sleep(0.0005)
            continue
        view = memoryview(block)
        while view:
            view = view[os.write(handle, view) :]
        written += len(block)
    os._exit(0)


def count_lines(port, still) -> tuple[int, float]:
    """Lines and seconds: the customary read call, line ends counted, nothing else done with them."""
    lines, began, last = 0, 0.0, 0.0
    while still() or port.in_waiting:
        data = port.read(max(1, port.in_waiting))
        if data:
            last = time.monotonic()
            began = began or last
            lines += data.count(b"\n")
    return lines, last - began


def read_lines(port, still) -> tuple[int, float]:
    """Lines and seconds by pyserial's own readline."""
    lines, began, last = 0, 0.0, 0.0
    while still() or port.in_waiting:
        if port.readline():
            last = time.monotonic()
            began = began or last
            lines += 1
    return lines, last - began


def take_apart(port, still) -> tuple[int, float]:
    """Lines and seconds: each with its moment, its checksum proved and its value a number; nothing is kept."""
    lines, began, last, held = 0, 0.0, 0.0, b""
    while still() or port.in_waiting:
        data = port.read(max(1, port.in_waiting))
        at = time.monotonic_ns()
        if not data:
            continue
        last = at / 1e9
        began = began or last
        *whole, held = (held + data).split(b"\r\n")
        for line in whole:
            body, _, given = line[1:].partition(b"*")
            proof = 0
            for byte in body:
                proof ^= byte
            if int(given, 16) == proof and (at, float(body.split(b",")[2])):
                lines += 1
    return lines, last - began


def bare_serial(seconds: float, baud: float, how=count_lines) -> float:
    """Lines a second by pyserial and nothing of ours."""
    import serial

    pair = Pair()
    port = serial.serial_for_url(pair.path, baudrate=9600, timeout=0.2)
    process = pair.flood(seconds, baud)
    lines, lasted = how(port, process.is_alive)
    port.close()
    process.join()
    pair.close()
    return lines / lasted


async def logged_serial(seconds: float, baud: float) -> tuple[float, int]:
    """Readings a second recorded from the same stream, and bytes dropped."""
    pair = Pair()
    source = SerialSource(type="serial", port=pair.path)
    plan = Plan(stations=(Station(name="aft", dialect="nmea", source=source, channels=HEEL),))
    with tempfile.TemporaryDirectory() as folder:
        async with recording(plan, Path(folder)) as run:
            intake, queue = run.lines[0].intake, run.lines[0].queue
            assert queue is not None
            while run.supervisors[0].times_opened == 0:
                await asyncio.sleep(0.01)
            process = pair.flood(seconds, baud)
            while not intake.readings:
                await asyncio.sleep(0.005)
            began = time.monotonic()
            while process.is_alive() or queue.statistics.chunks:
                await asyncio.sleep(0.02)
            taken, ended = intake.readings, time.monotonic()
            dropped = queue.statistics.dropped_bytes
        process.join()
    pair.close()
    return taken / (ended - began), dropped


def flood_broker(port: int, topic: str, count: int) -> None:
    async def flood() -> None:
        import aiomqtt

        async with aiomqtt.Client("127.0.0.1", port, max_inflight_messages=0, max_queued_outgoing_messages=0) as client:
            client.pending_calls_threshold = 10**9
            paho = client._client
            for number in range(count):
                paho.publish(topic, b'{"roll": %d.125, "t": %d.5}' % (number % 90, 1_900_000_000 + number), qos=1)
                if number % 50 == 0:
                    await asyncio.sleep(0)
            while paho._out_messages:
                await asyncio.sleep(0.05)

    with asyncio.Runner(loop_factory=asyncio.SelectorEventLoop) as runner:
        runner.run(flood())


def spawn(target, *arguments) -> multiprocessing.Process:
    process = multiprocessing.get_context("fork").Process(target=target, args=arguments, daemon=True)
    process.start()
    return process


def bare_client(port: int, protocol: str):
    import aiomqtt
    from paho.mqtt.packettypes import PacketTypes
    from paho.mqtt.properties import Properties

    if protocol == "3.1.1":
        return aiomqtt.Client("127.0.0.1", port, identifier="bare", clean_session=False)
    properties = Properties(PacketTypes.CONNECT)
    properties.SessionExpiryInterval = 3600
    five = aiomqtt.ProtocolVersion.V5
    return aiomqtt.Client(
        "127.0.0.1", port, identifier="bare5", protocol=five, clean_start=False, properties=properties
    )


async def bare_mqtt(port: int, count: int, protocol: str) -> float:
    """All messages wait in the broker's queue for a session, then are taken as fast as it goes."""
    async with bare_client(port, protocol) as client:
        await client.subscribe("flood/#", qos=1)
    await asyncio.to_thread(spawn(flood_broker, port, "flood/a", count).join)
    got, began = 0, time.monotonic()
    async with bare_client(port, protocol) as client:
        async for _ in client.messages:
            got += 1
            if got == count:
                break
        rate = count / (time.monotonic() - began)
        await client.unsubscribe("flood/#")
        return rate


async def logged_mqtt(port: int, count: int, protocol: str) -> float:
    station = Station(
        name="aft",
        dialect="json",
        source=MqttSource(type="mqtt", topic="flood/#"),
        channels=(ChannelMap(quantity="heel", field="roll", unit="deg"),),
        time_field="t",
        time_format="unix_s",
    )
    plan = Plan(
        stations=(station,),
        broker=Broker(url=f"mqtt://127.0.0.1:{port}", protocol=protocol, client_id=f"logger{protocol}"),
    )
    with tempfile.TemporaryDirectory() as folder:
        async with recording(plan, Path(folder)) as run:
            while run.supervisors[0].times_opened == 0:
                await asyncio.sleep(0.01)
        await asyncio.to_thread(spawn(flood_broker, port, "flood/a", count).join)
        async with recording(plan, Path(folder)) as run:
            began = time.monotonic()
            # Until every row is on disk and acknowledged, which is more than the bare one promises.
            while run.now().rows_safe < count or run._session.pending:
                await asyncio.sleep(0.02)
            rate = count / (time.monotonic() - began)
            await run._session._client.unsubscribe("flood/#")
            return rate


def feed_many_ptys(handles: list[int], seconds: float, rate_hz: float) -> None:
    due, end = time.monotonic(), time.monotonic() + seconds
    while time.monotonic() < end:
        text = sentence(f"HEXDR,A,{due % 10:.3f},D,HEEL")
        for handle in handles:
            os.write(handle, text)
        due += 1 / rate_hz
        time.sleep(max(0.0, due - time.monotonic()))
    os._exit(0)


def serve_many(ports, seconds: float, rate_hz: float) -> None:
    import socket

    servers = []
    for _ in range(64):
        server = socket.create_server(("127.0.0.1", 0))
        servers.append(server)
        ports.append(server.getsockname()[1])
    peers = [server.accept()[0] for server in servers]
    due, end = time.monotonic(), time.monotonic() + seconds
    while time.monotonic() < end:
        text = sentence(f"HEXDR,A,{due % 10:.3f},D,HEEL")
        with contextlib.suppress(OSError):
            for peer in peers:
                peer.sendall(text)
        due += 1 / rate_hz
        time.sleep(max(0.0, due - time.monotonic()))
    os._exit(0)


async def many_stations(kind: str, seconds: float, rate_hz: float = 100.0) -> tuple[float, float]:
    """Share of one core and readings a second."""
    pairs: list[Pair] = []
    if kind == "serial":
        pairs = [Pair() for _ in range(64)]
        made = [SerialSource(type="serial", port=pair.path) for pair in pairs]
    else:
        manager = multiprocessing.Manager()
        ports = manager.list()
        feeder = spawn(serve_many, ports, seconds + 4, rate_hz)
        while len(ports) < 64:
            await asyncio.sleep(0.05)
        made = [TcpSource(type="tcp", host="127.0.0.1", port=port) for port in ports]
    plan = Plan(
        stations=tuple(
            Station(name=f"s{n}", dialect="nmea", source=source, channels=HEEL) for n, source in enumerate(made)
        )
    )
    with tempfile.TemporaryDirectory() as folder:
        async with recording(plan, Path(folder)) as run:
            if pairs:
                while not all(s.times_opened for s in run.supervisors):
                    await asyncio.sleep(0.05)
                feeder = spawn(feed_many_ptys, [pair.master for pair in pairs], seconds + 3, rate_hz)
            await asyncio.sleep(2)
            had, used, began = run.now().rows, cpu(), time.monotonic()
            await asyncio.sleep(seconds)
            now, used_now, ended = run.now().rows, cpu(), time.monotonic()
        feeder.join(10)
    for pair in pairs:
        pair.close()
    return (used_now - used) / (ended - began), (now - had) / (ended - began)


def cpu() -> float:
    used = resource.getrusage(resource.RUSAGE_SELF)
    return used.ru_utime + used.ru_stime


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=6.0)
    parser.add_argument("--messages", type=int, default=60_000)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("what", nargs="*", default=["serial", "mqtt", "stations"])
    options = parser.parse_args()
    rows: list[tuple[str, str, str, bool | None]] = []
    said = {True: "holds", False: "MISSED", None: "no bar"}
    if "serial" in options.what:
        for baud in (115_200, 921_600, 3_000_000, 12_000_000, 0):
            bare, logged, dropped = [], [], 0
            others: dict[str, list[float]] = {"readline of pyserial": [], "each line taken apart": []}
            for _ in range(options.rounds):
                bare.append(bare_serial(options.seconds, baud))
                if not baud:
                    for one, how in zip(others.values(), (read_lines, take_apart), strict=True):
                        one.append(bare_serial(options.seconds, baud, how))
                rate, lost = run_logger(logged_serial(options.seconds, baud))
                logged.append(rate)
                dropped += lost
            share = statistics.median(logged) / statistics.median(bare)
            pair = f"{statistics.median(logged):,.0f} of {statistics.median(bare):,.0f}"
            figures = f"{pair} lines/s, {dropped:,} bytes dropped"
            speed = f"{baud / 1e6:g} Mbaud" if baud else "no pace at all"
            rows.append((f"serial against a bare reader, {speed}", f"{share:.2f}", figures, share >= SHARE))
            for name, rates in others.items() if not baud else ():
                share = statistics.median(logged) / statistics.median(rates)
                pair = f"{statistics.median(logged):,.0f} of {statistics.median(rates):,.0f}"
                rows.append((f"  against {name}", f"{share:.2f}", f"{pair} lines/s", None))
    if "mqtt" in options.what:
        with tempfile.TemporaryDirectory() as folder, Mosquitto(Path(folder), "autosave_interval 1800\n") as broker:
            for protocol in ("3.1.1", "5"):
                bare, logged = [], []
                for _ in range(options.rounds):
                    bare.append(run_logger(bare_mqtt(broker.port, options.messages, protocol)))
                    logged.append(run_logger(logged_mqtt(broker.port, options.messages, protocol)))
                share = statistics.median(logged) / statistics.median(bare)
                figures = f"{statistics.median(logged):,.0f} of {statistics.median(bare):,.0f} messages/s"
                rows.append((f"MQTT {protocol} QoS 1 against a bare one", f"{share:.2f}", figures, share >= SHARE))
    if "stations" in options.what:
        for kind in ("serial", "tcp"):
            share, rate = run_logger(many_stations(kind, options.seconds))
            good = share <= HALF_A_CORE and rate > 6300
            rows.append(
                (f"64 stations at 100 Hz over {kind}", f"{share:.2f}", f"of a core, {rate:,.0f} readings/s", good)
            )
    for what, figure, more, good in rows:
        print(f"{what:<46}{figure:>6}  {more:<52}{said[good]}")
    return 1 if any(good is False for *_, good in rows) else 0


if __name__ == "__main__":
    sys.exit(main())
