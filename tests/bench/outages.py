"""Kill the broker, the network, the serial line again and again under load: what is missing, how soon is it back?

    python tests/bench/outages.py [--times 20]

Needs mosquitto and a system with ptys. Prints one table; exit code 1 where a bar of docs/reliability.md is missed.
"""

from __future__ import annotations

import argparse
import asyncio
import signal
import sys
import tempfile
import threading
import time
from pathlib import Path

import numpy as np
from rig import DroppableLine, Mosquitto, Publisher, Relay

from config.plan import Plan
from config.stations import Broker, ChannelMap, MqttSource, SerialSource, Station
from logger.archive.reader import read_series
from logger.dialects.nmea import sentence
from logger.records import Flag
from logger.service import recording, run_logger
from logger.sources.mqtt_words import KEEPALIVE_S

BACK_WITHIN_S = 2.0
NOTICED_WITHIN_S = 2 * KEEPALIVE_S + 2.0
"""Asked after one interval, given up after another, looked at once a second."""


def mqtt_plan(port: int, protocol: str) -> Plan:
    """One station over MQTT that stamps its own time."""
    station = Station(
        name="aft",
        dialect="json",
        source=MqttSource(type="mqtt", topic="pier/aft"),
        channels=(ChannelMap(quantity="heel", field="roll", unit="deg"),),
        time_field="t",
        time_format="unix_s",
    )
    return Plan(stations=(station,), broker=Broker(url=f"mqtt://127.0.0.1:{port}", protocol=protocol))


async def broker_killed(times: int, how: int, protocol: str, rate_hz: float = 100.0) -> dict[str, float]:
    """Messages missing and time to the first new reading, the broker killed ``times`` times."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        broker = Mosquitto(folder / "broker")
        broker.start()
        plan = mqtt_plan(broker.port, protocol)
        back: list[float] = []
        publisher = Publisher(broker.port, "pier/aft", rate_hz)
        async with recording(plan, folder) as run:
            intake = run.lines[0].intake
            await until(lambda: run.supervisors[0].times_opened > 0, 10)
            publisher.start()
            await until(lambda: intake.readings > 20, 10)
            if how == signal.SIGKILL:
                # The session is to be in the broker's store before the first kill: it writes it every 2 s.
                await asyncio.sleep(2.5)
            for _ in range(times):
                await asyncio.sleep(0.6)
                await asyncio.to_thread(broker.stop, how)
                await asyncio.sleep(0.8)
                had, opened = intake.readings, run.supervisors[0].times_opened
                await asyncio.to_thread(broker.start)
                returned = time.monotonic()
                await until(lambda: run.supervisors[0].times_opened > opened and intake.readings > had, 15)  # noqa: B023
                back.append(time.monotonic() - returned)
            taken = await asyncio.to_thread(publisher.finish)
            await asyncio.sleep(1.3)
            duplicates = run.now().stations[0].duplicates
        broker.stop()
        found = read_series(folder / "record", repair=False)[0]
        numbers = np.round(found.value).astype(int)
        flagged = int(((found.flags & Flag.DUPLICATE.value) != 0).sum())
        return {
            "sent": publisher.sent,
            "taken by broker": taken,
            "missing": publisher.sent - len(set(numbers.tolist())),
            "rows twice, not flagged": len(numbers) - flagged - len(set(numbers.tolist())),
            "redelivered, known again": duplicates + flagged,
            "back after, worst s": max(back),
        }


async def network_dead(times: int, protocol: str, rate_hz: float = 100.0) -> dict[str, float]:
    """Time until a network that died without a word is noticed, and messages missing, ``times`` times."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        noticed: list[float] = []
        back: list[float] = []
        with Mosquitto(folder / "broker") as broker:
            async with Relay(broker.port) as relay:
                publisher = Publisher(broker.port, "pier/aft", rate_hz)
                async with recording(mqtt_plan(relay.port, protocol), folder) as run:
                    supervisor, intake = run.supervisors[0], run.lines[0].intake
                    await until(lambda: supervisor.times_opened > 0, 10)
                    publisher.start()
                    for _ in range(times):
                        had = intake.readings
                        await until(lambda: intake.readings > had + 50, 10)  # noqa: B023
                        lost = supervisor.times_lost
                        relay.freeze()
                        relay.hold()
                        died = time.monotonic()
                        await until(lambda: supervisor.times_lost > lost, 30)  # noqa: B023
                        noticed.append(time.monotonic() - died)
                        await asyncio.sleep(2.0)
                        had = intake.readings
                        relay.release()
                        returned = time.monotonic()
                        await until(lambda: intake.readings > had, 15)  # noqa: B023
                        back.append(time.monotonic() - returned)
                    taken = await asyncio.to_thread(publisher.finish)
                    await asyncio.sleep(1.3)
        found = read_series(folder / "record", repair=False)[0]
        numbers = set(np.round(found.value).astype(int).tolist())
        return {
            "sent": publisher.sent,
            "taken by broker": taken,
            "missing": publisher.sent - len(numbers),
            "noticed after, worst s": max(noticed),
            "back after, worst s": max(back),
        }


async def line_dropped(times: int, rate_hz: float = 50.0) -> dict[str, float]:
    """Time to see the loss and to the first new reading, a serial line dropped ``times`` times."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        line = DroppableLine(folder / "dev")
        plan = Plan(
            stations=(
                Station(
                    name="aft",
                    dialect="nmea",
                    source=SerialSource(type="serial", port=str(line.path)),
                    channels=(ChannelMap(quantity="heel", field="HEEL", unit="deg"),),
                ),
            )
        )
        stop = threading.Event()
        sent: list[tuple[int, bool]] = []

        def talk() -> None:
            number, due = 0, time.monotonic()
            while not stop.is_set():
                sent.append((number, line.write(sentence(f"HEXDR,A,{number},D,HEEL"))))
                number += 1
                due += 1 / rate_hz
                stop.wait(max(0.0, due - time.monotonic()))

        seen: list[float] = []
        back: list[float] = []
        lost_while_open = 0
        async with recording(plan, folder) as run:
            device = threading.Thread(target=talk)
            device.start()
            intake = run.lines[0].intake
            await until(lambda: intake.readings > 10, 10)
            for _ in range(times):
                await asyncio.sleep(0.5)
                lost = run.supervisors[0].times_lost
                line.unplug()
                pulled = time.monotonic()
                await until(lambda: run.supervisors[0].times_lost > lost, 5)  # noqa: B023
                seen.append(time.monotonic() - pulled)
                await asyncio.sleep(0.7)
                had = intake.readings
                line.plug()
                returned = time.monotonic()
                await until(lambda: intake.readings > had, 10)  # noqa: B023
                back.append(time.monotonic() - returned)
            await asyncio.sleep(0.5)
            stop.set()
            device.join()
            await asyncio.sleep(0.5)
            statistics = run.now().stations[0]
        line.close()
        found = read_series(folder / "record", repair=False)[0]
        numbers = set(np.round(found.value).astype(int).tolist())
        # Between two readings of one connection nothing may be missing: a gap is fine only around a drop.
        gaps = int((np.diff(sorted(numbers)) > 1).sum())
        lost_while_open = max(0, gaps - times)
        return {
            "sent": len(sent),
            "recorded": len(numbers),
            "gaps beyond the drops": lost_while_open,
            "loss seen after, worst s": max(seen),
            "back after, worst s": max(back),
            "no readings": statistics.no_readings,
        }


async def until(done, seconds: float) -> None:
    async with asyncio.timeout(seconds):
        while not done():
            await asyncio.sleep(0.01)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--times", type=int, default=20)
    times = parser.parse_args().times
    rows: list[tuple[str, dict[str, float], bool]] = []
    for title, how, protocol in (
        ("broker stopped (TERM), MQTT 5", signal.SIGTERM, "5"),
        ("broker stopped (TERM), MQTT 3.1.1", signal.SIGTERM, "3.1.1"),
        ("broker killed (KILL), MQTT 5", signal.SIGKILL, "5"),
    ):
        result = run_logger(broker_killed(times, how, protocol))
        good = result["missing"] == 0 and result["back after, worst s"] <= BACK_WITHIN_S
        rows.append((f"{title}, {times} times", result, good))
    few = max(1, times // 5)
    for protocol in ("5", "3.1.1"):
        result = run_logger(network_dead(few, protocol))
        good = result["missing"] == 0 and result["back after, worst s"] <= BACK_WITHIN_S
        good = good and result["noticed after, worst s"] <= NOTICED_WITHIN_S
        rows.append((f"network dead without a word, MQTT {protocol}, {few} times", result, good))
    result = run_logger(line_dropped(times))
    good = result["gaps beyond the drops"] == 0 and result["back after, worst s"] <= BACK_WITHIN_S
    rows.append((f"serial line dropped {times} times", result, good))
    for title, figures, good in rows:
        print(f"\n{title}: {'holds' if good else 'MISSED'}")
        for what, figure in figures.items():
            print(f"  {what:<28}{figure:>12.3f}" if isinstance(figure, float) else f"  {what:<28}{figure:>12d}")
    return 0 if all(good for _, _, good in rows) else 1


if __name__ == "__main__":
    sys.exit(main())
