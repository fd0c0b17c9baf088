"""For any readings: what is written comes back; for any bytes: reading a journal never raises and invents nothing."""

from __future__ import annotations

import tempfile
from pathlib import Path

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.archive.journal import Journal, read_journal
from logger.archive.schema import batch_of
from logger.archive.timing import Arrivals, repaired
from logger.chain import append_line, read_lines
from logger.records import Channel, Flag, Quantity, Reading

CHANNELS = [Channel("aft", Quantity.HEEL, "deg", "x"), Channel("mast", Quantity.WIND_SPEED, "m/s", "y")]
INDEX = {(c.station, c.quantity): n for n, c in enumerate(CHANNELS)}

reading = st.builds(
    lambda place, host, device, value, sent, flags, number: Reading(
        CHANNELS[place].station, CHANNELS[place].quantity, host, device, value, sent, Flag(flags), number
    ),
    st.integers(0, 1),
    st.integers(0, 2**62),
    st.none() | st.integers(-(2**70), 2**70),
    st.floats(width=64),
    st.text(max_size=30),
    st.integers(0, 63),
    st.integers(0, 2**40),
)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.lists(reading, min_size=1, max_size=8), min_size=1, max_size=5), st.data())
def test_what_is_written_comes_back_and_a_cut_loses_only_the_tail(
    batches: list[list[Reading]], data: st.DataObject
) -> None:
    with tempfile.TemporaryDirectory() as name:
        path = Path(name) / "journal-0001.arrows"
        journal = Journal(path, CHANNELS, "run", 1, 0)
        for rows in batches:
            journal.encode(batch_of(rows, INDEX, journal.schema))
            journal.write()
        journal.close()
        part = read_journal(path)
        assert not part.damage and len(part.batches) == len(batches)
        for batch, rows in zip(part.batches, batches, strict=True):
            values = batch.column("value").to_numpy()
            assert np.array_equal(values, [r.value for r in rows], equal_nan=True)
            assert batch.column("time").view("int64").to_pylist() == [r.host_ns for r in rows]
            assert batch.column("sequence").to_pylist() == [r.sequence for r in rows]
        raw = path.read_bytes()
        cut = data.draw(st.integers(0, len(raw)))
        path.write_bytes(raw[:cut])
        again = read_journal(path)
        assert len(again.batches) <= len(batches)
        assert all(one.equals(two) or _nan(one, two) for one, two in zip(again.batches, part.batches, strict=False))


def _nan(one: object, two: object) -> bool:
    return bool(np.array_equal(one.column("value").to_numpy(), two.column("value").to_numpy(), equal_nan=True))  # type: ignore[attr-defined]


@settings(max_examples=150, deadline=None)
@given(st.binary(max_size=400))
def test_any_bytes_are_no_journal_and_no_exception(junk: bytes) -> None:
    with tempfile.TemporaryDirectory() as name:
        path = Path(name) / "journal-0001.arrows"
        path.write_bytes(junk)
        assert read_journal(path).rows == 0
        (Path(name) / "lines.jsonl").write_bytes(junk)
        before = read_lines(Path(name) / "lines.jsonl")
        append_line(Path(name) / "lines.jsonl", lambda number: {"kind": "note"})
        after = read_lines(Path(name) / "lines.jsonl")
        assert after[-1].intact and after[-1].data is not None
        assert len(after) == len(before) + 1


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.integers(0, 10**12), min_size=0, max_size=200),
    st.booleans(),
    st.integers(0, 2**32 - 1),
)
def test_repaired_times_rise_and_rows_are_used_once(steps: list[int], device: bool, seed: int) -> None:
    rng = np.random.default_rng(seed)
    host = np.cumsum(np.asarray(steps, dtype=np.int64))
    arrivals = Arrivals(
        host,
        host - rng.integers(0, 10**9, host.size) if device else None,
        rng.normal(size=host.size),
        np.zeros(host.size, dtype=np.uint16),
        np.arange(host.size),
    )
    found = repaired(arrivals)
    assert bool((np.diff(found.time_ns) > 0).all())
    assert np.unique(found.rows).size == found.rows.size == found.time_ns.size
    assert found.time_ns.size + found.timing.duplicates == host.size
