"""Play a synthetic day through the real logger: real sockets, a real broker, real marks, on a clock that runs fast."""

from __future__ import annotations

import asyncio
import contextlib
import socket
from collections.abc import AsyncIterator, Callable

from config.folder import TestFolder
from config.plan import Plan
from logger.broker import embedded_broker
from logger.clock import FastClock
from logger.live import Notice, Now
from logger.service import Recording, recording, run_logger
from quietheel.jobs.marking import mark
from sim.day import SimulatedDay
from sim.feeds import due_marks, open_feed

SETTLE_S = 0.4
"""Wall time without a new row after which everything sent is taken to have arrived."""
LONGEST_WAIT_S = 20.0


def play_day(
    day: SimulatedDay,
    place: TestFolder,
    *,
    speed: float,
    by: str = "coordinator",
    show: Callable[[Now, float], None] = lambda now, share: None,
    say: Callable[[Notice], None] = lambda notice: None,
    marked: Callable[[str], None] = lambda text: None,
) -> Now:
    """Record a synthetic day into a test folder, as if its sensors stood on the quay.

    Parameters
    ----------
    day : what the wire carries and what people mark.
    place : the folder, with its plan.
    speed : seconds of the day in one second on the wall.
    show : called often with the logger's state and the part of the day that has passed, 0 to 1.
    say : called with the logger's notices. marked : called with each mark as it is made.

    Returns
    -------
    The logger's last state, everything sealed.

    Raises
    ------
    OSError where this machine cannot connect to itself; nothing is recorded then.
    """
    _check_loopback()
    return run_logger(_play(day, place, speed, by, show, say, marked))


def _check_loopback() -> None:
    try:
        with socket.create_server(("127.0.0.1", 0)) as door:
            socket.create_connection(door.getsockname(), timeout=5.0).close()
    except OSError as error:
        raise OSError(
            f"this machine cannot connect to itself at 127.0.0.1 ({error.strerror or error}), where sensors, broker "
            "and logger of a synthetic day meet; bring its loopback interface up, or let the firewall pass it"
        ) from None


async def _play(
    day: SimulatedDay,
    place: TestFolder,
    speed: float,
    by: str,
    show: Callable[[Now, float], None],
    say: Callable[[Notice], None],
    marked: Callable[[str], None],
) -> Now:
    plan = place.plan()
    async with _broker(plan) as url, open_feed(day, plan.stations, url) as feed:
        broker = plan.broker.model_copy(update={"url": url, "protocol": "3.1.1"} if url else {})
        wired = plan.model_copy(update={"stations": feed.stations(plan.stations), "broker": broker})
        clock = FastClock(speed, start_utc_ns=day.epoch_ns)
        async with recording(wired, place.path, clock=clock, say=say) as run:
            async with asyncio.TaskGroup() as group:
                showing = group.create_task(_show(run, day, clock, show), name="show")
                playing = group.create_task(feed.play(clock), name="feed")
                marking = group.create_task(_mark(day, place, clock, by, marked), name="marks")
                await asyncio.gather(playing, marking)
                showing.cancel()
            await _everything_arrived(run)
            run.stop_reason = "end of the synthetic day"
        return run.now()


@contextlib.asynccontextmanager
async def _broker(plan: Plan) -> AsyncIterator[str | None]:
    """A broker of our own on a free loopback port where the plan wants the embedded one; else the plan's."""
    if not any(station.source.type == "mqtt" for station in plan.stations):
        yield None
    elif plan.broker.url != "embedded":
        yield plan.broker.url
    else:
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            port = int(probe.getsockname()[1])
        async with embedded_broker(port):
            yield f"mqtt://127.0.0.1:{port}"


async def _mark(day: SimulatedDay, place: TestFolder, clock: FastClock, by: str, marked: Callable[[str], None]) -> None:
    async for one in due_marks(day.marks, clock):
        event = await asyncio.to_thread(mark, place.path, one.kind, one.data, by=by, at_ns=one.time_ns, clock=clock)
        what = event.data.get("window") or event.data.get("movement") or event.data.get("state") or ""
        marked(f"{event.kind} {what}".strip())


async def _show(run: Recording, day: SimulatedDay, clock: FastClock, show: Callable[[Now, float], None]) -> None:
    length = day.end_ns - day.epoch_ns
    while True:
        show(run.now(), min(1.0, (clock.host_ns() - day.epoch_ns) / length))
        await asyncio.sleep(0.25)


async def _everything_arrived(run: Recording) -> None:
    rows, quiet, waited = -1, 0.0, 0.0
    while quiet < SETTLE_S and waited < LONGEST_WAIT_S:
        now = run.now().rows
        quiet = quiet + 0.1 if now == rows else 0.0
        rows = now
        waited += 0.1
        await asyncio.sleep(0.1)
