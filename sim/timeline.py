"""When everything happens: movements, lifts and windows of a day, with what its spoils change."""

from __future__ import annotations

from dataclasses import dataclass

from config.sequence import spell
from sim.scenario import Scenario, TestWeight
from sim.spoils import EarlyWindow, Spoil, WrongWeight


@dataclass(frozen=True)
class Lift:
    """One weight on its way, s since the start of the day."""

    weight: TestWeight
    start: float
    stop: float
    to: str
    """``port`` or ``starboard``."""


@dataclass(frozen=True)
class PlannedWindow:
    """One settled window, s since the start of the day."""

    label: str
    opened: float
    closed: float
    moved_at: float
    """When the last weight landed; the gangway's removal for the first window."""
    places: dict[str, str]
    """Where each weight truly stands."""
    called: str
    """The movement as it was called out."""


@dataclass(frozen=True)
class Timeline:
    """The whole day."""

    gangway: float
    windows: tuple[PlannedWindow, ...]
    lifts: tuple[Lift, ...]
    end: float

    def at(self, spoil: Spoil) -> float:
        """Moment a spoil begins, s since the start of the day."""
        return spoil.after_s + (self.window(spoil.window).opened if spoil.window else 0.0)

    def window(self, label: str) -> PlannedWindow:
        """The window of one movement."""
        return next(w for w in self.windows if w.label == label)


def timeline(scenario: Scenario) -> Timeline:
    """Lay out the day of a scenario."""
    times, weights = scenario.schedule, {w.name: w for w in scenario.weights}
    early = {s.window: s.settle_s for s in scenario.spoils if isinstance(s, EarlyWindow)}
    planned: dict[str, str] = {w.name: w.start for w in scenario.weights}
    actual = dict(planned)
    windows: list[PlannedWindow] = []
    lifts: list[Lift] = []
    clock = 0.0
    for number, movement in enumerate(scenario.spelt_movements()):
        planned |= dict.fromkeys(movement.to_port, "port") | dict.fromkeys(movement.to_starboard, "starboard")
        wanted = dict(planned)
        for spoil in scenario.spoils:
            if isinstance(spoil, WrongWeight) and spoil.window == movement.label:
                wanted[spoil.called] = actual[spoil.called]
                wanted[spoil.moved] = "port" if planned[spoil.moved] == "starboard" else "starboard"
        if number == 0:
            moved_at = times.gangway_s
            opened = times.first_window_s
        else:
            clock += times.after_s
            for name, side in wanted.items():
                if side != actual[name]:
                    lifts.append(Lift(weights[name], clock, clock + times.lift_s, side))
                    clock += times.lift_s
            moved_at = clock
            opened = clock + early.get(movement.label, times.settle_s)
        actual = wanted
        clock = opened + times.window_s
        windows.append(PlannedWindow(movement.label, opened, clock, moved_at, dict(actual), spell(movement)))
    return Timeline(times.gangway_s, tuple(windows), tuple(lifts), clock + times.after_s + times.tail_s)
