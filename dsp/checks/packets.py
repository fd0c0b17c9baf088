"""Packets of waves in the pushes of a roll: what lets it grow and fall as a bell, of free phase and size.

Of ``n`` pushes whose phases are in step a packet is tested with two degrees of freedom in place of ``2 n``.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from dsp.checks.swing import SHARED, Swing
from dsp.types import Array

WIDTHS = (0.8, 1.5, 3.0)
"""Roll periods: half widths of the packets looked for, from one push to a train of waves."""
LEAST_LEFT = 0.1
"""Of a packet, once what is along a dying swing is taken out; less is not told from it."""
NEIGHBOURS = 0.25
"""Correlation of neighbouring pushes (`dsp.checks.swing.SHARED`)."""
FEWEST_PUSHES = 5
"""With fewer the strongest packet is most of them, and what is left tells nothing."""


@dataclass(frozen=True)
class Packets:
    """Packets laid over the pushes (j,) of a stretch of record."""

    middle: Array
    """(m,) periods from the first."""
    width: Array
    """(m,) periods; those of one width stand one after the other."""
    shape: Array
    """(m, j) unit templates."""
    spread: Array
    """(m,) mean square along each where pushes are usual, over that of one push."""
    along: Array
    """(m,) rad2, square of the pushes along each."""
    energy: float
    """rad2, square of all pushes, what is along a dying swing taken out."""


def packets_in(swing: Swing, sure: Array) -> Packets:
    """Lay packets over a window's pushes, every half period; what lies mostly beside the window is not among them.

    A dying swing whose damping or period is not quite the day's leaves pushes in step too, proportional to itself; what
    is along it is therefore taken out of pushes and packets alike.

    Parameters
    ----------
    sure : (j,) how much of each push counts.
    """
    places = np.arange(swing.push.size + 1, dtype=np.float64)
    middle, width = _places(swing)
    bell = np.exp(-0.5 * ((places - middle[:, None]) / width[:, None]) ** 2)
    shape = sure * (bell[:, 1:] - swing.keep * bell[:, :-1])
    dying = sure * swing.keep ** places[:-1]
    dying /= np.linalg.norm(dying)
    shape -= np.outer(shape @ dying, dying)
    shape /= np.maximum(np.sqrt(np.sum(shape**2, axis=1)), LEAST_LEFT * np.max(bell))[:, None]
    push = sure * swing.push
    push = push - dying * (dying @ push)
    spread = 1.0 + 2.0 * NEIGHBOURS * np.sum(shape[:, 1:] * shape[:, :-1], axis=1)
    return Packets(middle, width, shape, spread, np.abs(shape @ push) ** 2, float(np.sum(np.abs(push) ** 2)))


def _places(swing: Swing) -> tuple[Array, Array]:
    """Middle and half width (m,) of each packet, in periods."""
    middles, widths = [], []
    begin, end = swing.first - 0.5, swing.last - 0.5
    for width in WIDTHS:
        low, high = begin + 0.5 * width, end - 0.5 * width
        each = np.arange(low, high + 0.01, 0.5) if high > low else np.array([0.5 * (begin + end)])
        middles.append(each)
        widths.append(np.full(each.size, width))
    return np.concatenate(middles), np.concatenate(widths)


def as_many(packets: Packets, chance: float) -> float:
    """Return how many independent packets have as good a chance of a maximum as these, which overlap.

    Along packets of one width the score is an envelope; it comes above ``u`` (in mean squares) with a chance of at
    most ``exp(-u) [1 + l sqrt(u / pi)]``, l the length in radians of the walk of the unit templates (expected
    upcrossings of a Rayleigh envelope: Rice 1945, Bell Syst. Tech. J. 24, section 3.7, from memory). Never more than
    there are.

    Parameters
    ----------
    chance : of the best one by itself.
    """
    steep = float(np.sqrt(max(-np.log(max(chance, 1e-300)), 1.0) / np.pi))
    many = 0.0
    for one in WIDTHS:
        rows = packets.shape[packets.width == one]
        beside = np.clip(np.sum(rows[1:] * rows[:-1], axis=1), -1.0, 1.0)
        many += min(1.0 + float(np.arccos(np.abs(beside)).sum()) * steep, rows.shape[0])
    return many


def calm(swing: Swing) -> tuple[float, float]:
    """Mean square push (rad2) of a record without its strongest packet, and its degrees of freedom.

    What is usual in a window with wash is what the wash leaves: three windows of nine with packets of twice the energy
    of everything else pass for a day whose windows are unlike each other, in which no packet is out of the usual. The
    strongest packet of a clean record is taken out as well, and what that is on average is made up for.
    """
    pushes: NDArray[np.complex128] = swing.push
    if pushes.size < FEWEST_PUSHES:
        return swing.mean_push, swing.dof
    whole = packets_in(replace(swing, first=0, last=pushes.size + 1), np.ones(pushes.size))
    strongest = int(np.argmax(whole.along / whole.spread))
    left = float(np.sum(np.abs(pushes) ** 2)) - float(whole.along[strongest])
    return max(left / (pushes.size - _strongest_of(pushes.size)), swing.noise), 2.0 * (pushes.size - 2) / SHARED


def _strongest_of(count: int) -> float:
    """Energy of the strongest packet of so many pushes that are usual, in mean squares of a push.

    A smooth curve through Monte Carlo (tests/unit/dsp/test_packets.py); the logarithm is that of the largest of so many
    exponential values, half as much again since neighbouring pushes share.
    """
    return 1.4 * (float(np.log(count)) + 0.577) - 2.8 / count
