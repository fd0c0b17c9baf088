"""Each step of the method on data whose answer is known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from dsp import contrast
from dsp.bins import Grid, binned, interpolate_short
from dsp.clean import mark, spread_stamps
from dsp.combine import align, combined
from dsp.contrast import Compressor, Stretch
from dsp.motion import Hats, roll_covariance, roll_spectrum
from dsp.natural import roll_frequency
from dsp.reml import Known, fit
from dsp.roll import RollLaw, WindowRoll, as_windows_agree, day_law, envelope
from dsp.spectrum import expected, periodogram, pooled
from dsp.stretches import still_stretches
from dsp.trim import cross_talk
from dsp.types import StationKnowledge, Trace, Wind, WindowSpan
from dsp.wind import pressure_on, smoothed
from dsp.window import Parts, mean_of

DEG = np.pi / 180.0


def roll_made(rng: np.random.Generator, count: int, step: float, period: float, damping: float) -> np.ndarray:
    """Randomly driven oscillator of unit variance, stepped exactly enough (a hundred steps a period)."""
    natural, fine = 2 * np.pi / period, period / 200.0
    every = round(step / fine)
    fine = step / every
    a, b = 2 - (natural * fine) ** 2 - 2 * damping * natural * fine, -1 + 2 * damping * natural * fine
    push = rng.standard_normal(count * every + 4000)
    value = np.zeros(push.size)
    for i in range(2, push.size):
        value[i] = a * value[i - 1] + b * value[i - 2] + push[i]
    taken = value[4000::every][:count]
    return taken / np.std(value[4000:])


def test_marks_say_what_each_sample_is() -> None:
    rng = np.random.default_rng(0)
    time = np.arange(0.0, 300.0, 0.1)
    value = 0.01 * np.sin(2 * np.pi * time / 8.0) + 1e-4 * rng.standard_normal(time.size)
    value[500] += 0.02
    value[1200:1300] = value[1200]
    keep = (time < 200.0) | (time > 210.0)
    found = mark(Trace("a", time[keep], value[keep]), StationKnowledge("a", range=0.0099))
    assert found.spike[500] and found.spike.sum() == 1
    assert found.stuck[1210] and 90 <= found.stuck.sum() <= 100
    assert len(found.gaps) == 1 and abs(found.gaps[0][1] - found.gaps[0][0] - 10.0) < 0.5
    assert found.saturated.any() and found.saturated.mean() < 0.2
    assert abs(found.noise / 1e-4 - 1.0) < 0.1
    assert abs(found.rate - 10.0) < 0.1


@pytest.mark.parametrize("rate", [1.0, 5.0, 50.0])
def test_heavy_clean_roll_has_no_spikes(rate: float) -> None:
    rng = np.random.default_rng(1)
    time = np.arange(0.0, 1000.0, 1.0 / rate)
    swing = 0.05 * np.exp(-0.01 * (time % 300.0)) * np.sin(2 * np.pi * time / 5.0)
    found = mark(Trace("a", time, swing + 1e-4 * rng.standard_normal(time.size)), StationKnowledge("a"))
    assert found.spike.sum() == 0 and found.stuck.sum() == 0


def test_coarse_resolution_on_a_quiet_day_is_not_stuck() -> None:
    time = np.arange(0.0, 600.0, 0.2)
    level = np.where(time < 300.0, 0.01, 0.02)
    assert mark(Trace("a", time, level), StationKnowledge("a")).stuck.sum() == 0


def test_stamps_are_spread_in_order() -> None:
    spread = spread_stamps(np.floor(np.arange(0.0, 10.0, 0.1)))
    assert (np.diff(spread) > 0).all()
    assert np.max(np.abs(spread - np.arange(0.05, 10.0, 0.1))) < 0.06


def test_bins_average_and_bridge_short_gaps() -> None:
    found = binned(Grid(0.0, 1.0, 4), np.array([0.1, 0.2, 3.4]), np.array([1.0, 2.0, 5.0]), np.ones(3, dtype=bool))
    assert found.count.tolist() == [2.0, 0.0, 0.0, 1.0] and found.mean[0] == 1.5
    assert interpolate_short(found.mean, 2)[1] == pytest.approx(1.5 + 3.5 / 3)
    assert np.isnan(interpolate_short(found.mean, 1)[1])


def test_stations_are_brought_to_one_zero_scale_and_drift() -> None:
    rng = np.random.default_rng(2)
    grid = Grid(0.0, 1.0, 4000)
    levels = np.repeat(np.array([0.0, 0.02, 0.04, 0.02, 0.0, -0.02, -0.04, -0.02]), 500)
    windows = tuple(WindowSpan(str(k), 500.0 * k + 100.0, 500.0 * k + 400.0) for k in range(8))
    ones = []
    for zero, scale, drift in ((0.001, 0.002, 0.0), (-0.002, -0.001, 2e-8), (0.0, -0.001, -2e-8)):
        value = zero + (1 + scale) * levels + drift * grid.time + 1e-5 * rng.standard_normal(4000)
        ones.append(binned(grid, grid.time, value, np.ones(4000, dtype=bool)))
    noise = np.full(3, 1e-5)
    knowledge = tuple(StationKnowledge(n, scale_u=0.002) for n in "abc")
    found = align(grid, tuple(ones), noise, knowledge, windows)
    assert np.allclose(np.diff(found.scale), np.diff([0.002, -0.001, -0.001]), atol=1e-4)
    assert np.allclose(np.diff(found.drift), np.diff([0.0, 2e-8, -2e-8]), atol=3e-9)
    assert found.scale_u == pytest.approx(0.002 / np.sqrt(3), rel=0.3)
    heel, _, _ = combined(grid, tuple(ones), noise, found)
    missing = replace(ones[0], mean=np.where(grid.time > 2000, np.nan, ones[0].mean))
    missing = replace(missing, count=np.where(grid.time > 2000, 0.0, ones[0].count))
    other, _, _ = combined(grid, (missing, *ones[1:]), noise, found)
    assert np.max(np.abs(np.nanmean((other - heel).reshape(8, 500), axis=1))) < 2e-6


def test_spectrum_of_a_model_is_what_a_periodogram_shows() -> None:
    rng = np.random.default_rng(3)
    step, length = 0.5, 256
    wave = roll_covariance(np.arange(length) * step, 0.1, 0.05)
    root = np.linalg.cholesky(wave[np.abs(np.arange(length)[:, None] - np.arange(length))] + 1e-9 * np.eye(length))
    seen = np.mean([periodogram(root @ rng.standard_normal(length), step, 1024) for _ in range(400)], axis=0)
    model = expected(wave, step, length, 1024)
    band = slice(20, 300)
    assert np.max(np.abs(np.log(seen[band] / model[band]))) < 0.5


@pytest.mark.parametrize("damping", [0.015, 0.05])
def test_the_period_of_a_roll_pushed_at_random_is_not_biased(damping: float) -> None:
    step, period, frequency = 1.0, 10.0, 0.1
    off = []
    for seed in range(24):
        rng = np.random.default_rng(seed)
        parts = [envelope(roll_made(rng, 150, step, period, damping), step, frequency) for _ in range(8)]
        law = day_law(parts, step, frequency)
        assert law is not None
        off.append((law.frequency / frequency - 1.0, law.frequency_u / frequency))
    bias, u = np.array(off).T
    assert abs(bias.mean()) < 3.0 * bias.std() / np.sqrt(bias.size) + 0.001
    assert np.mean(np.abs(bias) < 1.96 * u) > 0.8


def test_roll_covariance_belongs_to_its_spectrum() -> None:
    frequency = np.linspace(0.0, 3.0, 60001)
    density = roll_spectrum(frequency, 0.1, 0.03)
    assert np.trapezoid(density, frequency) == pytest.approx(1.0, abs=2e-3)
    lag = np.array([0.0, 2.0, 5.0, 20.0])
    direct = [np.trapezoid(density * np.cos(2 * np.pi * frequency * t), frequency) for t in lag]
    assert np.allclose(roll_covariance(lag, 0.1, 0.03), direct, atol=5e-3)
    assert roll_spectrum(np.array([0.0]), 0.1, 0.03)[0] == 0.0


@pytest.mark.parametrize(("period", "damping"), [(5.0, 0.04), (9.0, 0.015)])
def test_period_and_damping_are_recovered(period: float, damping: float) -> None:
    rng = np.random.default_rng(4)
    step = period / 10.0
    parts = [roll_made(rng, 400, step, period, damping) for _ in range(8)]
    frequency, stands = roll_frequency(pooled(parts, step), 400 * step)
    assert stands > 5.0
    law = day_law([envelope(p, step, frequency) for p in parts], step, frequency)
    assert law is not None
    assert abs(1.0 / law.frequency / period - 1.0) < 3.0 * law.frequency_u / law.frequency + 0.005
    assert abs(law.damping - damping) < 3.5 * law.damping_u
    assert law.damping_u < 0.5 * damping


def test_a_decaying_swing_gives_the_same() -> None:
    step, period, damping = 0.8, 8.0, 0.02
    time = np.arange(300) * step
    natural = 2 * np.pi / period
    parts = [np.exp(-damping * natural * time) * np.cos(natural * time + k) for k in range(4)]
    rng = np.random.default_rng(5)
    parts = [p + 0.003 * rng.standard_normal(p.size) for p in parts]
    law = day_law([envelope(p, step, 0.124) for p in parts], step, 0.124)
    assert law is not None and law.damping == pytest.approx(damping, rel=0.1)
    assert 1.0 / law.frequency == pytest.approx(period, rel=0.005)


def test_period_of_the_day_is_as_sure_as_its_windows_agree() -> None:
    law = RollLaw(0.1, 0.0005, 0.03, 0.01, 0.1, 0.1)
    alike = [WindowRoll(0.1 + away, 0.001, 1e-8, 0.0) for away in (0.0005, -0.0005, 0.0002, -0.0002)]
    apart = [WindowRoll(0.1 + away, 0.001, 1e-8, 0.0) for away in (0.003, -0.003, 0.003, -0.003)]
    assert as_windows_agree(law, alike).frequency_u == law.frequency_u
    assert as_windows_agree(law, apart).frequency_u == pytest.approx(law.frequency_u * 3.0 * np.sqrt(4 / 3))
    assert as_windows_agree(law, apart[:2]).frequency_u == law.frequency_u


def test_low_frequency_spectrum_and_wind_coefficient_are_recovered() -> None:
    rng = np.random.default_rng(6)
    hats = Hats.between(0.003, 0.06, 0.5)
    truth = np.concatenate([np.full(hats.low, 4.0), np.full(hats.node.size - hats.low, 1e-3)])
    step, size = 1.0, 240
    wave = truth @ hats.covariance(np.arange(size) * step)
    root = np.linalg.cholesky(wave[np.abs(np.arange(size)[:, None] - np.arange(size))] + 1e-6 * np.eye(size))
    compressor = Compressor(hats, truth[hats.low :], step, float("nan"), 0.03)
    contrasts = []
    for _ in range(40):
        wind = np.cumsum(rng.standard_normal(size))[:, None]
        heel = 3.0 + 0.5 * wind[:, 0] + root @ rng.standard_normal(size)
        index = np.arange(size)
        contrasts.append(compressor.contrast(Stretch(index, heel, np.full(size, 1e-6), wind, 0.0)))
    known = Known(np.array([10.0]), 0.5, np.zeros(hats.node.size))
    found = fit(hats, contrasts, np.full(hats.node.size, 1.0), known)
    spread = np.sqrt(np.diag(found.covariance)[: hats.low])
    assert np.all(np.abs(found.log_density[: hats.low] - np.log(4.0)) < 3.5 * spread)
    assert abs(found.coefficient[0] - 0.5) < 4.0 * np.sqrt(found.coefficient_covariance[0, 0])
    assert found.shared_dof > 20.0


def test_bands_of_a_long_stretch_tell_what_all_cosines_together_tell(monkeypatch: pytest.MonkeyPatch) -> None:
    rng = np.random.default_rng(8)
    hats = Hats.between(0.001, 0.08, 0.5)
    truth = np.where(np.arange(hats.node.size) < hats.low, 0.02 / (0.004 + hats.node) ** 1.5, 1e-3)
    step, size = 1.0, 900
    wave = truth @ hats.covariance(np.arange(size) * step)
    root = np.linalg.cholesky(wave[np.abs(np.arange(size)[:, None] - np.arange(size))] + 1e-6 * np.eye(size))
    index = np.arange(size)
    made = [
        Stretch(index, root @ rng.standard_normal(size), np.full(size, 1e-6), np.zeros((size, 0)), 0.0)
        for _ in range(3)
    ]
    known = Known(np.zeros(0), 0.5, np.zeros(hats.node.size))
    found = {}
    for widest in (64, 1000):
        monkeypatch.setattr(contrast, "WIDEST", widest)
        compressor = Compressor(hats, truth[hats.low :], step, 0.12, 0.03)
        seen = [compressor.contrast(one) for one in made]
        assert len(seen[0].bands) == (3 if widest == 64 else 1)
        found[widest] = fit(hats, seen, np.full(hats.node.size, 1.0), known)
    spread = np.sqrt(np.diag(found[1000].covariance)[: hats.low])
    away = (found[64].log_density - found[1000].log_density)[: hats.low] / spread
    assert np.all(np.abs(away) < 0.25)
    assert found[64].scale == pytest.approx(found[1000].scale, rel=0.05)


def test_weights_of_the_mean_ignore_a_starting_swing() -> None:
    time = np.arange(100) * 1.0
    fade = np.exp(-0.02 * time)
    swing = np.stack([fade * np.cos(0.7 * time), fade * np.sin(0.7 * time)])
    parts = Parts(np.zeros((100, 100)), np.zeros((100, 100)), 1.0 * swing.T @ swing, np.full(100, 1e-6))
    found = mean_of(0.3 + 0.5 * swing[0] - 0.2 * swing[1], parts)
    assert found.mean == pytest.approx(0.3, abs=1e-5)
    assert found.weight.sum() == pytest.approx(1.0)
    assert np.std(found.transient - (0.5 * swing[0] - 0.2 * swing[1])) < 1e-4


def test_stretches_reach_beyond_the_window_but_not_over_a_step() -> None:
    rng = np.random.default_rng(7)
    grid = Grid(0.0, 1.0, 1200)
    heel = np.where(grid.time < 600.0, 0.0, 0.02) + 1e-4 * rng.standard_normal(1200)
    windows = (WindowSpan("0", 300.0, 400.0), WindowSpan("1", 800.0, 900.0))
    first, second = still_stretches(grid, heel, windows, 8.0)
    assert first.start < 100 and 500 < first.stop < 600
    assert 600 < second.start < 700 and second.stop > 1100


def test_wind_signs_and_smoothing() -> None:
    time = np.arange(0.0, 600.0, 1.0)
    grid = Grid(0.0, 1.0, 600)
    from_starboard = pressure_on(grid, Wind(time, np.full(600, 5.0), np.full(600, np.pi / 2)))
    assert from_starboard is not None and from_starboard.directed
    assert np.allclose(from_starboard.value, -25.0)
    undirected = pressure_on(grid, Wind(time, np.full(600, 5.0)))
    assert undirected is not None and np.allclose(undirected.value, 25.0)
    assert pressure_on(grid, Wind(time[:3], np.full(3, 5.0))) is None
    slow = smoothed(np.cos(2 * np.pi * 0.02 * time), 1.0, 10.0)
    assert np.ptp(slow[200:400]) / 2.0 == pytest.approx(np.exp(-2 * np.pi * 10.0 * 0.02), rel=0.05)


def test_trim_cross_talk() -> None:
    spans = (WindowSpan("0", 0.0, 10.0), WindowSpan("1", 20.0, 30.0))
    time = np.arange(0.0, 30.0, 0.5)
    trim = Trace("a", time, np.where(time < 15.0, 0.0, 0.01))
    known = (StationKnowledge("a", yaw_u=0.02),)
    found = cross_talk((trim,), known, spans)
    assert found.covariance[0, 0] == pytest.approx((0.02 * 0.005) ** 2)
    assert found.covariance[0, 1] == pytest.approx(-((0.02 * 0.005) ** 2))
    assert found.scale_u == pytest.approx(np.sqrt(3) / 2 * 0.02**2)
    assert not found.assumptions
    assert len(cross_talk((), (StationKnowledge("a"),), spans).assumptions) == 2


@pytest.mark.parametrize(
    ("measured", "windows", "says"),
    [
        ([], 1, "Trim was not measured: "),
        ([[0]], 1, "Trim was measured in one window only"),
        ([[1]], 3, "Trim was measured in one window only"),
        ([[0], [2]], 3, "Trim was measured by no channel in two windows"),
        ([[0, 1]], 3, "Trim was not measured in some windows: "),
        ([[0, 1], [2]], 3, "Trim was not measured in some windows: "),
    ],
)
def test_what_is_assumed_of_trim_says_what_was_measured(measured: list[list[int]], windows: int, says: str) -> None:
    spans = tuple(WindowSpan(f"{k}", 20.0 * k, 20.0 * k + 10.0) for k in range(windows))
    trim = tuple(
        Trace("a", np.concatenate([20.0 * k + np.arange(0.5, 10.0, 0.5) for k in on]), np.full(19 * len(on), 0.01))
        for on in measured
    )
    (said,) = cross_talk(trim, (StationKnowledge("a", yaw_u=0.02),), spans).assumptions
    assert said.startswith(says)
    assert "steady within 0.02 deg at 95 % assumed" in said
