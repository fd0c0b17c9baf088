import asyncio
import threading

from rig import run

from logger.byte_queue import CHUNK_COST, ENOUGH, ByteQueue


def test_everything_comes_out_in_order_with_its_stamp():
    async def main():
        queue = ByteQueue(gather_s=0)
        threading.Thread(target=lambda: [queue.put(b"%d" % n, n) for n in range(100)]).start()
        got = []
        while len(got) < 100:
            got += await queue.take()
        assert [(int(c.data), c.monotonic_ns) for c in got] == [(n, n) for n in range(100)]

    run(main())


def test_what_does_not_fit_is_dropped_counted_and_told_to_the_next():
    async def main():
        queue = ByteQueue(limit_bytes=2 * (CHUNK_COST + 10), gather_s=0)
        assert queue.put(b"0123456789", 1)
        assert queue.put(b"0123456789", 2)
        assert not queue.put(b"a\nb\nc\n", 3)
        assert queue.statistics.dropped_bytes == 6
        await queue.take()
        assert queue.put(b"next", 4)
        (chunk,) = await queue.take()
        assert (chunk.dropped_bytes, chunk.dropped_lines) == (6, 3)
        queue.put(b"after", 5)
        (chunk,) = await queue.take()
        assert chunk.dropped_bytes == 0

    run(main())


def test_a_flood_of_single_bytes_is_bounded_too():
    async def main():
        queue = ByteQueue(limit_bytes=10_000)
        for n in range(10_000):
            queue.put(b"x", n)
        statistics = queue.statistics
        assert statistics.chunks <= 50
        assert statistics.most_bytes <= statistics.limit_bytes

    run(main())


def test_after_the_end_the_rest_can_be_taken_and_nothing_goes_in():
    async def main():
        queue = ByteQueue(gather_s=0)
        queue.put(b"last", 1)
        queue.close()
        assert not queue.put(b"late", 2)
        assert [c.data for c in await queue.take()] == [b"last"]
        assert await queue.take() == []
        assert await queue.take() == []

    run(main())


def test_the_taker_is_woken_by_the_end():
    async def main():
        queue = ByteQueue()
        asyncio.get_running_loop().call_later(0.01, queue.close)
        assert await asyncio.wait_for(queue.take(), 5) == []

    run(main())


def test_the_first_bytes_after_an_interruption_say_so():
    async def main():
        queue = ByteQueue(gather_s=0)
        queue.put(b"a", 1)
        queue.mark_resumed()
        queue.put(b"b", 2)
        queue.put(b"c", 3)
        assert [c.resumed for c in await queue.take()] == [False, True, False]

    run(main())


def test_a_queue_outlives_its_loop_without_harm():
    async def main():
        return ByteQueue()

    queue = run(main())
    queue.put(b"x", 1)


def test_where_much_is_held_already_nothing_is_waited_for():
    async def main():
        queue = ByteQueue(gather_s=60.0)
        queue.put(bytes(ENOUGH), 1)
        assert len(await asyncio.wait_for(queue.take(), 5)) == 1

    run(main())
