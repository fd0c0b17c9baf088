"""What each device makes of the truth: sampling, mounting, lag, drift, noise, and its faults."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from config.units import DEGREE
from config.units import STANDARD_GRAVITY as G
from logger.records import Quantity
from sim.air import Air
from sim.berth import Contact, line_tension
from sim.devices import Anemometer, LoadCell, Pendulum, Tilt
from sim.motion import Motion
from sim.oscillator import follow
from sim.scenario import Scenario
from sim.spoils import SensorFault
from sim.timeline import PlannedWindow, Timeline

Array = NDArray[np.float64]
Times = NDArray[np.int64]


@dataclass(frozen=True)
class Signal:
    """One quantity of one station as it arrives."""

    station: str
    quantity: Quantity
    time_ns: Times
    """(n,) UTC ns of arrival."""
    value: Array
    """(n,) in the canonical unit, signs as the trade has them."""
    device_time_ns: Times | None
    """(n,) the device's own stamps, or None."""


@dataclass(frozen=True)
class World:
    """Everything a device could sense."""

    scenario: Scenario
    plan: Timeline
    epoch_ns: int
    motion: Motion
    trim: Array
    """(n,) rad."""
    trim_acceleration: Array
    air: Air
    touching: tuple[Contact, ...]
    draught: float


def at_times(step: float, values: Array, when: Array) -> Array:
    """Read a record between its steps by a cubic through the four nearest (Catmull-Rom)."""
    place = np.clip(when / step, 1.0, values.size - 2.001)
    left = place.astype(np.int64)
    u = place - left
    a, b, c, d = values[left - 1], values[left], values[left + 1], values[np.minimum(left + 2, values.size - 1)]
    result: Array = b + 0.5 * u * (c - a + u * (2.0 * a - 5.0 * b + 4.0 * c - d + u * (3.0 * (b - c) + d - a)))
    return result


def felt_heel(world: World, at: tuple[float, float, float]) -> Array:
    """Heel that a sensor of apparent gravity feels, rad: ``phi - (y'' + z phi'') / g``.

    For steady rolling at rate w, phi'' = -w^2 phi: at height z it over-reads by ``1 + z w^2 / g``.
    """
    motion = world.motion
    lateral = motion.sway_acceleration + (at[2] - world.draught) * motion.heel_acceleration
    felt: Array = motion.heel - lateral / G
    return felt


def tilt_signals(device: Tilt, world: World, rng: np.random.Generator) -> tuple[Signal, ...]:
    """Make what one inclinometer sends."""
    step = float(world.motion.time[1] - world.motion.time[0])
    heel_felt = felt_heel(world, device.at_m)
    trim_felt = world.trim - (device.at_m[2] - world.draught) * world.trim_acceleration / G
    sampled = _sample_times(device, world, rng)
    turn = device.yaw_deg * DEGREE
    axes = [(Quantity.HEEL, math.cos(turn) * heel_felt + math.sin(turn) * trim_felt)]
    if device.trim:
        axes.append((Quantity.TRIM, math.cos(turn) * trim_felt - math.sin(turn) * heel_felt))
    hours = sampled / 3600.0
    found: list[tuple[Quantity, Array, Array]] = []
    warmer = temperature(world.scenario, sampled) - world.scenario.temperature_c
    for quantity, axis in axes:
        value = at_times(step, axis, sampled) / DEGREE
        value = _lagged(value, device.lag_s, device.rate_hz)
        value = device.scale * value + device.zero_deg + device.drift_deg_per_h * hours
        value += device.temperature_deg_per_c * warmer
        if device.wander_deg > 0.0:
            each = device.wander_deg / math.sqrt(3600.0 * device.rate_hz)
            value += np.cumsum(rng.standard_normal(sampled.size)) * each
        noise = device.noise_deg * rng.standard_normal(sampled.size)
        kept, value = _faulty(device.name, value, noise, sampled, world, rng, device.spike, device.range_deg)
        value = np.clip(_rounded(value, device.resolution_deg), -device.range_deg, device.range_deg)
        found.append((quantity, sampled[kept], value))
    signals = []
    order = rng.bit_generator.state
    for quantity, times, value in found:
        rng.bit_generator.state = order  # one message carries both: same arrivals, same losses
        signals.append(_sent(device, quantity, times, value, world, rng))
    return tuple(signals)


def wind_signals(device: Anemometer, world: World, rng: np.random.Generator) -> tuple[Signal, ...]:
    """Make what one anemometer sends."""
    step = float(world.motion.time[1] - world.motion.time[0])
    sampled = _sample_times(device, world, rng)
    speed = _lagged(at_times(step, world.air.mast_speed, sampled), device.lag_s, device.rate_hz) * device.scale
    noise = device.noise_m_s * rng.standard_normal(sampled.size)
    kept, speed = _faulty(device.name, speed, noise, sampled, world, rng, device.spike, 75.0)
    speed = np.maximum(_rounded(speed, device.resolution_m_s), 0.0)
    turned = np.interp(sampled[kept], world.motion.time, world.air.mast_direction) / DEGREE
    turned = _rounded(turned + device.noise_deg * rng.standard_normal(turned.size), device.resolution_deg) % 360.0
    order = rng.bit_generator.state
    first = _sent(device, Quantity.WIND_SPEED, sampled[kept], speed, world, rng)
    rng.bit_generator.state = order  # one message carries both: same arrivals, same losses
    return first, _sent(device, Quantity.WIND_DIRECTION, sampled[kept], turned, world, rng)


def load_signals(device: LoadCell, world: World, rng: np.random.Generator) -> tuple[Signal, ...]:
    """Make what one load cell sends."""
    contact = next(c for c in world.touching if c.name == device.line)
    extension = contact.extension + contact.sway * world.motion.sway + contact.roll * world.motion.heel
    tension = line_tension(extension, contact.stiffness, contact.droop) / 1e3 + device.zero_kn
    sampled = _sample_times(device, world, rng)
    noise = device.noise_kn * rng.standard_normal(sampled.size)
    value = np.interp(sampled, world.motion.time, tension)
    kept, value = _faulty(device.name, value, noise, sampled, world, rng, device.spike, 500.0)
    value = _rounded(value, device.resolution_kn)
    return (_sent(device, Quantity.LINE_TENSION, sampled[kept], value, world, rng),)


def pendulum_reading(device: Pendulum, world: World, window: PlannedWindow, rng: np.random.Generator) -> list[float]:
    """Return what a person reads off the batten: successive turning points of the swing, mm, starboard positive.

    In the vessel's axes the bob obeys ``r'' + 2 z w r' + w^2 r = w^2 (phi - a / g) + phi''`` with ``w^2 = g / L`` and
    a the lateral acceleration of the point of suspension; the trough's oil moves with the vessel.
    """
    motion = world.motion
    step = float(motion.time[1] - motion.time[0])
    low, high = np.searchsorted(motion.time, [window.opened - 60.0, window.closed])
    part = slice(max(int(low), 0), int(high))
    rate = math.sqrt(G / device.length_m)
    drive = felt_heel(world, device.at_m)[part] + motion.heel_acceleration[part] / rate**2
    angle, _ = follow(drive, rate, device.oil_damping, step)
    inside = np.tan(angle[int(60.0 / step) :]) * device.length_m * 1e3 * device.scale + device.zero_mm
    turning = np.flatnonzero(np.diff(np.sign(np.diff(inside))) != 0) + 1
    extremes = [float(value) for value in inside[turning[: 2 * device.swings + 1]]] or [float(np.mean(inside))]
    read: list[float] = np.round(np.array(extremes) + device.reading_mm * rng.standard_normal(len(extremes))).tolist()
    return read


def temperature(scenario: Scenario, time: Array) -> Array:
    """Air temperature over the day, deg C: a slow swing from its start."""
    value: Array = scenario.temperature_c + scenario.temperature_swing_c * np.sin(math.pi * time / 28800.0)
    return value


def signals(world: World, streams: Sequence[np.random.Generator]) -> tuple[Signal, ...]:
    """Make everything the electronic devices send."""
    found: list[Signal] = []
    for device, rng in zip(world.scenario.devices, streams, strict=True):
        if isinstance(device, Tilt):
            found += tilt_signals(device, world, rng)
        elif isinstance(device, Anemometer):
            found += wind_signals(device, world, rng)
        elif isinstance(device, LoadCell):
            found += load_signals(device, world, rng)
    return tuple(found)


def _sample_times(device: Tilt | Anemometer | LoadCell, world: World, rng: np.random.Generator) -> Array:
    rate = device.rate_hz * (1.0 + device.rate_error_ppm * 1e-6)
    end = float(world.motion.time[-1])
    ticks = (np.arange(int(end * rate)) + rng.random()) / rate
    shaken = ticks + np.clip(device.jitter_ms * 1e-3 * rng.standard_normal(ticks.size), -0.45 / rate, 0.45 / rate)
    times: Array = np.clip(shaken, 0.0, end)
    return times


def _lagged(value: Array, lag: float, rate: float) -> Array:
    if lag <= 0.0:
        return value
    keep = math.exp(-1.0 / (lag * rate))
    start = [keep * float(value[0])]
    lagged: Array = lfilter([1.0 - keep], [1.0, -keep], value, zi=start)[0]
    return lagged


def _rounded(value: Array, resolution: float) -> Array:
    return value if resolution == 0.0 else np.round(value / resolution) * resolution


def _faulty(
    name: str,
    value: Array,
    noise: Array,
    time: Array,
    world: World,
    rng: np.random.Generator,
    spike: float,
    limit: float,
) -> tuple[NDArray[np.int64], Array]:
    """Put the faults of one device on its samples; return which samples are left and their values."""
    keep = np.ones(value.size, dtype=bool)
    value = value.copy()
    if spike > 0.0:
        hit = np.flatnonzero(rng.random(value.size) < spike)
        value[hit] += rng.choice([-1.0, 1.0], hit.size) * rng.uniform(0.05, 0.6, hit.size) * limit
    held: list[tuple[int, int]] = []
    for spoil in world.scenario.spoils:
        if not isinstance(spoil, SensorFault) or spoil.station != name:
            continue
        start = world.plan.at(spoil)
        low, high = (int(i) for i in np.searchsorted(time, [start, start + spoil.for_s]))
        if high <= low:
            continue
        if spoil.fault == "stuck":
            held.append((low, high))
        elif spoil.fault == "dropout":
            keep[low:high] = False
        elif spoil.fault == "spikes":
            hit = low + np.flatnonzero(rng.random(high - low) < 0.05)
            value[hit] += rng.choice([-1.0, 1.0], hit.size) * spoil.size
        elif spoil.fault == "noise":
            noise[low:high] *= spoil.size
        elif spoil.fault == "step":
            value[low:high] += spoil.size
        else:
            value[low:high] = np.clip(value[low:high], -spoil.size, spoil.size)
    value += noise
    for low, high in held:
        value[low:high] = value[low]
    left = np.flatnonzero(keep)
    return left, value[left]


def _sent(
    device: Tilt | Anemometer | LoadCell,
    quantity: Quantity,
    time: Array,
    value: Array,
    world: World,
    rng: np.random.Generator,
) -> Signal:
    """Lose, double, delay and stamp the samples."""
    if device.dropout > 0.0:
        kept = rng.random(time.size) >= device.dropout
        time, value = time[kept], value[kept]
    stamps = time * (1.0 + device.clock_drift_ppm * 1e-6) + device.clock_offset_s
    mean = device.latency_ms * 1e-3
    arrival = time + 0.6 * mean + rng.exponential(0.4 * mean, time.size) if mean > 0 else time.copy()
    if device.duplicate > 0.0:
        twice = np.flatnonzero(rng.random(time.size) < device.duplicate)
        arrival = np.insert(arrival, twice + 1, arrival[twice] + 0.002)
        value, stamps = np.insert(value, twice + 1, value[twice]), np.insert(stamps, twice + 1, stamps[twice])
    count = np.arange(arrival.size, dtype=np.int64)
    order = np.maximum.accumulate(np.round(arrival * 1e9).astype(np.int64) - count) + count  # strictly increasing
    own = world.epoch_ns + np.round(stamps * 1e9).astype(np.int64) if device.stamps else None
    return Signal(device.name, quantity, world.epoch_ns + order, value, own)
