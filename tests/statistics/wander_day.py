"""The third generator: days written by somebody who had not seen the mathematics, with what the other two do not have.

Heel wanders slower than a window is long, stations are mounted off zero, chop swells and fades within a window, people
of the crew move about between windows, the weights hang in a crane or cross on a truck. The roll equation is integrated
as it is (`wander_roll`), wind and moorings are `wander_weather`, what measures is `wander_stations`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from wander_roll import DEG, FINE, G, Line, Vessel, draw, rest, righting, roll
from wander_stations import Motion, Span, ill, mast, stations
from wander_weather import AIR, TINY, air, chop, moorings, series, smooth, wandering

from dsp.types import Day, WindowSpan
from quietheel.jobs.told import GYRATION

Array = NDArray[np.float64]
KINDS = ("quiet", "breezy", "windy", "early", "wash", "faults", "slack_tank", "people", "taut")
CUSTOMARY = (0, 1, 2, 1, 0, -1, -2, -1, 0)
SEQUENCES = (
    CUSTOMARY,
    tuple(-half for half in CUSTOMARY),
    (0, 1, 2, 0, -1, -2, 0, 2, 0),
    (0, 2, 1, 0, -2, -1, 0, 1, 0),
    (0, -1, -2, 0, 1, 2, 1, 0, -1),
)
"""Halves of the largest moment."""
COMMON = (0.4, 0.25, 0.15, 0.1, 0.1)
FOREVER = 1e3
"""s past the end of the day."""


@dataclass(frozen=True)
class Wandering:
    """One day and its truth."""

    kind: str
    day: Day
    """As the program hands it on: groups, and between what periods the roll is likely, as `quietheel.jobs.told`."""
    moment: Array
    """(k,) kg m."""
    heel: Array
    """(k,) rad, where she would rest in the day's mean wind."""
    spoilt: tuple[bool, ...]
    plain: tuple[bool, ...]
    """Spoilt by what is to be seen: as `suite.Case` has it."""
    displacement: float
    """kg."""
    gm: float
    bm: float
    motion: Motion


@dataclass(frozen=True)
class Timetable:
    """When what is done."""

    level: Array
    """(9,) moment over the largest."""
    windows: list[Span]
    shifts: list[Span]
    """Of the weights, before each window but the first."""
    end: float


@dataclass(frozen=True)
class Spoiling:
    """What spoils windows."""

    push: Array
    """(n,) m."""
    line: Line | None
    windows: frozenset[int]
    plain: frozenset[int]


def make(kind: str, seed: int, measured_wind: bool = True) -> Wandering:
    """Make one day of one kind."""
    rng = np.random.default_rng([seed, KINDS.index(kind), 3])
    vessel = draw(rng, kind)
    table = _timetable(rng, kind)
    time = np.arange(int(table.end / FINE)) * FINE
    top = rng.uniform(1.5, 3.0) * DEG
    most = righting(vessel, top) / math.cos(top)
    own = vessel.gm * rng.uniform(-0.4, 0.4) * DEG
    moment = own + _weights(rng, table, time, most)
    weather = air(rng, vessel, kind, table.end)
    slow = moorings(rng, kind, weather.time.size)
    steady = float(np.interp(time, weather.time, weather.arm).mean())
    push = np.interp(time, weather.time, weather.arm + vessel.gm * slow.heel)
    push += _crew(rng, vessel, kind, table, time) + chop(rng, vessel, kind, time.size)
    still = np.array([rest(vessel, own + level * most, steady) for level in table.level])
    unrest = vessel.gm * slow.heel + weather.arm - weather.arm.mean()
    spoiling = _spoil(rng, vessel, kind, table, time, own + table.level * most, steady, still, unrest)
    heel, acceleration = roll(vessel, moment, push + spoiling.push, rest(vessel, own, steady), spoiling.line)
    motion = Motion(heel, acceleration, slow, table.end)
    traces, knowledge = stations(rng, motion)
    if kind == "faults":
        which = int(rng.integers(len(traces)))
        traces[which] = ill(rng, traces[which], table.windows)
    wind = mast(rng, weather, table.end)
    spans = tuple(
        WindowSpan(label=str(k), start=a, stop=b, group=f"{level:+.1f}")
        for k, ((a, b), level) in enumerate(zip(table.windows, table.level + 0.0, strict=True))
    )
    unit = 2.0 * math.pi * vessel.breadth / math.sqrt(G * vessel.gm)
    likely = (GYRATION[0] * unit, GYRATION[1] * unit)
    return Wandering(
        kind=kind,
        day=Day(0, tuple(traces), spans, knowledge, wind=wind if measured_wind else None, roll_between=likely),
        moment=table.level * most * vessel.displacement * 1e3,
        heel=still,
        spoilt=tuple(k in spoiling.windows for k in range(len(spans))),
        plain=tuple(k in spoiling.plain for k in range(len(spans))),
        displacement=vessel.displacement * 1e3,
        gm=vessel.gm,
        bm=vessel.bm,
        motion=motion,
    )


def _timetable(rng: np.random.Generator, kind: str) -> Timetable:
    """Nine windows of 60 to 180 s, five to fifteen minutes between them."""
    level = np.array(SEQUENCES[rng.choice(len(SEQUENCES), p=COMMON)]) / 2.0
    lasts, between = rng.uniform(60.0, 180.0), rng.uniform(300.0, 620.0)
    windows: list[Span] = []
    shifts: list[Span] = []
    start = rng.uniform(150.0, 420.0)
    for k in range(level.size):
        if k:
            stop = windows[-1][1]
            gap = min(max(between * rng.uniform(0.8, 1.5), 300.0), 900.0)
            settle = rng.uniform(20.0, 40.0) if kind == "early" else rng.uniform(0.25, 0.45) * gap
            shifts.append((stop + rng.uniform(15.0, 50.0), stop + gap - settle))
            start = stop + gap
        windows.append((start, start + min(max(lasts * rng.uniform(0.9, 1.1), 60.0), 180.0)))
    return Timetable(level, windows, shifts, windows[-1][1] + rng.uniform(60.0, 180.0))


def _weights(rng: np.random.Generator, table: Timetable, time: Array, most: float) -> Array:
    """Arm (n,) m of the weights, one after the other by a crane ashore, her own crane or a truck."""
    arm = np.zeros(time.size)
    many, style = int(rng.choice([2, 4])), rng.choice(["pier", "ship", "truck"])
    for change, (a, b) in zip(np.diff(table.level), table.shifts, strict=True):
        count = max(1, round(abs(change) * many))
        each = change * most / count
        edges = np.linspace(a, b, count + 1)
        for first, last in pairwise(edges.tolist()):
            since = first + rng.uniform(0.02, 0.08) * (last - first)
            lasts = last - since
            if style == "pier":
                lifted, landed = rng.uniform(3.0, 9.0), rng.uniform(3.0, 9.0)
                arm += each * 0.5 * (smooth(time, since, lifted) + smooth(time, last - landed, landed))
            elif style == "ship":
                over = np.where((time > since) & (time < last), np.sin(np.pi * (time - since) / lasts) ** 2, 0.0)
                swaying = 0.05 * abs(each) * np.sin(2.0 * np.pi * (time - since) / rng.uniform(6.0, 10.0))
                arm += each * smooth(time, since + 0.1 * lasts, 0.6 * lasts)
                arm += over * (swaying + each * rng.uniform(0.05, 0.3))
            else:
                truck, drive = rng.uniform(0.2, 0.8), min(rng.uniform(15.0, 40.0), 0.3 * lasts)
                there = smooth(time, since + 0.25 * lasts, drive)
                arm += each * (there + truck * (there - smooth(time, last - 0.35 * lasts, 0.3 * lasts)))
    return arm


def _crew(rng: np.random.Generator, vessel: Vessel, kind: str, table: Timetable, time: Array) -> Array:
    """Arm (n,) m of one to three parties of 70 to 350 kg between windows, back at their places before the next."""
    arm = np.zeros(time.size)
    for (a, _), (opens, _) in zip(table.shifts, table.windows[1:], strict=True):
        for _ in range(int(rng.integers(1, 4))):
            mass, off = rng.uniform(0.07, 0.35), rng.uniform(-0.4, 0.4) * vessel.breadth
            back = opens - (rng.uniform(8.0, 18.0) if kind == "early" else rng.uniform(20.0, 60.0))
            leaves = rng.uniform(a - 10.0, a + 0.5 * (back - a))
            returns = min(max(leaves + 15.0, rng.uniform(leaves, back)), back)
            away = smooth(time, leaves, rng.uniform(4.0, 12.0)) - smooth(time, returns - 10.0, 10.0)
            arm += mass * off / vessel.displacement * away
    return arm


def _spoil(
    rng: np.random.Generator,
    vessel: Vessel,
    kind: str,
    table: Timetable,
    time: Array,
    moment: Array,
    steady: float,
    still: Array,
    unrest: Array,
) -> Spoiling:
    """Walks in three windows, wash of a passing vessel or a tug in one to three, a line in two to four; by kind."""
    push = np.zeros(time.size)
    line = Line(np.zeros(time.size), np.zeros(time.size), int(rng.choice([-1, 1])))
    spoilt: set[int] = set()
    faint: set[int] = set()
    count = len(table.windows)
    if kind == "people":
        for k in sorted(rng.choice(count, 3, replace=False).tolist()):
            back = table.windows[k + 1][0] - rng.uniform(60.0, 120.0) if k < count - 1 else table.end + FOREVER
            share, step = rng.uniform(0.2, 0.75), 0.0
            since = table.windows[k][0] + share * (table.windows[k][1] - table.windows[k][0])
            across = float(rng.choice([-1, 1])) * min(rng.uniform(3.0, 10.0), 0.85 * vessel.breadth)
            for j in range(int(rng.integers(1, 4))):
                arm = rng.uniform(0.07, 0.10) * across / vessel.displacement
                walk = smooth(time, since + j * rng.uniform(0.0, 3.0), abs(across) / rng.uniform(0.9, 1.5))
                push += arm * (walk - smooth(time, back, 10.0))
                step += arm
            spoilt.add(k)
            if abs(step) <= 4.0 * _contrast(unrest, table.windows[k], share):
                faint.add(k)
    elif kind == "wash":
        for k in sorted(rng.choice(count, int(rng.integers(1, 4)), replace=False).tolist()):
            push += _wash(rng, vessel, time, table.windows[k])
            spoilt.add(k)
    elif kind == "taut":
        held = np.flatnonzero(table.level * line.side > 0.0)
        for k in sorted(rng.choice(held, min(held.size, int(rng.integers(2, 5))), replace=False).tolist()):
            a, b = table.windows[k]
            free = abs(still[k])
            less, on = rng.uniform(0.02, 0.15), rng.uniform(0.2, 0.7) * free
            since = a - rng.uniform(100.0, 180.0)
            if line.side * still[k] <= 0.2 * DEG:
                continue
            short = still[k] * (1.0 - less)
            missing = abs(moment[k] * math.cos(short) + steady - righting(vessel, short))
            here = (time > since) & (time < b + 10.0)
            line.stiffness[here] = missing / (abs(short) - on) * smooth(time[here], since, 20.0)
            line.taut_at[here] = on
            spoilt.add(k)
    return Spoiling(push, line if kind == "taut" else None, frozenset(spoilt), frozenset(spoilt - faint))


def _wash(rng: np.random.Generator, vessel: Vessel, time: Array, window: Span) -> Array:
    """Arm (n,) m of a packet of waves of 0.1 to 0.6 deg, with the steady push of a wake or of a tug."""
    a, b = window
    middle, lasts = a + rng.uniform(0.15, 0.85) * (b - a), rng.uniform(10.0, 25.0)
    period = 2.0 * math.pi / vessel.natural
    tug = rng.random() < 0.5
    if tug:
        wave = series(rng, time.size, FINE, lambda f: np.exp(-0.5 * (np.log(f * period) / 0.5) ** 2))
        steady = rng.uniform(0.01, 0.06) * (
            smooth(time, middle - 25.0, 12.0) - smooth(time, middle + rng.uniform(0.0, 20.0), 15.0)
        )
    else:
        length = min(max(period * rng.uniform(0.75, 1.25), 3.0), 9.0)
        wave = np.sin(2.0 * np.pi * (time - middle) / length + 0.5 * wandering(rng, time.size, FINE, 40.0))
        steady = rng.uniform(0.003, 0.03) * np.exp(-0.5 * ((time - middle + 20.0) / 18.0) ** 2)
    packet = TINY * vessel.gm * wave * np.exp(-0.5 * ((time - middle) / lasts) ** 2)
    packet *= rng.uniform(0.1, 0.6) * DEG / np.abs(roll(vessel, np.zeros(time.size), packet)[0]).max()
    return np.asarray(packet + float(rng.choice([-1, 1])) * vessel.gm * DEG * steady)


def _contrast(unrest: Array, window: Span, share: float) -> float:
    """Standard deviation (m) of the mean of ``unrest`` after ``share`` of a window less that before it."""
    lasts = window[1] - window[0]
    before, after = max(2, int(lasts * share / AIR)), max(2, int(lasts * (1.0 - share) / AIR))
    total = np.concatenate([[0.0], np.cumsum(unrest)])
    k = np.arange(0, unrest.size - before - after, 20)
    late = (total[k + before + after] - total[k + before]) / after
    return float(np.std(late - (total[k + before] - total[k]) / before))
