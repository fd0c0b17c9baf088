"""The whole feed as one ``async with``: opens every outlet, tells the plan how to reach it, plays the day."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator, Callable, Sequence
from dataclasses import dataclass, field
from typing import Literal

from config.stations import MqttSource, Source, Station
from sim.chance import stream
from sim.day import SimulatedDay
from sim.feeds.mqtt import TopicOutlet, joined
from sim.feeds.outlet import Outlet, TcpOutlet, has_ptys, open_pty
from sim.feeds.pace import SHORTEST_WAIT_S, Clock
from sim.frames import Frame
from sim.wire import frames
from sim.wire_faults import spoil_wire

Transport = Literal["pty", "tcp", "rfc2217", "mqtt"]


@dataclass
class Feed:
    """A day on the wire."""

    day: SimulatedDay
    sources: dict[str, Source]
    """How each station is reached; put these into the plan's stations before the logger starts."""
    _outlets: dict[str, Outlet]
    _frames: dict[str, list[Frame]]
    _broker: str | None = None
    sent: dict[str, int] = field(default_factory=dict)
    """Messages sent so far, by station."""

    @property
    def messages(self) -> dict[str, int]:
        """Messages that will have been sent when all is done, by station."""
        return {name: len(queue) for name, queue in self._frames.items()}

    def stations(self, stations: Sequence[Station]) -> tuple[Station, ...]:
        """Return a plan's stations with the sources of this feed in place of their own."""
        return tuple(
            s.model_copy(update={"source": self.sources[s.name]}) if s.name in self.sources else s for s in stations
        )

    async def play(self, clock: Clock, tell: Callable[[int], None] | None = None) -> None:
        """Send everything when its time has come; returns when the last byte has been taken.

        Parameters
        ----------
        clock : decides when; what is overdue goes out at once.
        tell : called with the clock's time now and then, for showing progress.

        Raises
        ------
        ExceptionGroup where an outlet fails; TimeoutError inside it where nobody connects.
        """
        async with joined(self._broker, self._outlets.values()), asyncio.TaskGroup() as group:
            for name in self._outlets:
                group.create_task(self._play_one(name, clock, tell), name=f"feed {name}")

    async def _play_one(self, name: str, clock: Clock, tell: Callable[[int], None] | None) -> None:
        outlet, queue = self._outlets[name], self._frames[name]
        separate = isinstance(outlet, TopicOutlet)
        await outlet.connected()
        at = 0
        while at < len(queue):
            now = clock.host_ns()
            if queue[at].time_ns > now:
                wait = max((queue[at].time_ns - now) * 1e-9, SHORTEST_WAIT_S * clock.speed)
                await clock.sleep(wait)
                now = clock.host_ns()
            end = at
            while end < len(queue) and queue[end].time_ns <= now and end - at < 2000:
                end += 1
            if separate:
                await asyncio.gather(*(outlet.send(frame.data) for frame in queue[at:end]))
            elif end > at:
                await outlet.send(b"".join(frame.data for frame in queue[at:end]))
            at = end
            self.sent[name] = at
            if tell is not None:
                tell(now)


def transport_of(station: Station) -> Transport | None:
    """How a station of the plan is played: as the plan has it, a serial port as a pty where there is one."""
    source = station.source
    if source.type == "mqtt":
        return "mqtt"
    if source.type == "tcp":
        return "tcp"
    if source.type == "serial":
        if source.port.startswith("rfc2217://"):
            return "rfc2217"
        return "pty" if has_ptys() else "tcp"
    return None


@contextlib.asynccontextmanager
async def open_feed(
    day: SimulatedDay,
    stations: Sequence[Station],
    broker: str | None = None,
    transports: dict[str, Transport] | None = None,
) -> AsyncIterator[Feed]:
    """Open an outlet for every station of the plan that the day has signals for.

    Parameters
    ----------
    stations : those of the plan; dialects, channels and topics are taken from there.
    broker : ``mqtt://127.0.0.1:port``, where a station speaks MQTT; it must run when the feed plays, not before.
    transports : stations to be played over another transport than the plan's.

    Raises
    ------
    BadInput where a station's dialect cannot be written; OSError where a port cannot be opened.

    Example
    -------
    ::

        async with open_feed(day, plan.stations, "mqtt://127.0.0.1:18830") as feed:
            plan = plan.model_copy(update={"stations": feed.stations(plan.stations)})
            async with recording(plan, folder, clock=clock):
                await feed.play(clock)
    """
    have = {signal.station for signal in day.signals}
    wanted: dict[str, Transport] = {}
    for station in stations:
        how = (transports or {}).get(station.name) or transport_of(station)
        if how is not None and station.name in have:
            wanted[station.name] = how
    by_name = {station.name: station for station in stations}
    async with contextlib.AsyncExitStack() as stack:
        outlets: dict[str, Outlet] = {}
        for name, how in wanted.items():
            source = by_name[name].source
            baud = getattr(source, "baud", 38400)
            if how == "mqtt":
                topic = source.topic if isinstance(source, MqttSource) else f"pier/{name}"
                outlets[name] = TopicOutlet(topic)
            elif how == "pty":
                outlets[name] = await stack.enter_async_context(open_pty(baud))
            else:
                outlets[name] = await stack.enter_async_context(TcpOutlet(how == "rfc2217", baud).serving())
        queues = {name: _frames_of(day, by_name[name]) for name in wanted}
        yield Feed(day, {name: outlet.source for name, outlet in outlets.items()}, outlets, queues, broker)


def _frames_of(day: SimulatedDay, station: Station) -> list[Frame]:
    queue = frames(station, day.signals)
    for fault in day.scenario.wire:
        if fault.station == station.name:
            queue = spoil_wire(queue, fault, day.epoch_ns, stream(day.scenario.seed, f"wire {station.name}"))
    return queue
