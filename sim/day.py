"""One synthetic test day from beginning to end: scenario in; signals, marks and truth out."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from config.units import STANDARD_GRAVITY as G
from logger.records import CANONICAL_UNIT, Reading
from sim.air import air, wind_force
from sim.berth import contacts, wave_slope
from sim.chance import stream
from sim.condition import float_vessel
from sim.marks import Mark, marks_of_the_day
from sim.motion import Motion, march
from sim.oscillator import follow
from sim.people import people_moments
from sim.scenario import Scenario
from sim.sensors import Signal, World, signals
from sim.spoils import Tug
from sim.timeline import Timeline, timeline
from sim.truth import Truth, tell_truth
from sim.vessel import Floating, LinearVessel, linear_vessel
from sim.weights import Moments, landing_blows, weight_moments

Array = NDArray[np.float64]


@dataclass(frozen=True)
class SimulatedDay:
    """A whole day."""

    scenario: Scenario
    epoch_ns: int
    """UTC ns of its start."""
    signals: tuple[Signal, ...]
    marks: tuple[Mark, ...]
    """In time order, as people would have entered them."""
    truth: Truth
    motion: Motion
    world: World

    @property
    def end_ns(self) -> int:
        """UTC ns of its end."""
        return self.epoch_ns + round(float(self.motion.time[-1]) * 1e9)

    def readings(self) -> Iterator[Reading]:
        """All signals as readings in order of arrival, as a logger would have recorded them."""
        rows = np.concatenate(
            [np.stack([s.time_ns, np.full(s.time_ns.size, i)]) for i, s in enumerate(self.signals)], 1
        )
        counts = [0] * len(self.signals)
        for index in np.argsort(rows[0], kind="stable"):
            which = int(rows[1, index])
            signal, k = self.signals[which], counts[which]
            counts[which] += 1
            stamp = None if signal.device_time_ns is None else int(signal.device_time_ns[k])
            value = float(signal.value[k])
            unit = CANONICAL_UNIT[signal.quantity]
            yield Reading(
                signal.station, signal.quantity, int(signal.time_ns[k]), stamp, value, f"{value:g} {unit}", sequence=k
            )


def simulate(scenario: Scenario, seed: int | None = None) -> SimulatedDay:
    """Make a day.

    Parameters
    ----------
    scenario : everything true about it.
    seed : in place of the scenario's own.

    Returns
    -------
    SimulatedDay; the same scenario and seed give the same bits on the same machine and library versions.

    Raises
    ------
    BadInput where the scenario asks for a hull or a curve that is not there.

    Examples
    --------
    >>> from sim.kinds import make_kind
    >>> day = simulate(make_kind("quiet", 3))
    >>> [w.label for w in day.truth.windows]
    ['0', '1', '2', '3', '4', '5', '6', '7', '8']
    """
    if seed is not None:
        scenario = scenario.model_copy(update={"seed": seed})
    seed = scenario.seed
    plan, floating = timeline(scenario), float_vessel(scenario)
    vessel = linear_vessel(scenario, floating)
    step = scenario.step_s or min(max(scenario.vessel.period_s / 64.0, 0.04), 0.1)
    time = np.asarray(np.arange(math.ceil(plan.end / step) + 1) * step, dtype=np.float64)
    epoch_ns = round(scenario.schedule.start.timestamp()) * 1_000_000_000

    moments = Moments.none(time.size)
    weight_moments(scenario, plan, time, moments, stream(seed, "weights"))
    people_moments(scenario, plan, time, moments, stream(seed, "people"))
    moments.transverse += floating.base_moment
    breeze = air(scenario, plan, time, stream(seed, "air"))
    slope = wave_slope(scenario, plan, time, stream(seed, "waves"))
    forces = _forces(scenario, plan, floating, vessel, time, slope)
    push = wind_force(scenario.wind, breeze.hull_speed, breeze.direction)
    forces[:, 0] += push
    forces[:, 1] += push * scenario.wind.area_height_m
    forces[:, 1] += landing_blows(scenario, plan, time)
    touching = contacts(scenario, plan, time, floating)
    motion = march(
        vessel,
        floating,
        scenario.liquids,
        time,
        forces,
        moments.transverse,
        moments.vertical - moments.vertical[0],
        touching,
    )
    trim, trim_acceleration = _pitch(scenario, floating, time, moments.longitudinal)
    world = World(scenario, plan, epoch_ns, motion, trim, trim_acceleration, breeze, touching, floating.draught)
    streams = [stream(seed, f"device {device.name}") for device in scenario.devices]
    truth = tell_truth(scenario, plan, floating, vessel, epoch_ns, motion.heel, step)
    marks = marks_of_the_day(world, streams)
    return SimulatedDay(scenario, epoch_ns, signals(world, streams), marks, truth, motion, world)


def _forces(
    scenario: Scenario, plan: Timeline, floating: Floating, vessel: LinearVessel, time: Array, slope: Array
) -> Array:
    """Generalised forces of waves and tugs: sway N, roll N m, nothing on the liquids.

    A long wave tilts apparent gravity by its effective slope: the vessel rights towards it, and is pushed sideways at
    her roll centre, where pushing does not roll her.
    """
    forces = np.zeros((time.size, 2 + len(scenario.liquids)))
    sideways = 0.3 * floating.displacement * G * slope
    forces[:, 0] += sideways
    forces[:, 1] += floating.displacement * G * floating.gm_fluid * slope + sideways * vessel.roll_centre
    for spoil in scenario.spoils:
        if isinstance(spoil, Tug):
            start = plan.at(spoil)
            edges = [start, start + spoil.ramp_s, start + spoil.for_s, start + spoil.for_s + spoil.ramp_s]
            pull = spoil.force_kn * 1e3 * np.interp(time, edges, [0.0, 1.0, 1.0, 0.0])
            forces[:, 0] += pull
            forces[:, 1] += pull * (spoil.height_m - floating.draught)
    return forces


def _pitch(scenario: Scenario, floating: Floating, time: Array, longitudinal: Array) -> tuple[Array, Array]:
    """Trim (rad, by the stern) and its acceleration under what moves fore and aft: one linear mode, exact."""
    truth = scenario.vessel
    rest = -longitudinal / (floating.displacement * floating.gml)
    position, acceleration = follow(
        rest - rest[0], 2.0 * math.pi / truth.pitch_period_s, truth.pitch_damping, float(time[1] - time[0])
    )
    return position + floating.base_trim, acceleration


__all__ = ["Mark", "Signal", "SimulatedDay", "simulate"]
