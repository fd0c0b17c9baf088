"""Questions put to the day as a whole: does the zero return, is one side stiffer, is the plot curved, do the roll
periods tell one stiffness. Advice beside the consensus; ``docs/method-gm.md``, section 4.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri, stdtrit

from dsp.stiffening import FEWEST, expected_period
from dsp.types import Check, DayHeel, WindowHeel
from reduction.gm.consistency import Consensus
from reduction.gm.curve import Form, heel_at, sensitivity, start_from_line

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

ALPHA = 0.01
"""False-alarm probability of each question, a day."""


def run(
    day: DayHeel,
    heel: Array,
    arm: Array,
    rise: Array,
    covariance: Array,
    shared: Array,
    arm_covariance: Array,
    used: Mask,
    usable: Mask,
    form: Form,
    found: Consensus,
) -> tuple[Check, ...]:
    """Ask every question once of the windows used and once, for the zero, of all usable ones.

    Parameters
    ----------
    heel : (n,) rad, as the fit took it; whether the zero comes back is asked of the heels as they were.
    covariance, shared : (n, n) rad2, of the heels; and what the fit left free beside that: zero, change of list.
    """
    as_read = np.array([w.heel for w in day.windows])
    time = np.array([w.span.start for w in day.windows])

    def part(keep: Mask) -> _Part:
        square = np.ix_(keep, keep)
        whole = covariance[square] + shared[square]
        return _Part(time[keep], heel[keep], arm[keep], rise[keep], whole, arm_covariance[square])

    checks = (
        _zero(time, as_read, arm, covariance, usable),
        _period(day, usable),
        _side(part(usable), form, found.fit.gm),
        _bend(part(used), form),
    )
    return tuple(check for check in checks if check is not None)


@dataclass(frozen=True)
class _Part:
    """Windows that a question is put to; arrays of length n."""

    time: Array
    heel: Array
    arm: Array
    rise: Array
    covariance: Array
    arm_covariance: Array

    @property
    def picture(self) -> dict[str, Array]:
        return {"time": self.time, "moment": self.arm, "heel": self.heel}


def hints(windows: Sequence[WindowHeel]) -> tuple[Array, Array]:
    """Log odds (held, shifted otherwise) of each window from its own checks and its roll period.

    Only evidence for a disturbance counts: a line may hold her mean heel and leave the period alone.
    """
    held, other = np.zeros(len(windows)), np.zeros(len(windows))
    z = period_scores(windows)
    restless = _restlessness(windows)
    held += restless
    other += restless
    for i, window in enumerate(windows):
        if np.isfinite(z[i]) and z[i] < -1.0:
            # Normal(0, 1) against a shortening spread evenly over ten standard uncertainties.
            held[i] += float(np.clip(0.5 * z[i] ** 2 + np.log(np.sqrt(2 * np.pi) / 10), 0.0, 6.0))
        for check in window.checks:
            if check.verdict == "caution":
                held[i] += 2.0 if check.code == "taut" else 0.0
                other[i] += 2.0 if check.code in ("wind", "unconfirmed") else 0.0
    return held, other + _odds(moved(windows))


def moved(windows: Sequence[WindowHeel]) -> Array:
    """(n,) probability that a clean window looks as much as if people moved in it; 1 where that was not asked."""
    told = ([c.evidence["chance"] for c in w.checks if c.code == "people" and "chance" in c.evidence] for w in windows)
    return np.array([min((float(chance[0]) for chance in one), default=1.0) for one in told])


def _odds(chance: Array) -> Array:
    """Log odds that a probability under no disturbance speaks for one, at the most: -log(-e p log p), 0 above 1 / e.

    T. Sellke, M. J. Bayarri and J. O. Berger, Calibration of p values for testing precise null hypotheses, Amer.
    Statist. 55 (2001) 62-71, from memory.
    """
    p = np.clip(chance, 1e-6, np.exp(-1.0))
    return np.asarray(-np.log(-np.e * p * np.log(p)))


def _restlessness(windows: Sequence[WindowHeel]) -> Array:
    """(n,) log odds of a disturbance from a window's uncertainty, where it is beyond twice that of the middle one.

    What disturbs the mean mostly makes her restless too, as a line that snatches. Weather alone hardly ever doubles the
    uncertainty of one window of a day (a variance with nine degrees of freedom is four times the usual once in
    twenty thousand). Three times the logarithm of how far it is beyond that, 5 at most, is judgement.
    """
    u = np.array([w.u for w in windows])
    good = np.isfinite(u) & (u > 0)
    if good.sum() < 4:
        return np.zeros(u.size)
    ratio = np.where(good, u, 0.0) / float(np.median(u[good]))
    return np.asarray(np.clip(3.0 * np.log(np.maximum(ratio / 2.0, 1.0)), 0.0, 5.0))


def period_scores(windows: Sequence[WindowHeel]) -> Array:
    """(n,) each window's roll period against what the others let expect at its heel, in standard uncertainties."""
    period = np.array([w.roll.period for w in windows])
    u = np.array([w.roll.period_u for w in windows])
    heel = np.array([w.heel for w in windows])
    good = np.isfinite(period) & np.isfinite(u) & (u > 0) & np.isfinite(heel)
    z = np.full(period.size, np.nan)
    for i in np.flatnonzero(good):
        rest = good.copy()
        rest[i] = False
        if int(rest.sum()) < FEWEST:
            continue
        about = float(np.median(period[rest])), float(np.median(u[rest]))
        usual = expected_period(float(heel[i]), heel[rest], period[rest], u[rest], about)
        z[i] = (period[i] - usual.period) / np.hypot(usual.scatter * u[i], usual.u)
    return z


def _zero(time: Array, heel: Array, arm: Array, covariance: Array, usable: Mask) -> Check | None:
    near = usable & (np.abs(arm) <= 0.02 * max(float(np.abs(arm[usable]).max(initial=0.0)), 1e-12))
    places = np.flatnonzero(near)
    if places.size < 2:
        return None
    first, last = places[0], places[-1]
    apart = float(heel[last] - heel[first])
    u = float(np.sqrt(covariance[first, first] + covariance[last, last] - 2 * covariance[first, last]))
    value = abs(apart) / u
    return _check(
        "zero",
        value,
        f"The zero comes back within {abs(np.rad2deg(apart)):.4f} deg, {value:.1f} times its uncertainty.",
        {"time": time[places], "heel": heel[places]},
    )


def _period(day: DayHeel, usable: Mask) -> Check | None:
    z = period_scores(day.windows)
    if not np.isfinite(z[usable]).any():
        return None
    worst = int(np.nanargmin(np.where(usable, z, np.nan)))
    count = int(np.isfinite(z).sum())
    limit = float(stdtrit(max(count - 1, 2), 1 - ALPHA / count))
    value = max(-float(z[worst]), 0.0)
    return Check(
        code="taut",
        value=value,
        threshold=limit,
        unit="standard uncertainties",
        false_alarm=ALPHA,
        verdict="caution" if value > limit else "fine",
        says=f"The shortest roll period is that of window {day.windows[worst].span.label}, {value:.1f} times its "
        "uncertainty below the others; a shorter period means more stiffness.",
        evidence={
            "time": np.array([w.span.start for w in day.windows]),
            "period": np.array([w.roll.period for w in day.windows]),
            "period_u": np.array([w.roll.period_u for w in day.windows]),
        },
    )


def _extra(part: _Part, form: Form, shape: str) -> tuple[float, float] | None:
    """One more parameter beside GM and TCG: value (m of GM to starboard less to port, or m of BM) and its u."""
    gm, tcg = start_from_line(part.heel, part.arm, form, part.rise)
    model = heel_at(part.arm, gm, tcg, form, part.rise)
    jacobian, stiffness = sensitivity(model, gm, form, part.rise)
    tangent = np.tan(model)
    column = np.where(part.arm + tcg > 0, tangent, 0.0) if shape == "side" else 0.5 * tangent**3
    design = np.column_stack([jacobian, -column / stiffness])
    weight = np.linalg.inv(part.covariance + part.arm_covariance / np.outer(stiffness, stiffness))
    normal = design.T @ weight @ design
    if np.linalg.matrix_rank(normal, tol=1e-12 * float(np.trace(normal))) < 3:
        return None
    inverse = np.linalg.inv(normal)
    step = inverse @ design.T @ weight @ (part.heel - model)
    return float(step[2]), float(np.sqrt(inverse[2, 2]))


def _side(part: _Part, form: Form, gm: float) -> Check | None:
    sides = np.sign(part.arm)
    if min(int((sides > 0).sum()), int((sides < 0).sum())) < 1 or part.arm.size < 4:
        return None
    found = _extra(part, form, "side")
    if found is None:
        return None
    extra, u = found
    value = abs(extra) / u
    stiffer = "starboard" if extra > 0 else "port"
    says = (
        f"All windows taken together are {100 * abs(extra) / abs(gm):.2f} % stiffer to {stiffer}, {value:.1f} times "
        "the uncertainty; a restraint or the ground stiffens one side."
    )
    return _check("taut", value, says, part.picture)


def _bend(part: _Part, form: Form) -> Check | None:
    if np.unique(np.abs(np.round(part.arm, 9))).size < 3 or part.arm.size < 5:
        return None
    found = _extra(part, form, "bend")
    if found is None:
        return None
    extra, u = found
    value = abs(extra) / u
    says = (
        f"The plot stiffens {'more' if extra > 0 else 'less'} with heel than the hull's own curve, by "
        f"{abs(extra):.1f} m of BM, {value:.1f} times the uncertainty"
        + ("; softer near upright speaks for free liquid that pockets." if extra > 0 else ".")
    )
    return _check("slosh", value, says, part.picture)


def _check(code: str, value: float, says: str, evidence: dict[str, Array]) -> Check:
    limit = -float(ndtri(ALPHA / 2))
    return Check(
        code=code,
        value=value,
        threshold=limit,
        unit="standard uncertainties",
        false_alarm=ALPHA,
        verdict="caution" if value > limit else "fine",
        says=says,
        evidence=evidence,
    )
