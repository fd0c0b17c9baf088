"""Moments of every state of the weights, from positions measured before the test and every known shift.

Moments of the test weights are about the centreline and baseline; those of shifts (people, crane, tanks) are the change
against their usual place. Nothing here is typed by hand unless the plan or an imported window types it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from config.errors import bad
from config.model import Point
from config.plan import Plan, Weight
from config.sequence import movements, positions
from config.units import COVERAGE_95, TONNE
from reduction.types import State

PERSON_U = 10.0
"""kg, standard uncertainty of the mass of a person not weighed (judgement)."""
PLACE_U = 0.3
"""m, standard uncertainty of where a person stands (judgement)."""
GIVEN = "moment given"
"""First words of the inputs that are errors of moments typed in; their sensitivities are standard uncertainties."""
COMMON_SHARE = 0.5
"""Of the variance of a moment typed in: what is common to all states. By their part in the variance of GM over the
customary sequence of four alike weights it is 0.54 for masses in error each by itself, 0.15 for places, 1 for one scale
that weighed them all (computed); a half for all is judgement."""


@dataclass(frozen=True)
class Shift:
    """Something that stood elsewhere than usual during some windows: a person, a crane, liquid in tanks."""

    what: str
    group: str
    """``people``, ``crane``, ``tanks`` or ``other``."""
    mass: float
    """kg."""
    start: Point | None
    """Usual place, m; None: not aboard before."""
    stop: Point | None
    """Place during the windows, m; None: not aboard."""
    windows: tuple[str, ...]
    """Labels of the windows it holds for."""
    mass_u: float = PERSON_U
    position_u: float = PLACE_U


@dataclass(frozen=True)
class WindowState:
    """One window and the state of the weights it was taken in."""

    label: str
    movement: str = ""
    """Label of the movement; empty: the window's own label."""
    moment: float | None = None
    """kg m to starboard, typed by whoever measured; None: from the plan's weights."""
    moment_u: float | None = None
    """kg m, standard uncertainty of ``moment``; None: not known, the moment is taken as given."""


@dataclass(frozen=True)
class Moments:
    """States of all windows with what stands behind them."""

    states: tuple[State, ...]
    """One for each window, in order."""
    inputs: dict[str, float]
    """Standard uncertainty of each common input named in the states' sensitivities (kg or m)."""
    assumptions: tuple[str, ...]
    missed: tuple[str, ...] = ()
    """Movements of the plan without a window."""
    repeated: tuple[str, ...] = ()
    """Movements with more than one window."""
    first: State | None = None
    """The plan's first state, to which vertical and longitudinal changes refer."""
    whole_u: tuple[float, ...] = ()
    """kg m, standard uncertainty of the moment of each state by itself; NaN where not all that makes it is known."""


def window_states(
    plan: Plan,
    windows: Sequence[WindowState],
    shifts: Sequence[Shift] = (),
    placed: Mapping[str, Mapping[str, Point]] | None = None,
    draught: float = 0.0,
) -> Moments:
    """Work out the state of every window.

    Parameters
    ----------
    windows : in order of time.
    shifts : what stood elsewhere in which windows.
    placed : movement -> weight -> position as found, where a weight did not stand where the plan says.
    draught : m amidships; what comes aboard or goes ashore changes GM by its height above the waterline.

    Raises
    ------
    BadInput where a window names no movement of the plan and has no moment of its own.
    """
    planned = planned_states(plan, placed or {})
    typed = _typed(plan, windows)
    states = []
    for window in windows:
        movement = window.movement or window.label
        if window.label in typed:
            base = _given(movement, *typed[window.label])
        elif movement in planned and (plan.weights or shifts):
            base = planned[movement]
        else:
            known = ", ".join(planned) or "none"
            wanted = f"a movement of the plan ({known}) or a moment of its own"
            raise bad("events.jsonl", f"window {window.label}, movement", movement, wanted)
        states.append(_shifted(base, [s for s in shifts if window.label in s.windows], draught))
    labels = [w.movement or w.label for w in windows]
    planned_labels = [m.label for m in movements(plan)]
    notes = [*_weights_assumed(plan), *_given_assumed(typed)]
    notes += [f"{s.what} was taken as {s.mass:.0f} kg." for s in shifts if s.group == "people" and s.mass == 75.0][:1]
    first = planned.get(planned_labels[0]) if planned_labels else None
    inputs = _inputs(plan, shifts) | {name: 1.0 for s in states for name in s.sensitivities if name.startswith(GIVEN)}
    weighed = all(w.mass_u95_kg is not None and w.position_u95_m is not None for w in plan.weights)
    told = [typed[w.label][1] is not None if w.label in typed else weighed for w in windows]
    return Moments(
        tuple(states),
        inputs,
        tuple(notes),
        tuple(m for m in planned_labels if windows and m not in labels),
        tuple(dict.fromkeys(m for m in labels if labels.count(m) > 1)),
        first,
        tuple(_whole_u(state, inputs) if sure else math.nan for state, sure in zip(states, told, strict=True)),
    )


def _whole_u(state: State, inputs: Mapping[str, float]) -> float:
    """Standard uncertainty of one moment from its own part and every input that it shares with others."""
    return math.hypot(state.moment_u, *(by * inputs[name] for name, by in state.sensitivities.items()))


def planned_states(plan: Plan, placed: Mapping[str, Mapping[str, Point]]) -> dict[str, State]:
    """State of the weights after each movement of the plan."""
    by_name = {weight.name: weight for weight in plan.weights}
    sides = positions(plan)
    states: dict[str, State] = {}
    origin: dict[str, Point] = {}
    for label, standing in sides.items():
        moment = vertical = longitudinal = 0.0
        sensitivities: dict[str, float] = {}
        for name, side in standing.items():
            weight = by_name[name]
            at = placed.get(label, {}).get(name) or (weight.port_m if side == "port" else weight.starboard_m)
            mass = weight.mass_t * TONNE
            start = origin.setdefault(name, at)
            moment += mass * at[1]
            vertical += mass * (at[2] - start[2])
            longitudinal += mass * (at[0] - start[0])
            sensitivities[mass_name(weight)] = at[1]
            sensitivities[place_name(weight, side)] = mass
        states[label] = State(label, moment, 0.0, vertical, longitudinal, sensitivities)
    return states


def mass_name(weight: Weight) -> str:
    """Name of the mass of a weight as an input: kg."""
    return f"mass of weight {weight.name}"


def place_name(weight: Weight, side: str) -> str:
    """Name of the athwartships position of a weight as an input: m."""
    return f"position of weight {weight.name} to {side}"


def _shifted(base: State, shifts: Sequence[Shift], draught: float) -> State:
    """Add what stood elsewhere to a state.

    A mass w that comes aboard at height z adds w T to displacement times KB (a layer at the waterline, upright sides)
    and w z to displacement times KG: it counts as one that came up from the waterline.
    """
    moment, vertical, longitudinal = base.moment, base.vertical, base.longitudinal
    sensitivities = dict(base.sensitivities)
    for s in shifts:
        a, b = s.start or (0.0, 0.0, draught), s.stop or (0.0, 0.0, draught)
        moment += s.mass * (b[1] - a[1])
        vertical += s.mass * (b[2] - a[2])
        longitudinal += s.mass * (b[0] - a[0])
        sensitivities[f"mass: {s.what}"] = b[1] - a[1]
        sensitivities[f"place: {s.what}"] = s.mass * math.sqrt((s.start is not None) + (s.stop is not None))
    return State(base.label, moment, base.moment_u, vertical, longitudinal, sensitivities)


def _typed(plan: Plan, windows: Sequence[WindowState]) -> dict[str, tuple[float, float | None]]:
    """Window label -> (moment, its standard uncertainty or None), kg m, where the window or the plan types a moment."""
    planned = {m.label: m for m in movements(plan) if m.moment_tm is not None}
    found: dict[str, tuple[float, float | None]] = {}
    for window in windows:
        step = planned.get(window.movement or window.label)
        if window.moment is not None:
            found[window.label] = window.moment, window.moment_u
        elif step is not None and step.moment_tm is not None:
            u95 = step.moment_u95_tm
            found[window.label] = step.moment_tm * TONNE, None if u95 is None else u95 * TONNE / COVERAGE_95
    return found


def _given(movement: str, moment: float, u: float | None) -> State:
    """State of a moment that was typed: a part of its variance is common to all states, the rest is the state's own.

    Nobody who types a moment says how its error hangs together with those of the others. What is common goes with the
    moment and passes to GM in full; what is the state's own lets it lie off the others and passes to GM in part.
    Windows of one state and moment share both.
    """
    if not u:
        return State(movement, moment, 0.0)
    share = COMMON_SHARE if moment else 0.0
    errors = {f"{GIVEN} for movement {movement}, {moment:.6g} kg m": u * math.sqrt(1.0 - share)}
    if share:
        errors[f"{GIVEN}, common"] = math.copysign(u * math.sqrt(share), moment)
    return State(movement, moment, 0.0, sensitivities=errors)


def _inputs(plan: Plan, shifts: Sequence[Shift]) -> dict[str, float]:
    inputs: dict[str, float] = {}
    for weight in plan.weights:
        inputs[mass_name(weight)] = (weight.mass_u95_kg or 0.0) / COVERAGE_95
        for side in ("port", "starboard"):
            inputs[place_name(weight, side)] = (weight.position_u95_m or 0.0) / COVERAGE_95
    for s in shifts:
        inputs[f"mass: {s.what}"] = s.mass_u
        inputs[f"place: {s.what}"] = s.position_u
    return inputs


def _weights_assumed(plan: Plan) -> list[str]:
    notes = []
    masses = [w.name for w in plan.weights if w.mass_u95_kg is None]
    places = [w.name for w in plan.weights if w.position_u95_m is None]
    if masses:
        notes.append(f"Masses of weights {', '.join(masses)} have no interval and were taken as given.")
    if places:
        notes.append(f"Positions of weights {', '.join(places)} have no interval and were taken as given.")
    return notes


def _given_assumed(typed: Mapping[str, tuple[float, float | None]]) -> list[str]:
    """What was assumed about moments that were typed or imported."""
    bare = [label for label, (_, u) in typed.items() if u is None]
    notes = []
    if bare:
        named = f"Moments of window{'s' if len(bare) > 1 else ''} {', '.join(bare)}"
        which = "Moments typed in" if len(bare) == len(typed) else named
        notes.append(f"{which} were taken as given; their uncertainty (moment_u95_tm) is not in the interval.")
    if any(u for _, u in typed.values()):
        notes.append("Of the intervals given with the moments, half of the variance was taken as common to all states.")
    return notes
