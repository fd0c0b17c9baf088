"""A long day thinned: every reading in the spans, means elsewhere, and the same heel as from the whole."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pyarrow.parquet as pq
import pytest

from config.errors import BadInput
from dsp.bins import grid_over, station_bins
from dsp.clean import mark
from dsp.types import StationKnowledge, Trace
from logger.archive.reader import read_series
from logger.archive.thinned import AROUND_NS, longer_than, read_thinned
from logger.archive.writer import RunWriter
from logger.clock import StoppedClock
from logger.records import Channel, Flag, Quantity, Reading

START = 1_778_743_800_000_000_000
S = 1_000_000_000
RATE = 50
SPAN = (START + 120 * S, START + 180 * S)


@pytest.fixture(scope="module")
def record(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Five minutes at 50 Hz with a silence of 20 s and one suspect reading far off, and wind at 1 Hz."""
    rng = np.random.default_rng(3)
    folder = tmp_path_factory.mktemp("thinned") / "record"
    channels = [Channel("aft", Quantity.HEEL, "deg", ""), Channel("mast", Quantity.WIND_SPEED, "m/s", "")]
    writer = RunWriter(folder, channels, "", StoppedClock(START))
    writer.start()
    rows = []
    for n in range(300 * RATE):
        at = n / RATE
        if 220.0 <= at < 240.0:
            continue
        odd = n == 30 * RATE
        host = START + round((at + rng.exponential(0.002)) * 1e9)
        value = 50.0 if odd else 0.5 + 0.2 * np.sin(2 * np.pi * at / 8.0) + rng.normal(0, 0.01)
        flag = Flag.SUSPECT if odd else Flag.NONE
        rows.append(Reading("aft", Quantity.HEEL, host, None, float(value), "", flag, n))
        if n % RATE == 0:
            rows.append(Reading("mast", Quantity.WIND_SPEED, host, None, 3.0, "", sequence=n // RATE))
    rows.sort(key=lambda row: row.host_ns)
    writer.append(rows)
    writer.flush()
    writer.stop("end")
    return folder


def test_every_reading_in_the_spans_and_none_lost_outside(record: Path) -> None:
    whole = read_series(record, quantity="heel")[0]
    heel, wind = read_thinned(record, [SPAN], {Quantity.HEEL})
    time = heel.series.time_ns
    assert (np.diff(time) > 0).all()
    inside = (time >= SPAN[0] - AROUND_NS) & (time < SPAN[1] + AROUND_NS)
    assert (heel.count[inside] == 1).all()
    assert inside.sum() == pytest.approx(80 * RATE, abs=2)
    at = dict(zip(whole.value.tolist(), whole.time_ns.tolist(), strict=True))
    away = [abs(at[v] - t) for v, t in zip(heel.series.value[inside].tolist(), time[inside].tolist(), strict=True)]
    assert max(away) < 0.001 * S
    assert heel.count.sum() == pytest.approx(len(whole), abs=RATE)
    assert wind.count.size == 0 and len(wind.series) == 280
    assert longer_than(280 * RATE - 1, record, {Quantity.HEEL})
    assert not longer_than(280 * RATE, record, {Quantity.HEEL})
    assert "means over 0.25 s" in heel.series.history[1]


def test_suspect_readings_enter_no_mean_and_silence_stays_silence(record: Path) -> None:
    heel = read_thinned(record, [SPAN], {Quantity.HEEL})[0].series
    assert heel.value.max() < 1.0
    silent = (heel.time_ns > START + 221 * S) & (heel.time_ns < START + 239 * S)
    assert not silent.any()


def test_bins_of_the_thinned_trace_are_those_of_the_whole(record: Path) -> None:
    whole = read_series(record, quantity="heel")[0]
    thin = read_thinned(record, [SPAN], {Quantity.HEEL})[0]
    made = []
    for one, count in ((whole, np.zeros(0)), (thin.series, thin.count.astype(float))):
        trace = Trace("aft", (one.time_ns - START) * 1e-9, one.value, np.asarray(one.flags != 0), count)
        marks = mark(trace, StationKnowledge("aft"))
        made.append((marks, station_bins(grid_over(0.0, 300.0, 1.0), trace, marks)))
    (full, one), (part, two) = made
    assert part.rate == pytest.approx(full.rate, rel=0.01)
    assert part.noise == pytest.approx(full.noise, rel=0.1)
    assert len(part.gaps) == len(full.gaps) == 1
    both = (one.count > RATE / 2) & (two.count > RATE / 2)
    assert both.sum() > 270
    assert np.abs(one.mean - two.mean)[both].max() < 0.01
    assert np.median(two.count[both]) == pytest.approx(RATE, rel=0.05)


def test_means_of_the_day_agree_with_its_readings(record: Path) -> None:
    whole = read_series(record, quantity="heel", repair=False)[0]
    means = read_thinned(record, (), (Quantity.HEEL,), every_ns=S)[0]
    good = whole.flags == 0
    assert means.count.sum() == good.sum()
    assert float(means.series.value @ means.count) == pytest.approx(float(whole.value[good].sum()))


def test_a_damaged_page_names_the_channel_that_it_is_of(tmp_path: Path) -> None:
    channels = [Channel(name, Quantity.HEEL, "deg", "") for name in ("aft", "bridge")]
    writer = RunWriter(tmp_path / "record", channels, "", StoppedClock(START))
    writer.start()
    rng = np.random.default_rng(4)
    host = START + np.arange(60 * RATE) * (S // RATE)
    for name in ("aft", "bridge"):
        values = rng.normal(size=host.size).tolist()
        writer.append(
            [Reading(name, Quantity.HEEL, at, None, v, "") for at, v in zip(host.tolist(), values, strict=True)]
        )
    writer.flush()
    writer.stop("end")
    (segment,) = (tmp_path / "record").glob("*/readings-*.parquet")
    column = pq.read_metadata(segment).row_group(1).column(4)  # value of bridge
    damaged = bytearray(segment.read_bytes())
    damaged[column.dictionary_page_offset + column.total_compressed_size // 2] ^= 0x5A
    segment.write_bytes(damaged)
    with pytest.raises(BadInput, match=r"readings-0001\.parquet, heel of bridge.*damaged"):
        read_thinned(tmp_path / "record", [], {Quantity.HEEL})
