"""What can hold a vessel: contact on a side, a taut line; in which windows it acts, and which way it pulls."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from reduction.gm.consistency.values import Array, Windows

PRIOR_RESTRAINT = {
    "free": 0.78,
    "starboard": 0.05,
    "port": 0.05,
    "both": 0.04,
    "line to port": 0.04,
    "line to starboard": 0.04,
}
"""Judgement: probability that something held her: contact, by the side of heel on which it acted, or a line."""
CONTACTS = ("starboard", "port", "both")
"""Those that take heel away, and where one and the same thing may have held her alike in several windows."""
PRIOR_HELD = 0.5
"""Given contact on a side, or a line: probability that it acted in any one window heeled to that side, away from it."""
PRIOR_SLACKENED = 0.2
"""Given a line: the same in a window heeled towards it, where the heel itself gives it slack (judgement)."""


def pulled(windows: Windows) -> tuple[Array, NDArray[np.bool_]]:
    """(n,) m of arm that heels each window from how she lay with the weights in the middle; (n,) next to none."""
    pull = windows.arm - float(np.median(windows.arm))
    return pull, np.abs(pull) < 0.15 * max(float(np.abs(pull).max()), 1e-12)


def eligible(windows: Windows, side: str) -> tuple[Array, Array]:
    """(n,) side of heel (+1 starboard) and (n,) prior probability of being held under a hypothesis.

    Contact on a side can act in a window pulled to that side and, as far as it may have come early, in the windows
    about the middle; it takes heel away. A line that has come tight pulls to its own side whichever way she heels, most
    likely where she heels away from it.

    Sides count from how she lies with the weights in the middle of their moments, list and all: there her lines were
    slackened and her fenders hung.
    """
    pull, near = pulled(windows)
    toward = np.sign(pull)
    if side == "free":
        return toward, np.zeros_like(pull)
    if side == "both":
        return toward, np.where(near, 0.0, PRIOR_HELD)
    if side.startswith("line"):
        away = 1.0 if side == "line to port" else -1.0
        middle = 0.5 * (PRIOR_HELD + PRIOR_SLACKENED)
        held = np.where(near, middle, np.where(toward == away, PRIOR_HELD, PRIOR_SLACKENED))
        return np.full_like(pull, away), held
    sign = 1.0 if side == "starboard" else -1.0
    held = np.where(near, 0.2 * PRIOR_HELD, np.where(toward == sign, PRIOR_HELD, 0.0))
    return np.where(near, sign, toward), held


@dataclass(frozen=True)
class Causes:
    """All of `PRIOR_RESTRAINT` with what each can do to each window of a day."""

    sides: tuple[str, ...]
    """h of them."""
    log_prior: Array
    """(h,)."""
    toward: Array
    """(h, n) side of heel (+1 starboard) away from which it takes heel."""
    held: Array
    """(h, n) probability beforehand that it held the window."""
    odds: Array
    """(h, n) the same with what else is known of the window."""


def causes_of(windows: Windows) -> Causes:
    """All of them for the windows of a day."""
    sides = tuple(PRIOR_RESTRAINT)
    toward, held = (np.array(column) for column in zip(*(eligible(windows, side) for side in sides), strict=True))
    prior = np.log(np.array(list(PRIOR_RESTRAINT.values())))
    return Causes(sides, prior, toward, held, held * np.exp(windows.hint_held))
