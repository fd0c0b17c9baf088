"""Why a window that does not agree with the others was left out, in one code and one sentence."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dsp.checks.budget import MOVED_AND_APART
from dsp.types import Check, DayHeel, WindowHeel
from reduction.gm.consistency import ALPHA_CHI2, ALPHA_LARGEST, Consensus
from reduction.types import State

PEOPLE_MOMENT = 3000.0
"""kg m: about six people of 85 kg across six metres. A larger stray moment is not people (judgement)."""


LEAST_HELD = 0.01
"""Share of the heel by which a window already rejected must fall short before a restraint is named as well."""


@dataclass(frozen=True)
class Told:
    """What the comparison between windows says of one window."""

    check: Check
    reasons: tuple[str, ...]
    rejects: bool


def between_windows(
    found: Consensus,
    candidates: NDArray[np.bool_],
    windows: Sequence[WindowHeel],
    states: Sequence[State],
    displacement: float,
    day: DayHeel,
    residual: NDArray[np.float64],
) -> dict[int, Told]:
    """Give each window its check against the curve through the others.

    Parameters
    ----------
    found : the consensus among the windows of ``candidates``.
    windows, states : all of the day, in order.
    displacement : kg.
    residual : (n,) rad, every window's heel minus the carried fit, rejected ones included.

    Returns
    -------
    Place in the day -> what is said.
    """
    place = np.flatnonzero(candidates)
    out = {int(place[e.index]): e for e in found.excluded}
    false_alarm = (ALPHA_CHI2 + ALPHA_LARGEST) / max(place.size, 1) + MOVED_AND_APART
    told = {
        i: _apart(i, windows, states, found, float(residual[i]), displacement)
        for i in range(len(windows))
        if i not in place.tolist() and np.isfinite(windows[i].heel)
    }
    for j, i in enumerate(place.tolist()):
        shift, u = float(found.shift[j]), float(found.shift_u[j])
        size = abs(shift) / u if u > 0 else float("nan")
        rejects = i in out
        code = _code(i, out[i].held, shift, found, j, place, out, states, displacement, day) if rejects else "outlier"
        sentence = _sentence(code, windows[i].span.label, shift, u, found, states[i].moment, displacement)
        check = Check(
            code=code,
            value=size,
            threshold=out[i].limit if rejects else found.largest_limit,
            unit="standard uncertainties",
            false_alarm=false_alarm,
            verdict="rejected" if rejects else "fine",
            says=sentence
            if rejects
            else f"Lies {abs(np.rad2deg(shift)):.4f} deg from the curve through the other windows, {size:.1f} times "
            "its uncertainty.",
            evidence={
                "time": np.array([windows[k].span.start for k in place.tolist()]),
                "moment": np.array([states[k].moment for k in place.tolist()]),
                "shift": found.shift,
                "shift_u": found.shift_u,
                "used": found.used.astype(float),
            },
        )
        told[i] = Told(check, (code,) if rejects else (), rejects)
    return told


def _apart(
    i: int,
    windows: Sequence[WindowHeel],
    states: Sequence[State],
    found: Consensus,
    shift: float,
    displacement: float,
) -> Told:
    """Where a window rejected by its own checks lies: heeling less than asked for, it was held.

    Not so where people were seen to move in it and could have done that, unless the other windows show a restraint.
    """
    window = windows[i]
    fit = found.fit
    jacobian = np.array([-np.tan(window.heel), 1.0]) / float(np.median(fit.stiffness))
    u = float(np.sqrt(window.u**2 + jacobian @ fit.covariance @ jacobian))
    size = abs(shift) / u if u > 0 else float("nan")
    most = max(abs(s.moment) for s in states)
    side = np.sign(states[i].moment) if abs(states[i].moment) > 0.05 * most else 0.0
    heeled = abs(window.heel - shift - np.arctan(fit.tcg / fit.gm))
    less = side * shift < 0
    stray = abs(shift) * fit.gm * displacement
    explained = "people" in window.reasons and stray <= PEOPLE_MOMENT and not found.restrains(float(side), shift)
    held = size > found.largest_limit and less and abs(shift) > LEAST_HELD * heeled and not explained
    degrees = f"{np.rad2deg(shift):+.4f} deg, {size:.1f} times its uncertainty, off the curve through the windows used"
    check = Check(
        code="taut" if held else "outlier",
        value=size,
        threshold=found.largest_limit,
        unit="standard uncertainties",
        false_alarm=0.0,
        verdict="rejected" if held else "fine",
        says=f"Window {window.span.label}, left out for its own checks, lies {degrees}"
        + ("; it heels less than the moment asks for, as a taut line would make it." if held else "."),
        evidence={"time": np.array([window.span.start]), "shift": np.array([shift]), "shift_u": np.array([u])},
    )
    return Told(check, ("taut",) if held else (), held)


def _code(
    i: int,
    held: float,
    shift: float,
    found: Consensus,
    j: int,
    place: NDArray[np.intp],
    out: Mapping[int, object],
    states: Sequence[State],
    displacement: float,
    day: DayHeel,
) -> str:
    if held > 0.5:
        return "taut"
    moments = np.array([abs(states[k].moment) for k in place.tolist()])
    upright = moments[j] <= 0.05 * max(float(moments.max()), 1e-12)
    at_an_end = i == int(place[0]) or i == int(place[-1])
    if upright and at_an_end and not np.isfinite(day.wind_coefficient):
        return "wind" if i == int(place[0]) and len(out) == 1 and place.size > 4 else "zero"
    if abs(shift) * found.fit.gm * displacement <= PEOPLE_MOMENT:
        return "people"
    return "zero" if upright else "outlier"


def _sentence(
    code: str, label: str, shift: float, u: float, found: Consensus, heeling: float, displacement: float
) -> str:
    """Say it; ``heeling`` is the moment of the window's state, positive to starboard."""
    degrees = f"{np.rad2deg(shift):+.4f} deg (± {2 * np.rad2deg(u):.4f}) off the curve through the others"
    moment = abs(shift) * found.fit.gm * displacement / 1000.0
    stray = f"a stray moment of {moment:.2f} t m to {'port' if shift < 0 else 'starboard'}"
    less = "it heels less than the moment asks for, as a taut line, a fender or the ground would make it"
    drawn = f"it is drawn to {'port' if shift < 0 else 'starboard'}, as a taut line on that side would draw it"
    causes = {
        "taut": less if heeling * shift < 0 else drawn,
        "wind": "the first zero misses the line on which all later windows lie, as a steady wind that rose after it",
        "zero": "the zero does not return",
        "people": f"{stray}, as people who changed place would make",
        "outlier": f"{stray} that no check inside the window explains",
    }
    return f"Window {label} lies {degrees}: {causes[code]}."
