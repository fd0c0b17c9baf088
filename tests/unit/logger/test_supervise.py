import asyncio
import random

import pytest
from hand_clock import HandClock
from rig import run

from logger import supervise
from logger.records import Quantity, Reading
from logger.sources.source import SourceLost
from logger.supervise import LONGEST_PAUSE_S, StationWatch, Supervisor, Trouble, pause, tree


class Scripted:
    """A source that opens, stays for so many seconds and breaks, as a script says; -1: cannot be opened."""

    name = "COM4"

    def __init__(self, clock, stays):
        self.clock, self.stays, self.runs = clock, list(stays), 0

    async def run(self, opened):
        self.runs += 1
        stay = self.stays.pop(0) if self.stays else 1e9
        if stay < 0:
            raise SourceLost("no such port")
        opened()
        await self.clock.sleep(stay)
        raise SourceLost("unplugged")


class Bench:
    def __init__(self, stays, silence_s=2.0, stations=("aft",)):
        self.clock = HandClock()
        self.said = []
        self.watches = [StationWatch(s, lambda: "COM4", silence_s, self.clock, self.say) for s in stations]
        self.source = Scripted(self.clock, stays)
        self.supervisor = Supervisor(self.source, self.watches, self.clock, random.Random(1), self.say)

    def say(self, who, kind, text, data):
        self.said.append((who, kind, text))

    def reading(self, number=0, watch=0):
        self.watches[watch].arrived(
            Reading("aft", Quantity.HEEL, self.clock.host_ns(), None, 0.5, "", sequence=number),
            self.clock.monotonic_ns(),
        )

    async def started(self):
        jobs = [self.supervisor.run(), *(watch.run() for watch in self.watches)]
        self.tasks = [asyncio.create_task(job) for job in jobs]
        await self.clock.advance(0)
        return self

    async def end(self):
        for task in self.tasks:
            task.cancel()
        await asyncio.gather(*self.tasks, return_exceptions=True)


def test_silence_is_said_within_two_seconds_in_plain_words():
    async def main():
        bench = await Bench([]).started()
        bench.reading(8121)
        await bench.clock.advance(1.85)
        assert [kind for _, kind, _ in bench.said] == ["reading"]
        await bench.clock.advance(0.10)
        assert bench.said[-1] == ("aft", "silent", "aft (COM4): nothing for 1.9 s, last reading 8121 at 17:46:40Z")
        await bench.clock.advance(5)
        assert len(bench.said) == 2
        bench.reading(8122)
        assert bench.said[-1][2] == "aft (COM4): reading again after 7.0 s"
        assert bench.watches[0].trouble() is None
        await bench.end()

    run(main())


def test_a_station_that_never_spoke_is_silent_too():
    async def main():
        bench = await Bench([]).started()
        await bench.clock.advance(2)
        assert bench.said == [("aft", "silent", "aft (COM4): nothing for 1.9 s, no reading yet")]
        assert str(bench.watches[0].trouble()) == "aft (COM4): nothing for 1.9 s, no reading yet"
        await bench.end()

    run(main())


def test_a_lost_source_is_opened_again_for_ever_and_said_once_a_minute():
    async def main():
        bench = await Bench([5.0, *[-1] * 500, 1e9]).started()
        bench.reading()
        await bench.clock.advance(5)
        assert bench.said[-1][1:] == ("lost", "aft (COM4): unplugged, last reading 0 at 17:46:40Z")
        await bench.clock.advance(300)
        lost = [text for _, kind, text in bench.said if kind == "lost"]
        assert 5 <= len(lost) <= 8
        assert bench.source.runs > 200
        await bench.clock.advance(400)
        assert bench.supervisor.times_opened >= 2
        bench.reading()
        assert bench.said[-1][1] == "reading again"
        await bench.end()

    run(main())


def test_a_source_that_comes_back_is_open_again_within_the_longest_pause():
    chance = random.Random(7)
    assert max(pause(n, chance) for n in range(1000)) <= LONGEST_PAUSE_S * 1.2
    assert len({round(pause(9, chance), 3) for _ in range(50)}) > 30


def test_a_source_that_hangs_without_error_is_opened_afresh():
    async def main():
        bench = await Bench([]).started()
        bench.reading()
        await bench.clock.advance(30)
        assert bench.source.runs >= 3
        assert "opening it afresh" in " ".join(text for _, kind, text in bench.said if kind == "lost")
        await bench.end()

    run(main())


def test_a_shared_source_is_not_taken_from_a_station_that_reads():
    async def main():
        bench = await Bench([], stations=("aft", "mid")).started()
        for n in range(60):
            bench.reading(n)
            await bench.clock.advance(0.5)
        assert bench.source.runs == 1
        assert bench.watches[1].state == "silent"
        assert bench.watches[0].state == "reading"
        await bench.end()

    run(main())


def test_several_stations_failing_at_once_are_one_tree():
    async def main():
        bench = await Bench([1.0], stations=("aft", "mid")).started()
        await bench.clock.advance(1.01)
        (text,) = [text for _, kind, text in bench.said if kind == "lost"]
        assert text.splitlines() == [
            "COM4: unplugged; 2 stations give nothing",
            "+- aft (COM4): unplugged, no reading yet",
            "`- mid (COM4): unplugged, no reading yet",
        ]
        await bench.end()

    run(main())


def test_a_source_that_ends_is_not_opened_again():
    class Ending:
        name = "run"

        async def run(self, opened):
            opened()

    async def main():
        bench = Bench([])
        await Supervisor(Ending(), bench.watches, bench.clock, random.Random(1), bench.say).run()
        assert bench.watches[0].state == "ended"

    run(main())


def test_cancelling_a_supervisor_ends_its_source():
    ended = []

    class Stubborn:
        name = "COM4"

        async def run(self, opened):
            opened()
            try:
                await asyncio.sleep(1000)
            finally:
                await asyncio.sleep(0)
                ended.append(True)

    async def main():
        bench = Bench([])
        task = asyncio.create_task(
            Supervisor(Stubborn(), bench.watches, bench.clock, random.Random(1), bench.say).run()
        )
        await asyncio.sleep(0.01)
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)
        assert task.cancelled()

    run(main())
    assert ended == [True]


@pytest.mark.parametrize("answer", ["an error", "its end", "nothing"])
def test_a_supervisor_ends_whatever_its_source_makes_of_a_cancellation(answer, monkeypatch):
    """Libraries turn it into an error of theirs or forget it; the logger then went on for ever."""
    monkeypatch.setattr(supervise, "CANCEL_AGAIN_S", 0.02)
    runs = []

    class Deaf:
        name = "COM4"

        async def run(self, opened):
            runs.append(answer)
            opened()
            try:
                await asyncio.sleep(1000)
            except asyncio.CancelledError:
                if answer == "an error":
                    raise SourceLost("it broke just then") from None
                if answer == "its end":
                    return
            await asyncio.sleep(1000)

    async def main():
        bench = Bench([])
        task = asyncio.create_task(Supervisor(Deaf(), bench.watches, bench.clock, random.Random(1), bench.say).run())
        await asyncio.sleep(0.01)
        task.cancel()
        async with asyncio.timeout(2):
            await asyncio.wait([task])
        assert task.cancelled()
        assert bench.said == []

    run(main())
    assert runs == [answer]


def test_a_source_cancelled_by_its_own_library_is_opened_again():
    class Odd(Scripted):
        async def run(self, opened):
            self.runs += 1
            raise asyncio.CancelledError

    async def main():
        bench = Bench([])
        bench.supervisor.source = bench.source = Odd(bench.clock, [])
        await bench.started()
        await bench.clock.advance(10)
        assert bench.source.runs > 5
        assert not any(task.done() for task in bench.tasks)
        await bench.end()

    run(main())


def test_a_source_that_breaks_as_soon_as_it_is_open_is_opened_ever_more_slowly_and_said_once_a_minute():
    async def main():
        bench = await Bench([0.1] * 500).started()
        await bench.clock.advance(30)
        runs = bench.source.runs
        await bench.clock.advance(60)
        # Open for 0.1 s, then a pause of 0.8 to 1.2 s.
        assert 45 <= bench.source.runs - runs <= 68
        assert sum(kind == "lost" for _, kind, _ in bench.said) == 2
        assert bench.watches[0].state == "lost"
        assert bench.supervisor.times_lost == bench.source.runs - (bench.source.stays == [])
        await bench.end()

    run(main())


def test_a_tree_of_one():
    assert tree("1 station gives nothing", [Trouble("aft", "COM4", "silent")]).endswith("`- aft (COM4): silent")


def test_whatever_one_source_raises_it_is_opened_again_and_the_others_go_on():
    class Odd(Scripted):
        async def run(self, opened):
            self.runs += 1
            raise ZeroDivisionError("a library's\nown fault")

    async def main():
        bench = Bench([])
        bench.supervisor.source = bench.source = Odd(bench.clock, [])
        await bench.started()
        await bench.clock.advance(10)
        assert bench.source.runs > 5
        assert not any(task.done() for task in bench.tasks)
        assert any("ZeroDivisionError: a library's own fault" in text for _, _, text in bench.said)
        await bench.end()

    run(main())
