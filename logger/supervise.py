"""Keep sources going: open, watch for silence, say what happened, try again for ever; one never stops another."""

from __future__ import annotations

import asyncio
import random
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

from logger.clock import SECOND, Clock
from logger.devicetime import utc_text
from logger.records import Reading
from logger.sources.source import Source, SourceLost

FIRST_PAUSE_S = 0.1
LONGEST_PAUSE_S = 1.0
"""A source is back at most this long (and a fifth more) after it could be: reading again within 2 s of return."""
STAYED_S = 2.0
"""A source that breaks sooner after it was opened goes on waiting as long as before: two loggers under one name at the
broker throw each other out, as fast as they come back."""
EARLY = 0.95
"""Silence is said at this share of the station's limit, so that it is on screen within the limit."""
REOPEN_AFTER_S = 10.0
"""A source that is silent for so long is opened afresh: some adapters hang without an error."""
SAY_AGAIN_S = 60.0
"""A source that stays lost is mentioned again this often."""
CANCEL_AGAIN_S = 3.0
"""Wall time. A source that has not ended by then was busy closing, or did not hear; it is asked to end again."""
LEAST_REAL_SILENCE_S = 0.5
"""Wall time. Under a fast clock the machine's own pauses must not pass for silence."""

Say = Callable[[str, str, str, Mapping[str, object]], None]
"""``say(who, kind, text, data)``: put a notice on screen and into the record."""


def pause(attempt: int, chance: random.Random) -> float:
    """Seconds before another try: doubling up to a limit, jittered by a fifth either way.

    >>> [round(pause(n, random.Random(1)), 2) for n in (0, 3, 60)]
    [0.09, 0.68, 0.85]
    """
    return min(LONGEST_PAUSE_S, FIRST_PAUSE_S * 2.0 ** min(attempt, 20)) * chance.uniform(0.8, 1.2)


@dataclass(frozen=True)
class Trouble:
    """What is wrong with one station just now."""

    station: str
    source: str
    what: str

    def __str__(self) -> str:
        return f"{self.station} ({self.source}): {self.what}"


def tree(title: str, troubles: Iterable[Trouble]) -> str:
    """Print several troubles as one tree, those with the same cause together.

    >>> print(tree("2 stations give nothing", [Trouble("aft", "COM4", "unplugged"), Trouble("mid", "COM5", "silent")]))
    2 stations give nothing
    +- aft (COM4): unplugged
    `- mid (COM5): silent
    """
    lines = [str(trouble) for trouble in troubles]
    branches = [f"{'`-' if n == len(lines) - 1 else '+-'} {line}" for n, line in enumerate(lines)]
    return "\n".join([title, *branches])


class StationWatch:
    """Watches one station for silence.

    ``arrived`` is called with every batch of readings; ``run`` is its task. Both on the loop.
    """

    def __init__(self, station: str, source: Callable[[], str], silence_s: float, clock: Clock, say: Say) -> None:
        self.station = station
        self.source = source
        self.state = "starting"
        """``starting``, ``reading``, ``silent``, ``lost``, ``ended``."""
        self.said = ""
        self.reopen: Callable[[], None] = lambda: None
        """Asks for the source to be opened afresh."""
        self._limit_ns = round(max(silence_s * EARLY, LEAST_REAL_SILENCE_S * clock.speed) * SECOND)
        self._clock = clock
        self._tell = say
        self._last: Reading | None = None
        self._since = clock.monotonic_ns()
        self._arrival = self._quiet_since = self._since

    def arrived(self, last: Reading, monotonic_ns: int) -> None:
        """Note readings; says so if they were missing before."""
        self._last = last
        self._arrival = monotonic_ns
        if self.state == "reading":
            return
        before, self.state = self.state, "reading"
        away = (monotonic_ns - self._since) / SECOND
        if before == "starting":
            self.say("reading", f"first reading, {last.quantity} {last.value:.4g}")
        else:
            self.say("reading again", f"reading again after {away:.1f} s", {"away_s": away, "before": before})

    def lost(self, why: str) -> str:
        """Note that the source broke or cannot be opened; returns what there is to say."""
        if self.state in ("reading", "starting"):
            self._since = self._arrival
        self.state = "lost"
        self.said = f"{why}{self._last_words()}"
        return self.said

    def opened(self) -> None:
        """Note that the source has been opened; readings are still to come."""
        self._quiet_since = self._clock.monotonic_ns()
        if self.state == "lost":
            self.state = "silent"
            self.said = f"opened, nothing yet{self._last_words()}"

    def ended(self) -> None:
        """Note that the source came to its end by itself."""
        self.state = "ended"
        self.say("ended", f"came to its end{self._last_words()}")

    async def run(self) -> None:
        """Watch for ever."""
        while True:
            now = self._clock.monotonic_ns()
            due = self._arrival + self._limit_ns
            if now < due:
                await self._clock.sleep((due - now) / SECOND)
                continue
            if self.state in ("reading", "starting"):
                self._since = self._arrival
                self.state = "silent"
                elapsed = (now - self._arrival) / SECOND
                self.say("silent", f"nothing for {elapsed:.1f} s{self._last_words()}", {"for_s": elapsed})
            quiet_ns = now - max(self._arrival, self._quiet_since)
            if self.state == "silent" and quiet_ns >= max(REOPEN_AFTER_S, 2 * self._clock.speed) * SECOND:
                self.reopen()
            await self._clock.sleep(max(0.1, self._limit_ns / SECOND / 4))

    def trouble(self) -> Trouble | None:
        """What is wrong now, None if it reads."""
        return None if self.state in ("reading", "ended") else Trouble(self.station, self.source(), self.said)

    def say(self, kind: str, text: str, data: Mapping[str, object] | None = None) -> None:
        """Put a notice about this station out."""
        self.said = text
        self._tell(self.station, kind, f"{self.station} ({self.source()}): {text}", data or {})

    def _last_words(self) -> str:
        if self._last is None:
            return ", no reading yet"
        return f", last reading {self._last.sequence} at {utc_text(self._last.host_ns)}"


class Supervisor:
    """Keeps one source going for the stations that hang on it.

    Parameters
    ----------
    source : what is opened again and again.
    stations : the watches of the stations on it.
    may_reopen : whether a source that is open but silent is worth opening afresh (not a broker's connection, which
        has a heartbeat of its own).
    interrupted : called when the source is lost, before it is opened again.
    """

    def __init__(
        self,
        source: Source,
        stations: Iterable[StationWatch],
        clock: Clock,
        chance: random.Random,
        say: Say,
        *,
        may_reopen: bool = True,
        interrupted: Callable[[], None] = lambda: None,
    ) -> None:
        self.source = source
        self.stations = tuple(stations)
        self.times_opened = 0
        self.times_lost = 0
        self._clock = clock
        self._chance = chance
        self._say = say
        self._may_reopen = may_reopen
        self._interrupted = interrupted
        self._open_since: int | None = None
        self._task: asyncio.Task[None] | None = None
        self._reopening = False
        for watch in self.stations:
            watch.reopen = self.reopen

    def reopen(self) -> None:
        """Close the source and open it afresh, unless some station on it reads or it is not open anyway."""
        if self._task is None or self._reopening or self._open_since is None or not self._may_reopen:
            return
        if all(watch.state == "silent" for watch in self.stations):
            self._reopening = True
            self._task.cancel()

    async def run(self) -> None:
        """Keep the source going until cancelled, or until it comes to its end by itself."""
        said, said_at, attempt = "", 0, 0
        while True:
            why = await self._once()
            if why is None:
                for watch in self.stations:
                    watch.ended()
                return
            self.times_lost += 1
            self._interrupted()
            now = self._clock.monotonic_ns()
            if self._open_since is not None and now - self._open_since >= STAYED_S * SECOND:
                attempt = 0
            read = any(watch.state == "reading" for watch in self.stations)
            if why != said or attempt == 0 or read or now - said_at > SAY_AGAIN_S * SECOND:
                said, said_at = why, now
                self._say_lost(why)
            else:
                for watch in self.stations:
                    watch.lost(why)
            await self._clock.sleep(pause(attempt, self._chance))
            attempt += 1

    def _say_lost(self, why: str) -> None:
        troubles = [Trouble(w.station, w.source(), w.lost(why)) for w in self.stations]
        if len(troubles) == 1:
            self._say(troubles[0].station, "lost", str(troubles[0]), {"why": why})
        elif troubles:
            title = f"{self.source.name}: {why}; {len(troubles)} stations give nothing"
            names = [t.station for t in troubles]
            self._say(self.source.name, "lost", tree(title, troubles), {"why": why, "stations": names})

    async def _once(self) -> str | None:
        """Run the source once; why it was lost, or None if it has ended."""
        self._reopening, self._open_since = False, None
        task = asyncio.create_task(self.source.run(self._on_open), name=f"source {self.source.name}")
        self._task = task
        try:
            # Not `await task`: that hands a cancellation on to the source and forgets it, should the source end by an
            # error or go on as if nothing had been asked (Python 3.11's wait_for does both).
            await asyncio.wait([task])
        except asyncio.CancelledError:
            while not task.done():
                task.cancel()
                await asyncio.wait([task], timeout=CANCEL_AGAIN_S)
            if not task.cancelled():
                task.exception()  # nobody wants to know any more
            raise
        finally:
            self._task = None
        if task.cancelled():
            return f"silent for over {REOPEN_AFTER_S:.0f} s; opening it afresh" if self._reopening else "broken off"
        error = task.exception()
        if error is None:
            return None
        if isinstance(error, SourceLost):
            return str(error)
        if isinstance(error, Exception):  # a library's fault, or ours, on one source must not stop the others
            return " ".join(f"{type(error).__name__}: {error}".split())[:200]
        raise error

    def _on_open(self) -> None:
        self.times_opened += 1
        self._open_since = self._clock.monotonic_ns()
        for watch in self.stations:
            watch.opened()
