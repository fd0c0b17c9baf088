"""The whole logger as one ``async with``: sources -> framing -> decode -> channel -> record, until the block ends.

Example
-------
::

    async with recording(plan, Path("merrowby"), say=print) as run:
        await stop.wait()

Inside are named tasks in one task group: a supervisor for each source, a watch and a consumer for each station, the
disk and the clock. Leaving the block cancels them, takes in what is still queued, flushes and seals, within a time
limit. On Windows run it with `run_logger`, which chooses the selector loop that MQTT needs.
"""

from __future__ import annotations

import asyncio
import contextlib
import gc
import random
from collections import deque
from collections.abc import AsyncIterator, Callable, Coroutine, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict
from functools import partial
from pathlib import Path
from typing import Protocol, TypeVar

from config.plan import Plan
from logger.archive.disk import DiskWatch
from logger.archive.writer import Appended, FlushResult, RunWriter
from logger.clock import SECOND, Clock, ClockStep, ClockWatch, SystemClock
from logger.credentials import credentials
from logger.live import Notice, Now, StationNow
from logger.records import Reading
from logger.sources.mqtt import MqttSession
from logger.supervise import StationWatch, Supervisor, Trouble
from logger.wiring import Line, sources

Result = TypeVar("Result")

FLUSH_S = 0.2
"""Wall time between two flushes; the writer itself calls fsync at most once a second."""
HOUSEKEEPING_S = 1.0
"""Wall time between two looks at the clock, the garbage and the disk."""
TURN_BYTES = 65_536
"""A station gives way to the others after so many bytes."""
YOUNG = 50_000
"""New objects before Python looks for garbage: readings live for one flush; looking at each costs a sixth of it all."""


class Writer(Protocol):
    """What the service needs of the record; `logger.archive.writer.RunWriter` is it."""

    def start(self) -> Path:
        """Write the start record; the folder of the run."""

    def append(self, readings: Sequence[Reading]) -> Appended:
        """Hand rows over, memory only."""

    def note(self, kind: str, data: dict[str, object]) -> None:
        """Hand over something worth knowing, memory only."""

    def flush(self, *, sync: bool | None = None) -> FlushResult:
        """Make rows durable (``sync=True``: now); called from a thread."""

    def stop(self, reason: str) -> FlushResult:
        """Seal and write the stop record; called from a thread."""


class Recording:
    """A run being recorded. Read it from the loop's own thread."""

    def __init__(self, plan: Plan, folder: Path, clock: Clock, writer: Writer | None, say: Callable[[Notice], None]):
        self.plan = plan
        self.clock = clock
        self.lines = [Line(s, plan.broker, clock.speed) for s in plan.stations if s.source.type != "manual"]
        self.folder = folder
        """Folder of the run once it has started."""
        self.stop_reason = "stopped"
        """Goes into the stop record; set it before the block ends."""
        self.supervisors: list[Supervisor] = []
        self.notices: deque[Notice] = deque(maxlen=200)
        channels = [channel for line in self.lines for channel in line.intake.channels]
        self._writer: Writer = writer or RunWriter(folder / "record", channels, _plan_digest(folder), clock)
        self._aloud = say
        self._chance = random.Random()
        self._watches = {line.station.name: self._watch(line) for line in self.lines}
        made = sources(self.lines, plan.broker, clock, self._append, credentials(plan.broker), folder)
        self._names: dict[str, Callable[[], str]] = {}
        self._session: MqttSession | None = None
        for source, on_it in made:
            is_broker = isinstance(source, MqttSession)
            if isinstance(source, MqttSession):
                self._session = source
            watches = [self._watches[line.station.name] for line in on_it]
            self.supervisors.append(
                Supervisor(
                    source,
                    watches,
                    clock,
                    self._chance,
                    self._say,
                    may_reopen=not is_broker,
                    interrupted=partial(_mark_resumed, on_it),
                )
            )
            for line in on_it:
                self._names[line.station.name] = lambda source=source: source.name  # type: ignore[misc]
        self._clock_watch = ClockWatch(clock)
        self._flushed = FlushResult(0, 0, 0, 0)
        self._rows = 0
        self._steps = 0
        self._started_ns = clock.host_ns()
        self._disk_watch = DiskWatch()
        self._hours_left: float | None = None

    # --- what others may ask ---------------------------------------------------------------------------------------

    def now(self) -> Now:
        """Everything at this moment."""
        host = self.clock.host_ns()
        return Now(
            host_ns=host,
            run=self.folder.name,
            started_ns=self._started_ns,
            rows=self._rows,
            rows_safe=self._flushed.safe_rows,
            disk_hours_left=self._hours_left,
            disk_trouble=self._flushed.error,
            clock_steps=self._steps,
            stations=tuple(self._station_now(line, host) for line in self.lines),
            notices=tuple(self.notices),
        )

    def troubles(self) -> list[Trouble]:
        """What is wrong just now; print it with `logger.supervise.tree`."""
        found = (watch.trouble() for watch in self._watches.values())
        return [trouble for trouble in found if trouble is not None]

    def note(self, kind: str, data: dict[str, object]) -> None:
        """Put something into the record's notes."""
        self._writer.note(kind, data)

    # --- the run ---------------------------------------------------------------------------------------------------

    async def _start(self) -> None:
        self.folder = await asyncio.to_thread(self._writer.start)
        anchor = self.clock.anchor
        self._writer.note("clock", {"anchor": asdict(anchor), "speed": self.clock.speed})

    def _tasks(self) -> dict[str, Coroutine[object, object, None]]:
        tasks: dict[str, Coroutine[object, object, None]] = {"disk": self._disk(), "housekeeping": self._housekeeping()}
        for number, supervisor in enumerate(self.supervisors):
            # Several stations may play one run, so that a source's name alone tells no two apart.
            tasks[f"supervisor {supervisor.source.name} {number}"] = supervisor.run()
        for line in self.lines:
            tasks[f"watch {line.station.name}"] = self._watches[line.station.name].run()
            if line.queue is not None:
                tasks[f"take {line.station.name}"] = self._take(line)
        return tasks

    async def _take(self, line: Line) -> None:
        assert line.queue is not None
        while chunks := await line.queue.take():
            held = 0
            for chunk in chunks:
                readings = line.intake.chunk(chunk, self.clock.host_ns(chunk.monotonic_ns))
                if readings:
                    self._append(readings)
                held += len(chunk.data)
                if held >= TURN_BYTES:
                    held = 0
                    await asyncio.sleep(0)

    def _append(self, readings: Sequence[Reading]) -> int:
        if not readings:
            return 0
        last = readings[-1]
        self._watches[last.station].arrived(last, self.clock.monotonic_ns())
        done = self._writer.append(readings)
        if done.refused:
            return -1
        self._rows = done.stop
        return done.stop

    async def _disk(self) -> None:
        with ThreadPoolExecutor(1, thread_name_prefix="disk") as thread:
            loop = asyncio.get_running_loop()
            while True:
                self._after_flush(await loop.run_in_executor(thread, self._writer.flush))
                await asyncio.sleep(FLUSH_S)

    def _after_flush(self, result: FlushResult) -> None:
        before, self._flushed = self._flushed, result
        if bool(result.error) != bool(before.error):
            text = f"cannot be written: {result.error}" if result.error else "written again"
            waiting = f"; {result.waiting_rows} rows wait in memory" if result.error else ""
            self._show(Notice(self.clock.host_ns(), "disk", "disk", f"disk: {text}{waiting}"))
        if self._session is not None:
            self._session.acknowledge(result.safe_rows)
            if not result.error:
                self._session.come_again()

    async def _housekeeping(self) -> None:
        while True:
            self._look_at_clock()
            self._keep_garbage()
            self._hours_left = await asyncio.to_thread(self._disk_watch.look, self.folder, self._rows)
            await asyncio.sleep(HOUSEKEEPING_S)

    def _look_at_clock(self) -> None:
        found = self._clock_watch.look()
        if isinstance(found, ClockStep):
            self._steps += 1
            for line in self.lines:
                line.intake.clock_stepped()
            seconds = found.step_ns / SECOND
            way = "forward" if seconds > 0 else "back"
            text = f"system clock put {way} by {abs(seconds):.3f} s; the record's time goes on undisturbed"
            self._say("clock", "clock step", text, asdict(found))
        elif found is not None:
            self._writer.note("clock", {"anchor": asdict(found), "speed": self.clock.speed})

    def _keep_garbage(self) -> None:
        for line in self.lines:
            raw = line.intake.raw
            for sample in raw.take_unrecorded():
                data: dict[str, object] = {"station": line.station.name, "count": raw.count, "bytes": sample.length}
                self._writer.note("no reading", data | {"why": sample.reason, "began": sample.text()})

    async def _settle_messages(self) -> None:
        """Make what came over MQTT safe and acknowledge it, so that the next run does not get it again."""
        session = self._session
        if session is None or not session.pending:
            return
        session.hold()
        result = await asyncio.to_thread(self._writer.flush, sync=True)
        session.acknowledge(result.safe_rows)
        await session.settle()

    async def _finish(self, reason: str) -> None:
        """Take in what is queued, count up, flush and seal."""
        for line in self.lines:
            if line.queue is None:
                continue
            line.queue.close()
            for chunk in line.queue.take_nowait():
                readings = line.intake.chunk(chunk, self.clock.host_ns(chunk.monotonic_ns))
                if readings:
                    self._append(readings)
        self._keep_garbage()
        for line in self.lines:
            self._writer.note("station", self._account(line))
        self._flushed = await asyncio.to_thread(self._writer.stop, reason)

    def _account(self, line: Line) -> dict[str, object]:
        intake = line.intake
        account: dict[str, object] = {"station": line.station.name, "readings": intake.readings}
        account |= {"no_readings": intake.raw.count, "no_reading_bytes": intake.raw.bytes, "others": intake.others}
        if line.queue is not None:
            account["queue"] = asdict(line.queue.statistics)
        return account

    # --- saying ----------------------------------------------------------------------------------------------------

    def _say(self, who: str, kind: str, text: str, data: Mapping[str, object]) -> None:
        notice = Notice(self.clock.host_ns(), who, kind, text, dict(data))
        self._writer.note(kind, {"station": who, "text": text, **data})
        self._show(notice)

    def _show(self, notice: Notice) -> None:
        self.notices.append(notice)
        self._aloud(notice)

    def _watch(self, line: Line) -> StationWatch:
        station = line.station
        return StationWatch(station.name, lambda: self._source_name(line), station.silence_s, self.clock, self._say)

    def _source_name(self, line: Line) -> str:
        name = self._names.get(line.station.name)
        return name() if name else line.intake.source

    def _station_now(self, line: Line, host_ns: int) -> StationNow:
        watch, intake = self._watches[line.station.name], line.intake
        channels = (meter.now(host_ns) for meter in intake.meters)
        shared = self._session.duplicates if self._session is not None and line.station.source.type == "mqtt" else 0
        return StationNow(
            name=line.station.name,
            source=self._source_name(line),
            state=watch.state,
            said=watch.said,
            readings=intake.readings,
            last_ns=intake.last.host_ns if intake.last else None,
            no_readings=intake.raw.count,
            no_reading_bytes=intake.raw.bytes,
            others=intake.others,
            duplicates=shared,
            queue=line.queue.statistics if line.queue else None,
            channels=tuple(channel for channel in channels if channel is not None),
        )


@contextlib.asynccontextmanager
async def recording(
    plan: Plan,
    folder: Path,
    *,
    clock: Clock | None = None,
    say: Callable[[Notice], None] = lambda notice: None,
    writer: Writer | None = None,
    end_within_s: float = 20.0,
) -> AsyncIterator[Recording]:
    """Record every station of a plan for as long as the block lasts.

    Parameters
    ----------
    plan, folder : the test folder and its plan.
    clock : None takes the system's.
    say : called on the loop with everything worth putting on screen.
    writer : None makes a `RunWriter` on ``folder / "record"``.
    end_within_s : wall time for flushing and sealing at the end.

    Yields
    ------
    Recording: ``now()`` for the live view, ``troubles()``, ``stop_reason``.

    Raises
    ------
    BadInput before anything is recorded where the plan cannot be used; TimeoutError where sealing takes too long (the
    journal on disk is whole all the same); whatever the block itself raises.
    """
    run = Recording(plan, folder, clock or SystemClock(), writer, say)
    async with contextlib.AsyncExitStack() as stack:
        if plan.broker.url == "embedded" and any(line.station.source.type == "mqtt" for line in run.lines):
            from logger.broker import NOT_PROMISED, embedded_broker

            await stack.enter_async_context(embedded_broker(plan.broker.port))
            run._show(Notice(run.clock.host_ns(), "broker", "broker", f"broker: {NOT_PROMISED}"))
        await run._start()
        if run._session is not None and run._session.clear_text_password:
            run._say("broker", "security", f"broker: the password goes to {run._session.name} in clear; use mqtts", {})
        raised: BaseException | None = None
        try:
            async with asyncio.TaskGroup() as group:
                tasks = [group.create_task(work, name=name) for name, work in run._tasks().items()]
                try:
                    yield run
                except Exception as error:
                    raised = error
                finally:
                    await run._settle_messages()
                    for task in tasks:
                        task.cancel()
        except BaseException as error:
            run.stop_reason = f"failed: {type(error).__name__}"
            raise
        finally:
            if raised is not None:
                run.stop_reason = f"failed: {type(raised).__name__}"
            async with asyncio.timeout(end_within_s):
                await run._finish(run.stop_reason)
    if raised is not None:
        raise raised


def run_logger(main: Coroutine[object, object, Result]) -> Result:
    """Run a coroutine on the selector loop, which MQTT needs on every system (the default one of Windows cannot)."""
    before = gc.get_threshold()
    gc.set_threshold(YOUNG, *before[1:])
    try:
        with asyncio.Runner(loop_factory=asyncio.SelectorEventLoop) as runner:
            return runner.run(main)
    finally:
        gc.set_threshold(*before)


def _mark_resumed(lines: list[Line]) -> None:
    for line in lines:
        if line.queue is not None:
            line.queue.mark_resumed()


def _plan_digest(folder: Path) -> str:
    from config.files import digest

    plan = folder / "plan.toml"
    return digest(plan) if plan.is_file() else ""
