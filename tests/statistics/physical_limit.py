"""The best that anybody could do on a windy day of the physical simulator, from its own equations made linear.

Gusts that mast and hull do not have in common heel the vessel, and no record shows them. With root coherence ``r(f)``,
spectrum ``S(f)`` of gusts, admittance ``A(f)`` of the area and transfer ``H(f)`` from the wind's force to heel, what is
left of heel when the mast's record is used as well as it can be has the spectrum ``|H|^2 k^2 A^2 S (1 - r^2)``; without
a mast ``r`` is 0. The variance of the best linear unbiased mean of a window follows from it as in `gaussian_day`.

Taken as known: transfer, coherence, coefficient, spectrum. Left out: roll and chop (no mean), lines (slack), the slow
swing that is left from one state to the next. Drag on the swaying hull is made linear by the harmonic mean.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve, toeplitz

from config.units import AIR_DENSITY, DEGREE
from sim.air import area_admittance, coherence, davenport, kaimal
from sim.condition import float_vessel
from sim.devices import Tilt
from sim.scenario import Scenario
from sim.vessel import LinearVessel, linear_vessel

Array = NDArray[np.float64]
SIZE = 2**17


def limit_of(scenario: Scenario, measured_wind: bool) -> float:
    """Variance (rad2) of the best linear unbiased mean heel of one window of the scenario."""
    wind = scenario.wind
    vessel = linear_vessel(scenario, float_vessel(scenario))
    step = max(scenario.vessel.period_s / 10.0, 0.4)
    frequency = np.fft.rfftfreq(SIZE, step)
    frequency[0] = 0.5 * frequency[1]
    speed, sigma = wind.speed_m_s, wind.intensity * wind.speed_m_s
    gusts = (kaimal if wind.spectrum == "kaimal" else davenport)(frequency, speed, sigma, wind.height_m)
    gusts = gusts * area_admittance(frequency, max(wind.area_m2, 1.0), speed) ** 2
    pressure = 0.5 * AIR_DENSITY * wind.drag * wind.area_m2
    angle = wind.direction_deg * DEGREE
    along, across = 2.0 * pressure * speed * math.sin(angle), 0.8 * pressure * speed * math.cos(angle)
    force = (along**2 + across**2) * gusts
    heel = np.abs(_transfer(vessel, wind.area_height_m, frequency, force)) ** 2 * force
    if measured_wind:
        heel = heel * (1.0 - coherence(frequency, wind.mast_distance_m, speed, wind.coherence_decay) ** 2)
    tilts = [d for d in scenario.devices if isinstance(d, Tilt)]
    noise = 1.0 / sum(d.rate_hz * step / (d.noise_deg * DEGREE) ** 2 for d in tilts)
    count = int(scenario.schedule.window_s / step)
    shaped = heel * np.sinc(frequency * step) ** 2
    lags = np.fft.irfft(shaped * (frequency[2] - frequency[1]) / 2.0, SIZE)[:count] * SIZE
    return 1.0 / float(np.sum(cho_solve(cho_factor(toeplitz(lags) + noise * np.eye(count)), np.ones(count))))


def _transfer(vessel: LinearVessel, height: float, frequency: Array, force: Array) -> NDArray[np.complex128]:
    """Heel (rad) for a unit force (N) at ``height`` m above the waterline, drag made linear by what it gives."""
    turn = 2.0 * np.pi * frequency[:, None, None]
    push = np.zeros((frequency.size, vessel.mass.shape[0], 1))
    push[:, 0, 0], push[:, 1, 0] = 1.0, height
    motion, drag = push[:, :, 0].astype(np.complex128), 0.0
    for _ in range(12):
        damping = vessel.damping.copy()
        damping[0, 0] += drag
        motion = np.linalg.solve(-(turn**2) * vessel.mass + 1j * turn * damping + vessel.stiffness, push)[:, :, 0]
        swaying = np.abs(turn[:, 0, 0] * motion[:, 0]) ** 2 * force
        drag = vessel.drag * math.sqrt(8.0 / math.pi * float(np.sum(swaying)) * (frequency[2] - frequency[1]))
    return np.asarray(motion[:, 1])
