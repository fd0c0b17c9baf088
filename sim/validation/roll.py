"""Roll: period, energy, decay, the published example of damping, energy balance under force."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import cumulative_simpson, quad

from config.units import DEGREE
from config.units import STANDARD_GRAVITY as G
from sim.chance import stream
from sim.validation.figure import Figure
from sim.validation.setup import Trial, extremes, let_go, push, upcrossings, vessel

Array = NDArray[np.float64]

PUBLISHED_N = {10.0: 0.0122, 15.0: 0.0113, 20.0: 0.0109, 25.0: 0.0106}
"""Amplitude (deg) -> N (1/deg), weather-criterion example as read on imorules.com."""


def figures() -> Iterator[Figure]:
    """All figures of this page."""
    yield from periods()
    yield from energies()
    yield from decays()
    yield from published_decay()
    yield balance()


def periods() -> Iterator[Figure]:
    """Small angles against ``2 pi k / sqrt(g GM)``; 10 degrees against the energy integral of the wall-sided arm."""
    for period in (4.0, 8.6, 25.0):
        trial = let_go(vessel(period_s=period), 0.1, 40.0 * period, period / 64.0)
        crossed = upcrossings(trial.motion.time, trial.motion.heel)
        found = float((crossed[-1] - crossed[0]) / (crossed.size - 1))
        wanted = 2.0 * math.pi * trial.vessel.radius / math.sqrt(G * trial.floating.gm_fluid)
        yield Figure(f"roll period, 0.1 deg, T {period:g} s", found, wanted, "s", 1e-3, "Derrett p. 292")
    trial = let_go(vessel(period_s=8.6), 10.0, 40.0 * 8.6, 8.6 / 64.0)
    crossed = upcrossings(trial.motion.time, trial.motion.heel)
    found = float((crossed[-1] - crossed[0]) / (crossed.size - 1))
    yield Figure("roll period, 10 deg, BM 2.7 GM", found, _swing(trial, 10.0 * DEGREE), "s", 1e-3, "energy integral")


def _swing(trial: Trial, amplitude: float) -> float:
    """Period of a free swing: ``4 integral of d phi / rate`` with the substitution ``phi = A sin(u)``."""
    gm, bm = trial.scenario.vessel.gm_m, trial.scenario.vessel.bm_m

    def work(phi: float) -> float:
        # integral of sin(phi) (gm + bm tan^2 / 2), in closed form
        return gm * (1.0 - math.cos(phi)) + 0.5 * bm * (math.cos(phi) + 1.0 / math.cos(phi) - 2.0)

    def slowness(u: float) -> float:
        phi = amplitude * math.sin(u)
        left = work(amplitude) - work(phi)
        return amplitude * math.cos(u) / math.sqrt(2.0 * G * left / trial.vessel.radius**2)

    return 4.0 * float(quad(slowness, 0.0, math.pi / 2.0 - 1e-6)[0])


def energies() -> Iterator[Figure]:
    """Energy kept over 100 cycles without damping."""
    for amplitude in (0.5, 5.0, 10.0):
        trial = let_go(vessel(period_s=8.0), amplitude, 102.0 * 8.0, 8.0 / 64.0)
        energy = _energy(trial)
        cycle = 64
        change = float(np.mean(energy[-cycle:]) / np.mean(energy[:cycle]))
        yield Figure(
            f"energy after 100 cycles from {amplitude:g} deg", change, 1.0, "of the start", 1e-3, "conservation"
        )


def _energy(trial: Trial) -> Array:
    gm, bm = trial.scenario.vessel.gm_m, trial.scenario.vessel.bm_m
    phi, inertia = trial.motion.heel, trial.vessel.radius**2 * trial.floating.displacement
    height = gm * (1.0 - np.cos(phi)) + 0.5 * bm * (np.cos(phi) + 1.0 / np.cos(phi) - 2.0)
    return np.asarray(0.5 * inertia * trial.motion.heel_rate**2 + trial.floating.displacement * G * height)


def decays() -> Iterator[Figure]:
    """Linear damping against the exponential."""
    for damping in (0.01, 0.05):
        trial = let_go(vessel(period_s=8.0, damping=damping), 0.2, 8.0 * 12.0, 8.0 / 64.0)
        peaks = extremes(trial.motion.heel)
        found = float(np.log(peaks[0] / peaks[20]) / 20.0)
        wanted = math.pi * damping / math.sqrt(1.0 - damping**2)
        yield Figure(
            f"logarithmic decrement a half cycle, damping {damping:g}", found, wanted, "", 1e-2, "exponential decay"
        )


def published_decay() -> Iterator[Figure]:
    """The IMO example: amplitude lost in a half cycle is ``N phi_m^2``, phi_m the mean of the two amplitudes."""
    for amplitude, published in PUBLISHED_N.items():
        truth = vessel(period_s=8.0, bm_m=1e-6, extinction_per_deg=published)
        trial = let_go(truth, amplitude * (1.0 + published * amplitude / 2.0), 8.0, 8.0 / 128.0)
        last = float(extremes(trial.motion.heel)[0]) / DEGREE
        first = amplitude * (1.0 + published * amplitude / 2.0)
        found = (first - last) / ((first + last) / 2.0) ** 2
        yield Figure(
            f"N at {amplitude:g} deg from the first half cycle",
            found,
            published,
            "1/deg",
            2e-2,
            "IMO weather criterion, example (references 5)",
        )


def balance() -> Figure:
    """Work done by a random moment against what is dissipated and stored."""
    step, samples = 0.05, 40_000
    rng = stream(3, "balance")
    moment = np.convolve(rng.standard_normal(samples), np.ones(60) / 60.0, mode="same") * 40e3
    trial = push(vessel(period_s=8.0, damping=0.03, extinction_per_deg=0.02), moment, step)
    rate = trial.motion.heel_rate
    power = G * moment * np.cos(trial.motion.heel) * rate
    lost = trial.vessel.damping[1, 1] * rate**2 + trial.vessel.quadratic_roll * np.abs(rate) ** 3
    work = cumulative_simpson(power, dx=step)[-1]
    heat = cumulative_simpson(lost, dx=step)[-1]
    energy = _energy(trial)
    return Figure(
        "work of a random moment: dissipated and stored",
        float((heat + energy[-1] - energy[0]) / work),
        1.0,
        "of the work",
        2e-3,
        "energy balance",
    )
