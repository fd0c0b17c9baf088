"""Times put in come out again: jitter, bursts, losses, late bursts, duplicates, a device clock that drifts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from numpy.typing import NDArray

from logger.archive.arrow import NO_TIME
from logger.archive.timing import Arrivals, repaired, strictly_increasing, tell
from logger.records import Flag

T0 = 1_778_743_800_000_000_000
MS = 1_000_000


@dataclass
class Made:
    sample: NDArray[np.int64]
    host: NDArray[np.int64]
    device: NDArray[np.int64]
    value: NDArray[np.float64]

    def arrivals(self, *, device: bool = False, flags: NDArray[np.uint16] | None = None) -> Arrivals:
        order = np.argsort(self.host, kind="stable")
        return Arrivals(
            self.host[order],
            self.device[order] if device else None,
            self.value[order],
            np.zeros(order.size, dtype=np.uint16) if flags is None else flags[order],
            np.arange(order.size),
        )

    def error_ms(self, found_time: NDArray[np.int64], rows: NDArray[np.intp]) -> NDArray[np.float64]:
        """Against the truth, less the constant that cannot be known."""
        order = np.argsort(self.host, kind="stable")
        error = (found_time - self.sample[order][rows]) / 1e6
        return np.asarray(error - np.median(error))


def made(
    seed: int,
    *,
    rate: float = 10.0,
    seconds: float = 600.0,
    jitter_ms: float = 3.0,
    lost: float = 0.0,
    drift: float = 0.0,
    offset_s: float = 0.0,
    burst_s: float = 0.0,
) -> Made:
    rng = np.random.default_rng(seed)
    count = int(seconds * rate)
    sample = T0 + np.round(np.arange(count) * 1e9 / rate).astype(np.int64)
    sample = sample[rng.random(count) >= lost]
    host = sample + 5 * MS + (rng.exponential(jitter_ms, sample.size) * MS).astype(np.int64)
    if burst_s:
        step = int(burst_s * 1e9)
        host = -(-host // step) * step
    host = np.maximum.accumulate(host)
    device = np.round((sample - T0) * (1 + drift)).astype(np.int64) + T0 + int(offset_s * 1e9)
    return Made(sample, host, device, np.round(np.sin(np.arange(sample.size) / 13.0), 4))


@pytest.mark.parametrize(("rate", "jitter"), [(1.0, 3.0), (10.0, 3.0), (10.0, 10.0), (50.0, 2.0), (100.0, 1.0)])
@pytest.mark.parametrize("lost", [0.0, 0.02])
def test_jitter_is_removed_and_losses_counted(rate: float, jitter: float, lost: float) -> None:
    day = made(1, rate=rate, jitter_ms=jitter, lost=lost)
    found = repaired(day.arrivals())
    error = day.error_ms(found.time_ns, found.rows)
    assert found.timing.way == "counted samples"
    assert found.timing.rate_hz == pytest.approx(rate, rel=2e-4)
    assert np.quantile(np.abs(error), 0.99) < max(0.35 * jitter, 0.5)
    gone = round((day.sample[-1] - day.sample[0]) * rate / 1e9) + 1 - day.sample.size
    assert found.timing.lost == gone
    assert found.timing.readings == day.sample.size


def test_bursts_of_a_buffered_line_are_spread_over_the_time_they_took() -> None:
    day = made(2, rate=100.0, jitter_ms=0.5, burst_s=0.1)
    found = repaired(day.arrivals())
    error = day.error_ms(found.time_ns, found.rows)
    assert np.abs(error).max() < 15
    assert (np.diff(found.time_ns) > 0).all()


def test_a_stall_of_the_machine_is_spread_back_into_the_silence() -> None:
    day = made(3, rate=10.0, jitter_ms=1.0)
    stall = (day.host > T0 + int(100e9)) & (day.host < T0 + int(104e9))
    day.host[stall] = T0 + int(104e9)
    found = repaired(day.arrivals())
    assert np.abs(day.error_ms(found.time_ns, found.rows)).max() < 8
    assert found.timing.lost == 0


@pytest.mark.parametrize("drift", [0.0, 5e-5, -2e-4])
@pytest.mark.parametrize("offset", [0.0, -3600.0, 17.3])
def test_device_time_is_carried_onto_the_loggers_clock(drift: float, offset: float) -> None:
    day = made(4, rate=20.0, jitter_ms=40.0, drift=drift, offset_s=offset, lost=0.01)
    found = repaired(day.arrivals(device=True))
    assert found.timing.way == "device time"
    assert np.quantile(np.abs(day.error_ms(found.time_ns, found.rows)), 0.99) < 5
    assert found.timing.rate_hz == pytest.approx(20.0, rel=5e-4)
    assert found.timing.jitter_s == pytest.approx(0.040, rel=0.35)


def test_a_late_burst_after_an_outage_lands_at_its_own_time() -> None:
    day = made(5, rate=10.0, jitter_ms=5.0)
    out = (day.sample > T0 + int(200e9)) & (day.sample < T0 + int(290e9))
    day.host[out] = T0 + int(290e9) + np.arange(out.sum()) * 100_000
    found = repaired(day.arrivals(device=True))
    error = day.error_ms(found.time_ns, found.rows)
    assert np.abs(error).max() < 6
    assert found.timing.late > 850
    assert (np.diff(found.time_ns) > 0).all()


def test_duplicates_go_and_order_returns() -> None:
    day = made(6, rate=10.0, jitter_ms=3.0)
    rng = np.random.default_rng(6)
    again = rng.random(day.host.size) < 0.05
    day = Made(
        np.concatenate([day.sample, day.sample[again]]),
        np.concatenate([day.host, day.host[again] + 700 * MS]),
        np.concatenate([day.device, day.device[again]]),
        np.concatenate([day.value, day.value[again]]),
    )
    found = repaired(day.arrivals(device=True))
    assert found.timing.duplicates == again.sum()
    assert found.timing.readings == 6000
    assert (np.diff(found.time_ns) > 0).all()
    assert np.abs(day.error_ms(found.time_ns, found.rows)).max() < 4
    assert f"{again.sum()} duplicates dropped" in tell((found.timing,))


def test_flagged_duplicates_go_without_a_device_time() -> None:
    day = made(7)
    flags = np.zeros(day.host.size, dtype=np.uint16)
    flags[100:200] = Flag.DUPLICATE
    assert repaired(day.arrivals(flags=flags)).timing.duplicates == 100


def test_lines_sent_twice_go_without_a_device_time() -> None:
    day = made(8, rate=10.0, jitter_ms=1.0)
    twice = Made(
        np.repeat(day.sample, 2)[:6600],
        np.repeat(day.host, 2)[:6600],
        np.repeat(day.device, 2)[:6600],
        np.repeat(day.value, 2)[:6600],
    )
    rng = np.random.default_rng(8)
    keep = np.ones(6600, dtype=bool)
    keep[1::2] = rng.random(3300) < 0.05
    sent = Made(twice.sample[keep], twice.host[keep], twice.device[keep], twice.value[keep])
    found = repaired(sent.arrivals())
    assert found.timing.readings == 3300
    assert np.abs(sent.error_ms(found.time_ns, found.rows)).max() < 3


@pytest.mark.parametrize("spoil", ["coarse", "stands", "stepped", "stepped back", "stepped by leap seconds", "none"])
def test_a_device_clock_that_cannot_be_trusted_is_left(spoil: str) -> None:
    day = made(9, rate=10.0, jitter_ms=3.0)
    if spoil == "coarse":
        day.device = day.device // 1_000_000_000 * 1_000_000_000
    elif spoil == "stands":
        day.device[:] = T0
    elif spoil.startswith("stepped"):
        day.device[3000:] += {"stepped": 3600, "stepped back": -3600}.get(spoil, 18) * 1_000_000_000
    else:
        day.device[:] = NO_TIME
    found = repaired(day.arrivals(device=True))
    assert found.timing.way == "counted samples"
    assert np.abs(day.error_ms(found.time_ns, found.rows)).max() < 5
    assert found.timing.readings == 6000


def test_a_station_without_a_beat_keeps_its_arrivals() -> None:
    rng = np.random.default_rng(10)
    host = T0 + np.cumsum(rng.exponential(1e9, 40) * rng.integers(1, 60, 40)).astype(np.int64)
    found = repaired(Arrivals(host, None, np.arange(40.0), np.zeros(40, dtype=np.uint16)))
    assert found.timing.way == "arrival" and np.array_equal(found.time_ns, host)
    few = repaired(Arrivals(host[:3], None, np.arange(3.0), np.zeros(3, dtype=np.uint16)))
    assert few.time_ns.size == 3


def test_equal_times_are_parted_by_a_nanosecond() -> None:
    assert strictly_increasing(np.array([3, 3, 4, 4, 4])).tolist() == [3, 4, 5, 6, 7]


def test_coarse_readings_handed_on_by_the_handful_are_no_repeats() -> None:
    rate, count = 200, 6000
    own = (np.arange(count) / rate * 1e9).astype(np.int64)
    host = own // 30_000_000 * 30_000_000 + 30_000_000  # an adapter that waits 30 ms
    value = np.round(np.sin(own * 1e-9 / 8.0 * 2.0 * np.pi), 2)
    found = repaired(Arrivals(host, None, value, np.zeros(count, np.uint16)))
    assert found.rows.size == count and found.timing.duplicates == 0
