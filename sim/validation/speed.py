"""How fast days are made: CPU time, so that a busy machine does not count."""

from __future__ import annotations

import time
from collections.abc import Iterator
from pathlib import Path

from sim.day import simulate
from sim.devices import Pendulum
from sim.kinds import KINDS, make_kind
from sim.scenario import Bottom, Scenario, load_scenario
from sim.spoils import CraneNotStowed, PassingVessel, SensorFault, Squall, Tug, Wash
from sim.validation.figure import Figure

DAYS = 20
"""Days timed for the statistics' bar."""


def long_day() -> Scenario:
    """Eight hours of Merrowby, every device at 50 Hz, every kind of spoil in it."""
    day = load_scenario(Path("merrowby"))
    slow = {"window_s": 1200.0, "settle_s": 900.0, "after_s": 900.0, "lift_s": 170.0, "first_window_s": 1500.0}
    devices = tuple(
        device
        if isinstance(device, Pendulum)
        else device.model_copy(update={"rate_hz": 50.0, "dropout": 1e-3, "duplicate": 1e-3, "spike": 1e-4})
        for device in day.devices
    )
    spoils = (
        *day.spoils,
        Squall(window="3", after_s=100.0, gain_m_s=3.0, veer_deg=20.0),
        PassingVessel(window="4", after_s=100.0, slope_deg=0.3),
        Wash(window="5", after_s=60.0, slope_deg=0.2),
        Tug(window="1", after_s=-300.0, force_kn=10.0),
        CraneNotStowed(window="7", moment_tm=1.0),
        SensorFault(window="1", after_s=30.0, station="aft", fault="stuck"),
        SensorFault(window="1", after_s=30.0, station="forecastle", fault="spikes"),
    )
    berth = day.berth.model_copy(update={"bottom": (Bottom(at_m=(10.0, -4.0), clearance_m=0.1),)})
    schedule = day.schedule.model_copy(update=slow)
    return day.model_copy(update={"schedule": schedule, "devices": devices, "spoils": spoils, "berth": berth})


def figures() -> Iterator[Figure]:
    """Both bars; a figure holds if it is below what is wanted."""
    scenario = long_day()
    begun = time.process_time()
    made = simulate(scenario)
    took = time.process_time() - begun
    hours = (made.end_ns - made.epoch_ns) / 3.6e12
    yield Figure(
        "8-hour day at 50 Hz, everything on, one core", took * 8.0 / hours, 0.0, "s", 10.0, "bar of the simulator"
    )
    begun = time.process_time()
    for number in range(DAYS):
        simulate(make_kind(KINDS[number % len(KINDS)], number))
    each = (time.process_time() - begun) / DAYS
    yield Figure("a thousand days at 10 Hz, two cores", each * 500.0, 0.0, "s", 600.0, "bar of the simulator")
