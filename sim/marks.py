"""What people would have marked on the day: gangway, movements, windows, confirmations, readings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sim.devices import Pendulum
from sim.sensors import World, pendulum_reading
from sim.spoils import Unconfirmed

CONFIRMATIONS = ("lines", "muster", "crane", "clear", "quiet")
"""Lines slack and drooping, everyone at the muster station, crane stowed, tug and fenders clear, decks quiet."""


@dataclass(frozen=True)
class Mark:
    """One entry in the day's journal."""

    time_ns: int
    kind: str
    """gangway, movement, window_open, window_close, confirm, people, reading, note."""
    data: dict[str, object]


def marks_of_the_day(world: World, streams: Sequence[np.random.Generator]) -> tuple[Mark, ...]:
    """Write the day's marks in time order."""
    plan, scenario = world.plan, world.scenario
    withheld = {(s.window, s.what) for s in scenario.spoils if isinstance(s, Unconfirmed)}
    found = [_mark(world, plan.gangway, "gangway", {"state": "pulled"})]
    for person in scenario.people:
        if person.muster_station:
            where: dict[str, object] = {"person": person.name, "place": person.muster_station}
            found.append(_mark(world, plan.gangway + 5.0, "people", where))
    movements = {m.label: m for m in scenario.spelt_movements()}
    for number, window in enumerate(plan.windows):
        movement = movements[window.label]
        wait = max(window.opened - window.moved_at, 0.0)
        if number:
            made: dict[str, object] = {
                "movement": window.label,
                "to_port": list(movement.to_port),
                "to_starboard": list(movement.to_starboard),
            }
            found.append(_mark(world, window.moved_at + min(2.0, 0.3 * wait), "movement", made))
        what = [one for one in CONFIRMATIONS if (window.label, one) not in withheld]
        said: dict[str, object] = {"window": window.label, "what": what}
        found.append(_mark(world, window.opened - min(5.0, 0.3 * wait), "confirm", said))
        found.append(_mark(world, window.opened, "window_open", {"window": window.label, "movement": window.label}))
        for device, rng in zip(scenario.devices, streams, strict=True):
            if isinstance(device, Pendulum):
                seen = pendulum_reading(device, world, window, rng)
                read: dict[str, object] = {"window": window.label, "station": device.name, "deflections_mm": seen}
                found.append(_mark(world, window.closed + 10.0, "reading", read))
        found.append(_mark(world, window.closed, "window_close", {"window": window.label}))
    return tuple(sorted(found, key=lambda m: m.time_ns))


def _mark(world: World, at: float, kind: str, data: dict[str, object]) -> Mark:
    return Mark(world.epoch_ns + round(at * 1e9), kind, data)
