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
    """The loop itself, on plain Python numbers: far faster than small arrays.

    Forces on sway and roll are there at every step; those on the liquids only while one of them pockets.
    """
    turn: list[complex] = gains.turn.tolist()
    start: list[list[complex]] = gains.start.T.tolist()
    end: list[list[complex]] = gains.end.T.tolist()
    first, last = list(zip(start[0], start[1], strict=True)), list(zip(end[0], end[1], strict=True))
    right, swing = system.right, system.right * system.lam
    reads = list(zip(*(row.tolist() for row in (right[0], right[1], swing[0], swing[1])), strict=True))
    liquids: list[list[complex]] = right[2:].tolist()
    none = (0.0,) * len(liquids)

    def forces_at(n: int, modal: list[complex]) -> tuple[float, float, tuple[float, ...] | None]:
        y = phi = v = p = 0j
        for c, (r, s, t, u) in zip(modal, reads, strict=True):
            y += c * r
            phi += c * s
            v += c * t
            p += c * u
        sway, roll = at(n, y.real, phi.real, v.real, p.real)
        if not liquids:
            return sway, roll, None
        slopes = [sum([c * r for c, r in zip(modal, row, strict=True)]).real for row in liquids]
        return sway, roll, left_over.pocketing(slopes)

    at = left_over.at
    ry, rf, extra = forces_at(0, z)
    ry0, rf0 = ry, rf
    states, rest = [z], [(ry, rf, *(extra or none))]
    for n in range(1, len(rows)):
        gy, gf = 2.0 * ry - ry0, 2.0 * rf - rf0
        base = [t * a + u + f * ry + g * rf for t, a, u, (f, g) in zip(turn, z, rows[n - 1], first, strict=True)]
        if extra:
            base = _pushed(_pushed(base, start, extra), end, extra)
        tried = [b + f * gy + g * gf for b, (f, g) in zip(base, last, strict=True)]
        before = extra or none
        ry0, rf0 = ry, rf
        ry, rf, extra = forces_at(n, tried)
        if extra or before is not none:
            base = _pushed(base, end, [a - b for a, b in zip(extra or none, before, strict=True)])
        z = [b + f * ry + g * rf for b, (f, g) in zip(base, last, strict=True)]
        states.append(z)
        rest.append((ry, rf, *(extra or none)))
    return np.array(states), np.array(rest)


def _pushed(base: list[complex], gains: list[list[complex]], extra: Sequence[float]) -> list[complex]:
    """Add the forces on the liquids."""
    for row, force in zip(gains[2:], extra, strict=True):
        base = [b + g * force for b, g in zip(base, row, strict=True)]
    return base


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

    def at(self, n: int, y: float, phi: float, v: float, p: float) -> tuple[float, float]:
        """Sway force and roll moment at step n."""
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
            e = extension[n] + a * y + b * phi
            if e < -0.2:  # well slack: what little it gives hardly matters, and the tension of a step ago will do
                tension = math.sqrt(droop / (give * self._tensions[index] - e))
            else:
                tension = _pull(e, give, droop, self._tensions[index])
            self._tensions[index] = tension
            sway -= a * tension
            roll -= b * tension
        for a, b, gaps, stiffness in self._pushers:
            e = gaps[n] + a * y + b * phi
            if e > 0.0:
                sway -= a * stiffness * e
                roll -= b * stiffness * e
        return sway, roll

    def pocketing(self, slopes: Sequence[float]) -> tuple[float, ...] | None:
        """Forces on the liquids where one has met its tank's top or bared its bottom; else None."""
        if all(abs(slope) <= limit for (_, limit), slope in zip(self._tanks, slopes, strict=True)):
            return None
        return tuple(
            -math.copysign(stiff * max(abs(slope) - limit, 0.0), slope)
            for (stiff, limit), slope in zip(self._tanks, slopes, strict=True)
        )


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
