"""The roll period by period: complex amplitudes and the pushes between them, for two of the checks.

Over one period the heel is a straight line and a sine; the complex amplitude follows ``z[j+1] = a z[j] + push[j]`` with
``a = exp(-2 pi damping)``. While nothing disturbs her the pushes are independent complex normal and alike, so that sums
of their squares are chi-square and ratios of such sums are F, whatever the strength of the motion.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dsp.checks.look import Look
from dsp.types import Array


@dataclass(frozen=True)
class Swing:
    """Roll of a stretch of record, a period at a time."""

    time: Array
    """(j,) s since the epoch, middle of each period."""
    amplitude: NDArray[np.complex128]
    """(j,) rad."""
    push: NDArray[np.complex128]
    """(j - 1,) rad."""
    keep: float
    """Share of the amplitude that a free swing keeps over one period."""
    first: int
    """The first of the periods that lie in the window."""
    last: int
    """The last of them, and one."""
    noise: float = 0.0
    """rad2, mean square push that the noise of the readings makes by itself."""

    @property
    def entering(self) -> int:
        """The first push that counts as the window's: the one that leads into its first period, where there is one."""
        return max(self.first - 1, 0)

    @property
    def mean_push(self) -> float:
        """rad2, mean square push; what noise makes at least, where there is no motion."""
        return max(float(np.mean(np.abs(self.push) ** 2)), self.noise)

    @property
    def dof(self) -> float:
        """Degrees of freedom of ``mean_push``."""
        return 2.0 * self.push.size / SHARED

    def within(self) -> Swing:
        """Leave out the record beside the window."""
        part = slice(self.first, self.last)
        inner = self.push[self.first : self.last - 1]
        return Swing(self.time[part], self.amplitude[part], inner, self.keep, 0, self.last - self.first, self.noise)


OFF = 0.06
"""Share of a swing by which a free period may miss the day's law: damping grows with the swing, period with heel."""
SHARED = 1.0 + 2.0 / 16.0
"""An amplitude is an average over its period, so that neighbouring pushes share a quarter of each other (increments of
averages of a random walk); the variance of a sum of their squares grows by up to this."""
FEWEST = 4
"""Periods that tell what is usual by themselves."""


def swing_of(look: Look) -> Swing | None:
    """Return the roll of a window and of the record beside it; None where there are not two periods or no roll.

    Periods are counted from the window's opening. Those beside it count as far as they follow without a gap.
    """
    evidence, period = look.evidence, look.period
    if not np.isfinite(period) or look.length < period:
        return None
    beside = evidence.beside_time.size > 0
    at = evidence.beside_time if beside else evidence.time
    heel = evidence.beside_heel if beside else evidence.heel - evidence.wind_part - evidence.mean
    seconds = at - evidence.time[0]
    whole = max(round((evidence.time[-1] - evidence.time[0]) / period), 1)
    seen = _by_period(seconds, heel, period)
    inside = [j for j in seen if 0 <= j < whole]
    if not inside:
        return None
    before, after = min(inside), max(inside)
    while before - 1 in seen:
        before -= 1
    while after + 1 in seen:
        after += 1
    run = [j for j in seen if before <= j <= after]
    if len(run) < 2:
        return None
    z = np.array([seen[j][1] for j in run], dtype=np.complex128)
    damping = evidence.day_roll.damping
    keep = float(np.exp(-2.0 * np.pi * (damping if np.isfinite(damping) else 0.03)))
    time = evidence.time[0] + np.array([seen[j][0] for j in run])
    push = np.asarray(z[1:] - keep * z[:-1])
    # Each of the two components over n bins has the variance 2 / n of one bin's noise.
    noise = 4.0 * evidence.motion.white * evidence.step / period * (1.0 + keep**2)
    return Swing(time, z, push, keep, run.index(min(inside)), run.index(max(inside)) + 1, noise)


def _by_period(seconds: Array, heel: Array, period: float) -> dict[int, tuple[float, complex]]:
    """Middle (s) and complex amplitude (rad) of each period by its number; none of which too little was recorded.

    Each is fitted by a constant, a line, a cosine and a sine; all normal equations are solved together. Five times
    within a period leave none of them singular: a line and a sine together vanish four times in it at the most.
    """
    number = np.floor(seconds / period).astype(int)
    order = np.argsort(number, kind="stable")
    numbers, first, count = np.unique(number[order], return_index=True, return_counts=True)
    at, value = seconds[order], heel[order]
    middle = np.add.reduceat(at, first) / count
    enough = (count >= 5) & (np.maximum.reduceat(at, first) - np.minimum.reduceat(at, first) >= 0.7 * period)
    turn = 2.0 * np.pi * at / period
    level = np.repeat(np.add.reduceat(value, first) / count, count)
    design = np.stack(
        [np.ones_like(turn), turn - 2.0 * np.pi / period * np.repeat(middle, count), np.cos(turn), np.sin(turn)]
    )
    normal = np.add.reduceat(design[:, None] * design[None], first, axis=2)[:, :, enough]
    right = np.add.reduceat(design * (value - level), first, axis=1)[:, enough]
    fit = np.linalg.solve(normal.transpose(2, 0, 1), right.T[:, :, None])[:, :, 0]
    amplitude = fit[:, 2] - 1j * fit[:, 3]
    return {int(j): (float(t), complex(z)) for j, t, z in zip(numbers[enough], middle[enough], amplitude, strict=True)}
