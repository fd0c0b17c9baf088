"""Air and devices: spectrum and coherence of the drawn wind, what an inclinometer aloft feels, a pendulum's swing."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray
from scipy.signal import csd, welch

from config.units import DEGREE
from config.units import STANDARD_GRAVITY as G
from sim.air import air, coherence, davenport, kaimal
from sim.chance import stream
from sim.oscillator import follow
from sim.scenario import Scenario, Schedule, Wind
from sim.timeline import timeline
from sim.validation.figure import Figure
from sim.validation.setup import let_go, vessel

Array = NDArray[np.float64]
STEP = 0.1


def figures() -> Iterator[Figure]:
    """All figures of this page."""
    yield from spectra()
    yield from aloft()
    yield pendulum()


def spectra() -> Iterator[Figure]:
    """Welch spectrum of 30 h of drawn wind against the formula, band by band; coherence of mast and hull."""
    time = np.asarray(np.arange(int(30 * 3600 / STEP)) * STEP, dtype=np.float64)
    for name, formula in (("kaimal", kaimal), ("davenport", davenport)):
        wind = Wind(spectrum=name, speed_m_s=6.0, meander_deg=0.0, slow_fraction=0.0, area_m2=1.0)
        scenario = Scenario(wind=wind, schedule=Schedule())
        found = air(scenario, timeline(scenario), time, stream(5, name))
        mast, hull = found.mast_speed * np.cos(found.mast_direction - wind.direction_deg * DEGREE), found.hull_speed
        frequency, density = welch(mast, fs=1.0 / STEP, nperseg=16384)
        for low, high in ((0.003, 0.01), (0.01, 0.05), (0.05, 0.2), (0.2, 1.0)):
            band = (frequency >= low) & (frequency < high)
            ratio = float(np.sum(density[band]) / np.sum(formula(frequency[band], 6.0, 0.18 * 6.0, 10.0)))
            yield Figure(f"{name} spectrum, {low:g} to {high:g} Hz", ratio, 1.0, "of the formula", 0.06, "sim.air")
        ahead = hull * np.cos(found.direction - wind.direction_deg * DEGREE)
        _, cross = csd(ahead, mast, fs=1.0 / STEP, nperseg=16384)
        _, own = welch(ahead, fs=1.0 / STEP, nperseg=16384)
        for at in (0.005, 0.02, 0.04):
            near = (frequency > 0.7 * at) & (frequency < 1.4 * at)
            root = float(np.mean(np.abs(cross[near]) / np.sqrt(own[near] * density[near])))
            wanted = float(np.mean(coherence(frequency[near], 25.0, 6.0, 10.0)))
            yield Figure(
                f"{name}: root coherence of mast and hull near {at:g} Hz",
                root,
                wanted,
                "",
                0.05,
                "Davenport 1961",
                True,
            )


def aloft() -> Iterator[Figure]:
    """Over-reading ``1 + h w^2 / g`` of a sensor h above the roll axis."""
    trial = let_go(vessel(period_s=6.0, bm_m=1e-6), 0.2, 60.0, 6.0 / 128.0)
    motion, rate = trial.motion, 2.0 * math.pi / 6.0
    for height in (-2.0, 5.0, 12.0):
        above_water = trial.vessel.roll_centre + height
        felt = motion.heel - (motion.sway_acceleration + above_water * motion.heel_acceleration) / G
        found = float(np.std(felt) / np.std(motion.heel))
        wanted = 1.0 + height * rate**2 / G
        yield Figure(f"over-reading {height:g} m above the roll axis", found, wanted, "of the roll", 1e-3, "method.md")


def pendulum() -> Figure:
    """A plumb line driven slowly hangs true; driven at its own rate it swings by ``1 / (2 z)`` of the drive."""
    length, damping = 4.2, 0.25
    rate = math.sqrt(G / length)
    time = np.asarray(np.arange(20_000) * 0.02, dtype=np.float64)
    swing, _ = follow(np.sin(rate * time), rate, damping, 0.02)
    return Figure("pendulum at resonance", float(np.max(swing[-2000:])), 1.0 / (2.0 * damping), "", 1e-2, "closed form")
