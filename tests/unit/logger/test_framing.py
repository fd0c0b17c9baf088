import pytest

from logger.framing import LineFramer, LinesInMessage, NoReading, RawStore, WholeFramer


@pytest.mark.parametrize("end", [b"\n", b"\r\n", b"\r", b"\n\n"])
def test_any_line_end_will_do_and_cuts_may_fall_anywhere(end):
    stream = end.join([b"first", b"second", b"third"]) + end
    for cut in range(len(stream) + 1):
        framer = LineFramer()
        frames = framer.feed(stream[:cut])[0] + framer.feed(stream[cut:])[0]
        assert frames == [b"first", b"second", b"third"]


def test_a_line_without_end_is_given_up_in_pieces_and_the_next_one_is_read():
    framer = LineFramer(longest=10)
    frames, rejected = framer.feed(b"x" * 35)
    assert frames == []
    assert sum(len(r.data) for r in rejected) == 30
    frames, rejected = framer.feed(b"yy\nok\n")
    assert frames == [b"ok"]
    assert b"".join(r.data for r in rejected) == b"xxxxxyy"


def test_a_whole_line_that_is_too_long_is_garbage():
    frames, rejected = LineFramer(longest=5).feed(b"123456789\nab\n")
    assert frames == [b"ab"]
    assert rejected == [NoReading(b"123456789", "longer than 5 bytes")]


def test_what_is_held_never_grows():
    framer = LineFramer(longest=100)
    for _ in range(1000):
        framer.feed(b"z" * 77)
        assert len(framer._held) <= 100


def test_half_a_line_before_an_interruption_is_not_joined_to_what_comes_after():
    framer = LineFramer()
    framer.feed(b"1.2")
    assert framer.reset() == NoReading(b"1.2", "cut off by an interruption")
    assert framer.feed(b"3.4\n") == ([b"3.4"], [])


def test_messages_are_whole_or_refused():
    assert WholeFramer(4).feed(b"abcd") == ([b"abcd"], [])
    assert WholeFramer(4).feed(b"abcde")[1][0].reason == "payload of 5 bytes, over 4"
    assert WholeFramer(4).feed(b"") == ([], [])
    assert LinesInMessage().feed(b"a\nb") == ([b"a", b"b"], [])
    kept, rejected = LinesInMessage().feed(b"$\n" * 5000)
    assert (len(kept), [r.reason for r in rejected]) == (2000, ["more than 2000 lines in one message"])


def test_garbage_is_counted_without_limit_and_kept_within_bounds():
    store = RawStore(samples=4, sample_bytes=8, record_bytes=500)
    recorded = 0
    for n in range(1000):
        store.keep(NoReading(b"%016d" % n, "junk"), n)
        recorded += len(store.take_unrecorded())
    assert (store.count, store.bytes) == (1000, 16000)
    assert [s.host_ns for s in store.newest] == [996, 997, 998, 999]
    assert all(len(s.data) == 8 and s.length == 16 for s in store.newest)
    assert recorded == 7


def test_garbage_is_shown_in_harmless_characters():
    store = RawStore()
    store.keep(NoReading(b"\x1b]0;evil\x07\xff\n", ""), 0)
    assert store.newest[0].text() == "\\x1b]0;evil\\x07\\xff\\n"
