import asyncio
import time

import pytest
from hand_clock import HandClock
from rig import run

from logger.clock import SECOND, Anchor, ClockStep, ClockWatch, FastClock, SystemClock, take_anchor


def test_the_tightest_of_several_readings_is_the_anchor():
    ticks = iter([0, 100, 1000, 1010, 2000, 2400])
    anchor = take_anchor(lambda: next(ticks), lambda: 7, tries=3)
    assert anchor == Anchor(1005, 7, 5)


def test_host_time_follows_the_monotonic_clock_only():
    clock = HandClock()
    before = clock.host_ns()
    clock.step_system(3600)
    assert clock.host_ns() == before
    assert clock.system_utc_ns() - before == 3600 * SECOND


@pytest.mark.parametrize("step", [3600.0, -3600.0, 0.5])
def test_a_step_of_the_system_clock_is_found_once_and_changes_no_interval(step):
    async def main():
        clock = HandClock()
        watch = ClockWatch(clock)
        await clock.advance(1)
        assert watch.look() is None
        clock.step_system(step)
        first = clock.host_ns()
        await clock.advance(1)
        found = watch.look()
        assert isinstance(found, ClockStep)
        assert found.step_ns == round(step * SECOND)
        assert clock.host_ns() - first == SECOND
        assert watch.look() is None
        assert watch.stepped

    run(main())


def test_slewing_is_no_step_and_a_new_anchor_comes_every_minute():
    async def main():
        clock = HandClock()
        watch = ClockWatch(clock, anchor_every_s=60)
        anchors = []
        for _ in range(181):
            await clock.advance(1)
            clock.step_system(0.0005)
            found = watch.look()
            if found is not None:
                anchors.append(found)
        assert [type(a) for a in anchors] == [Anchor] * 3
        # The anchors tell how far host time and the system clock have come apart.
        drift = anchors[-1].utc_ns - clock.host_ns(anchors[-1].monotonic_ns)
        assert drift == pytest.approx(0.0005 * 180 * SECOND, rel=0.02)

    run(main())


def test_a_mark_made_in_another_process_lands_in_the_run_s_host_time():
    run_clock = SystemClock()
    other = SystemClock(run_clock.anchor)
    assert abs(other.host_ns() - run_clock.host_ns()) < SECOND


def test_the_system_clock_agrees_with_the_machine():
    assert abs(SystemClock().host_ns() - time.time_ns()) < SECOND // 10


def test_a_fast_clock_runs_fast_and_sleeps_short():
    async def main():
        clock = FastClock(200, start_utc_ns=5_000)
        began, wall = clock.host_ns(), time.monotonic()
        await clock.sleep(4)
        assert 0.015 < time.monotonic() - wall < 1
        assert clock.host_ns() - began >= 4 * SECOND
        assert clock.system_utc_ns() >= clock.anchor.utc_ns

    run(main())


def test_a_fast_clock_needs_a_sensible_speed():
    with pytest.raises(ValueError, match="speed"):
        FastClock(0)


def test_sleepers_on_a_hand_clock_wake_in_order_at_their_own_moment():
    async def main():
        clock = HandClock()
        woken = []

        async def sleeper(seconds):
            await clock.sleep(seconds)
            woken.append((seconds, clock.monotonic_ns()))

        start = clock.monotonic_ns()
        tasks = [asyncio.create_task(sleeper(s)) for s in (3, 1, 2)]
        await clock.advance(2.5)
        assert woken == [(1, start + SECOND), (2, start + 2 * SECOND)]
        await clock.advance(0.5)
        await asyncio.gather(*tasks)
        assert woken[-1] == (3, start + 3 * SECOND)

    run(main())
