"""Whatever the bytes: framing and decoding give readings or a reason, never an exception, and lose nothing unseen."""

import json
from itertools import pairwise

import pytest
from fuzz import SEEDS, Fuzzer, stations
from hypothesis import given, settings
from hypothesis import strategies as st

from config.stations import ChannelMap, Station
from logger.dialects import dialect_of
from logger.dialects.nmea import cut_sentences, sentence
from logger.framing import LineFramer, NoReading
from logger.intake import Intake
from logger.records import Reading

MODELS = stations()


@pytest.mark.parametrize("station", MODELS, ids=lambda s: s.name)
@given(data=st.lists(st.one_of(st.binary(max_size=200), st.sampled_from(SEEDS)), max_size=6))
def test_any_bytes_in_any_pieces(station, data):
    intake = Intake(station, "x")
    for number, piece in enumerate(data):
        assert all(isinstance(reading, Reading) for reading in intake.take(piece, number + 1))


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20),
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.dictionaries(
            st.sampled_from(["t", "roll", "pitch", "n", "v", "u", "bn", "bt", "bu", "bv", "bver", "x_"]),
            inner,
            max_size=5,
        )
    ),
    max_leaves=20,
)


@pytest.mark.parametrize("name", ["j1", "s1"])
@given(value=json_values)
def test_any_json_gives_readings_or_a_reason(name, value):
    station = next(s for s in MODELS if s.name == name)
    decoder = dialect_of(station).decoder(station)
    result = decoder.decode(json.dumps(value).encode(), 1_900_000_000_000_000_000)
    assert isinstance(result, NoReading) or all(isinstance(r, Reading) for r in result)


@given(stream=st.binary(max_size=400), cuts=st.lists(st.integers(0, 400), max_size=8))
def test_where_a_stream_is_cut_makes_no_difference(stream, cuts):
    places = sorted({0, len(stream), *(min(c, len(stream)) for c in cuts)})
    whole, parts = LineFramer(longest=1000), LineFramer(longest=1000)
    frames = [f for a, b in pairwise(places) for f in parts.feed(stream[a:b])[0]]
    assert frames == whole.feed(stream)[0]
    assert parts._held == whole._held


@given(data=st.lists(st.binary(max_size=120), max_size=12))
def test_a_framer_loses_no_byte_but_line_ends(data):
    framer = LineFramer(longest=50)
    seen = b""
    for piece in data:
        frames, rejected = framer.feed(piece)
        seen += b"".join(frames) + b"".join(r.data for r in rejected)
    left = framer.reset()
    seen += left.data if left else b""
    sent = b"".join(data).replace(b"\r", b"").replace(b"\n", b"")
    assert sorted(seen) == sorted(sent)


@given(line=st.binary(min_size=1, max_size=200).filter(lambda b: b"\n" not in b))
def test_cutting_sentences_loses_nothing(line):
    frames, junk = cut_sentences(line)
    assert b"".join([j.data for j in junk] + frames) == line


@given(heel=st.decimals(-90, 90, places=4), name=st.sampled_from(["HEEL", "ROLL"]))
def test_an_angle_put_into_a_sentence_comes_out(heel, name):
    station = Station(name="aft", dialect="nmea", channels=(ChannelMap(quantity="heel", positive="port"),))
    (reading,) = dialect_of(station).decoder(station).decode(sentence(f"HEXDR,A,{heel:f},D,{name}").strip(), 1)
    assert reading.value == -float(heel)


@settings(deadline=None, max_examples=1)
@given(seed=st.just(20_260_101))
def test_a_short_run_of_the_fuzzer(seed):
    """The full 10 million: python tests/bench/fuzz.py."""
    fuzzer = Fuzzer(seed)
    fuzzer.run(30_000)
    assert fuzzer.readings > 1_000
    assert len(fuzzer.outcomes) > 100
    assert len(fuzzer.corpus) > len(SEEDS)
