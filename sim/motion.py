"""Step the vessel through the day.

The linear part is exact in its modes, with forces varying linearly within a step (first-order hold). What is not
linear (righting arm beyond GM, quadratic damping, lines, fenders, ground, pocketing liquid) is a left-over force,
predicted over the step and corrected once. Static equilibrium is therefore exact, and with no left-over force the
motion is that of the matrix exponential.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from config.units import STANDARD_GRAVITY as G
from sim import liquid
from sim.berth import Contact
from sim.scenario import Liquid
from sim.vessel import Floating, LinearVessel, Modes, modes

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]


@dataclass(frozen=True)
class Motion:
    """Motion of the vessel over the steps of the day; each (n,)."""

    time: Array
    """s since the start of the day."""
    sway: Array
    sway_acceleration: Array
    heel: Array
    heel_rate: Array
    heel_acceleration: Array
    slopes: Array
    """(n, k) of the liquid in each slack tank."""


@dataclass(frozen=True)
class Hold:
    """Gains of the first-order hold: ``z+ = turn z + start f + end f+``."""

    turn: Complex
    start: Complex
    end: Complex


def hold(system: Modes, step: float) -> Hold:
    """Exact discrete form of the modes for forces that vary linearly within a step."""
    x = system.lam * step
    small = np.abs(x) < 1e-3
    safe = np.where(small, 1.0, x)
    one = np.where(small, 1 + x / 2 + x**2 / 6, (np.exp(safe) - 1) / safe)
    two = np.where(small, 0.5 + x / 6 + x**2 / 24, (np.exp(safe) - 1 - safe) / safe**2)
    return Hold(np.exp(x), step * (one - two)[:, None] * system.left, step * two[:, None] * system.left)


def march(
    vessel: LinearVessel,
    floating: Floating,
    tanks: Sequence[Liquid],
    time: Array,
    forces: Array,
    moment: Array,
    vertical: Array,
    touching: Sequence[Contact],
    start: Complex | None = None,
) -> Motion:
    """Step through the day.

    Parameters
    ----------
    forces : (n, d) generalised forces known beforehand: sway N, roll N m, one zero for each tank.
    moment : (n,) kg m, transverse first moment of what is aboard (its cosine with heel is taken here).
    vertical : (n,) kg m, vertical first moment above the waterline, less that of the first state.
    start : modal state to start from; left out, at rest under the first forces.
    """
    system = modes(vessel)
    gains = hold(system, float(time[1] - time[0]))
    known = forces.copy()
    known[:, 1] += G * moment
    ahead = np.vstack([known[1:], known[-1:]])
    rows = (known @ gains.start.T + ahead @ gains.end.T).tolist()
    z = list(-(system.left @ known[0]) / system.lam) if start is None else list(start)
    left_over = _LeftOver(vessel, floating, tanks, moment, vertical, touching)
    states, rest = _run(z, rows, system, gains, left_over)
    q = states @ system.right.T
    rate = (states * system.lam) @ system.right.T
    pushed = known + rest
    acceleration = (pushed - rate.real @ vessel.damping.T - q.real @ vessel.stiffness.T) @ np.linalg.inv(vessel.mass).T
    return Motion(
        time, q[:, 0].real, acceleration[:, 0], q[:, 1].real, rate[:, 1].real, acceleration[:, 1], q[:, 2:].real
    )


def _run(
    z: list[complex], rows: list[list[complex]], system: Modes, gains: Hold, left_over: _LeftOver
) -> tuple[Complex, Array]:
    """The loop itself, on plain Python numbers: far faster than small arrays."""
    size = system.right.shape[0]
    turn: list[complex] = gains.turn.tolist()
    first = [tuple(row) for row in gains.start.tolist()]
    last = [tuple(row) for row in gains.end.tolist()]
    reads = list(zip(*(system.right[i].tolist() for i in range(size)), strict=True))
    swings = list(zip(*((system.right[i] * system.lam).tolist() for i in range(2)), strict=True))
    now = left_over.at(0, *_read(z, reads, swings, size))
    before = now
    states: list[list[complex]] = [z]
    rest: list[tuple[float, ...]] = [now]
    if size == 2:
        return _run_two(z, rows, turn, first, last, reads, swings, left_over, now)
    span = range(size)
    for n in range(1, len(rows)):
        row = rows[n - 1]
        guess = [2.0 * a - b for a, b in zip(now, before, strict=True)]
        base = [t * a + u + sum([f[i] * now[i] for i in span]) for t, a, u, f in zip(turn, z, row, first, strict=True)]
        tried = [b + sum([g[i] * guess[i] for i in span]) for b, g in zip(base, last, strict=True)]
        before = now
        now = left_over.at(n, *_read(tried, reads, swings, size))
        z = [b + sum([g[i] * now[i] for i in span]) for b, g in zip(base, last, strict=True)]
        states.append(z)
        rest.append(now)
    return np.array(states), np.array(rest)


def _run_two(
    z: list[complex],
    rows: list[list[complex]],
    turn: list[complex],
    first: list[tuple[complex, ...]],
    last: list[tuple[complex, ...]],
    reads: list[tuple[complex, ...]],
    swings: list[tuple[complex, ...]],
    left_over: _LeftOver,
    now: tuple[float, ...],
) -> tuple[Complex, Array]:
    """Sway and roll alone, which is most days: two forces written out."""
    states, rest = [z], [now]
    ry, rf = now
    ry0, rf0 = now
    at = left_over.at
    for n in range(1, len(rows)):
        gy, gf = 2.0 * ry - ry0, 2.0 * rf - rf0
        base = [t * a + u + f[0] * ry + f[1] * rf for t, a, u, f in zip(turn, z, rows[n - 1], first, strict=True)]
        tried = [b + g[0] * gy + g[1] * gf for b, g in zip(base, last, strict=True)]
        y = phi = v = p = 0j
        for c, r, s in zip(tried, reads, swings, strict=True):
            y += c * r[0]
            phi += c * r[1]
            v += c * s[0]
            p += c * s[1]
        ry0, rf0 = ry, rf
        now = at(n, y.real, phi.real, v.real, p.real, ())
        ry, rf = now
        z = [b + g[0] * ry + g[1] * rf for b, g in zip(base, last, strict=True)]
        states.append(z)
        rest.append(now)
    return np.array(states), np.array(rest)


def _read(
    z: list[complex], reads: list[tuple[complex, ...]], swings: list[tuple[complex, ...]], size: int
) -> tuple[float, float, float, float, list[float]]:
    q = [sum([c * r[i] for c, r in zip(z, reads, strict=True)]).real for i in range(size)]
    v, p = (sum([c * s[i] for c, s in zip(z, swings, strict=True)]).real for i in range(2))
    return q[0], q[1], v, p, q[2:]


class _LeftOver:
    """Forces that are not in the matrices, at one step, from the state there."""

    def __init__(
        self,
        vessel: LinearVessel,
        floating: Floating,
        tanks: Sequence[Liquid],
        moment: Array,
        vertical: Array,
        touching: Sequence[Contact],
    ) -> None:
        self._weight = floating.displacement * G
        self._gm = floating.restoring.gm
        self._series = floating.restoring.series
        self._quadratic, self._drag, self._depth = vessel.quadratic_roll, vessel.drag, vessel.drag_depth
        self._moment: list[float] = (G * moment).tolist()
        self._vertical: list[float] = (G * vertical).tolist()
        lines = [c for c in touching if c.droop > 0]
        self._lines: list[tuple[float, float, list[float], float, float]] = [
            (c.sway, c.roll, c.extension.tolist(), 1.0 / c.stiffness, c.droop) for c in lines
        ]
        self._tensions = [math.sqrt(c.droop) for c in lines]
        self._pushers: list[tuple[float, float, list[float], float]] = [
            (c.sway, c.roll, c.extension.tolist(), c.stiffness) for c in touching if c.droop == 0
        ]
        self._tanks = [(G * liquid.inertia(t) * liquid.POCKET_STIFFENING, liquid.pocketing_slope(t)) for t in tanks]

    def at(self, n: int, y: float, phi: float, v: float, p: float, slopes: Sequence[float]) -> tuple[float, ...]:
        s = math.sin(phi)
        q = s * s
        c1, c2, c3 = self._series
        arm = s * (self._gm + q * (c1 + q * (c2 + q * c3)))
        roll = (
            self._weight * (self._gm * phi - arm)
            + self._moment[n] * (math.cos(phi) - 1.0)
            + self._vertical[n] * s
            - self._quadratic * abs(p) * p
        )
        u = v - self._depth * p
        sway = -self._drag * abs(u) * u
        roll -= self._depth * sway
        for index, (a, b, extension, give, droop) in enumerate(self._lines):
            tension = _pull(extension[n] + a * y + b * phi, give, droop, self._tensions[index])
            self._tensions[index] = tension
            sway -= a * tension
            roll -= b * tension
        for a, b, gaps, stiffness in self._pushers:
            e = gaps[n] + a * y + b * phi
            if e > 0.0:
                sway -= a * stiffness * e
                roll -= b * stiffness * e
        if not self._tanks:
            return sway, roll
        extra = []
        for (stiff, limit), slope in zip(self._tanks, slopes, strict=True):
            beyond = abs(slope) - limit
            extra.append(-math.copysign(stiff * beyond, slope) if beyond > 0.0 else 0.0)
        return sway, roll, *extra


def _pull(extension: float, give: float, droop: float, guess: float) -> float:
    """Tension of one line, as `sim.berth.line_tension`, from the one a step before."""
    tension = guess
    for _ in range(40):
        curve = give * tension - extension
        slope = tension * (2.0 * curve + give * tension)
        if slope <= 0.0:
            tension = max(2.0 * tension, extension / give)
            continue
        change = (curve * tension * tension - droop) / slope
        tension = max(tension - change, 0.3 * tension)
        if abs(change) < 1e-4 * tension:
            break
    return tension
