"""Run days of any generator through the mathematics and count: errors, coverage, widths, rejections, GM."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace

import gaussian_day
import numpy as np
import physical_day
import physical_limit
import wander_day
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline
from scipy.special import stdtrit

from dsp.day import evaluate_day
from dsp.types import Day, DayHeel
from reduction.gm.reduce import reduce_gm
from reduction.types import GmResult, Maybe, Quantified, State
from sim.kinds import make_kind

Array = NDArray[np.float64]
DEG = np.pi / 180.0
LIST = "+list"
SQRT3 = 3.0**0.5
"""Three stations of independent scales."""


@dataclass(frozen=True)
class Case:
    """One day to be judged, of whichever generator."""

    day: Day
    moment: Array
    heel: Array
    spoilt: tuple[bool, ...]
    displacement: float
    gm: float
    bm: float
    limit: Array | None
    """(k,) rad2; None where no limit is known."""
    scale_u: float
    """Standard uncertainty of the scale of the combined stations, as their records have it."""
    plain: tuple[bool, ...] = ()
    """Spoilt by what is to be seen: steps of the mean above four standard errors of the limit, heel changed by over 2 %
    by a line, every burst; empty where that is not known."""
    kn: Callable[[Array], Array] | None = None


@dataclass
class Tally:
    """What came out of the days of one kind."""

    kind: str
    wind: bool
    error: list[float] = field(default_factory=list)
    """rad, of each clean window, the day's common zero taken off."""
    limit: list[float] = field(default_factory=list)
    """rad2, of the same windows."""
    half: list[float] = field(default_factory=list)
    """rad, half width of the same windows' 95 % intervals, scale included."""
    gm: list[float] = field(default_factory=list)
    """Relative error of GM of each day."""
    gm_half: list[float] = field(default_factory=list)
    gm_limit: list[float] = field(default_factory=list)
    """Relative standard deviation of GM that the limit allows, no window spoilt; NaN where no limit is known."""
    clean: int = 0
    clean_rejected: int = 0
    spoilt: int = 0
    spoilt_rejected: int = 0
    plain: int = 0
    plain_rejected: int = 0
    seconds: float = 0.0
    days: int = 0


def case_of(generator: str, kind: str, seed: int, wind: bool) -> Case:
    """Make one day; ``quiet+list``, and so on, is a day of that kind on which her list changes for good."""
    if kind.endswith(LIST):
        return with_list_change(case_of(generator, kind.removesuffix(LIST), seed, wind), seed)
    if generator == "gaussian":
        day, truth = gaussian_day.make(kind, seed, measured_wind=wind)
        spoilt = tuple(k in truth.spoilt for k in range(len(day.windows)))
        away, u = np.abs(truth.shift), np.sqrt(truth.limit)
        seen = {"people": away > 4.0 * u, "taut": away > 0.02 * np.abs(truth.heel - truth.heel[0]) + 1e-12}
        plain = tuple(bool(p) for p in seen.get(kind, np.array(spoilt)))
        fixed = (truth.displacement, truth.gm, truth.bm, truth.limit, 0.0005 / SQRT3, plain)
        return Case(day, truth.moment, truth.heel, spoilt, *fixed)
    if generator == "wander":
        third = wander_day.make(kind, seed, measured_wind=wind)
        known = np.array([station.scale_u for station in third.day.knowledge])
        scale_u = float(np.sqrt(np.sum(known**2))) / known.size
        parts = (third.displacement, third.gm, third.bm, None, scale_u, third.plain)
        return Case(third.day, third.moment, third.heel, third.spoilt, *parts)
    made = physical_day.make(kind, seed, measured_wind=wind)
    kn = None
    if made.kn:
        angle, arm = np.array(made.kn).T
        both = CubicSpline(np.concatenate([-angle[::-1], [0.0], angle]) * DEG, np.concatenate([-arm[::-1], [0.0], arm]))
        kn = lambda heel: np.asarray(both(heel), dtype=np.float64)  # noqa: E731
    spoilt = tuple(bool(s) for s in made.spoilt)
    limit = None
    if kind in ("breezy", "windy"):
        limit = np.full(made.heel.size, physical_limit.limit_of(make_kind(kind, seed), wind))
    scale_u = physical_day.SCALE_U / SQRT3
    return Case(made.day, made.moment, made.heel, spoilt, made.displacement, made.gm, made.bm, limit, scale_u, kn=kn)


def with_cross_curves(case: Case) -> Case:
    """Tell the hull's curve of a day of the first generator, whose sides are upright, and not its BM alone.

    KM is of no account there (``sin(heel) (KM + BM tan^2(heel) / 2)``); 5 m is as good as any.
    """
    return replace(case, kn=lambda heel: np.sin(heel) * (5.0 + case.bm * np.tan(heel) ** 2 / 2.0))


def with_list_change(case: Case, seed: int) -> Case:
    """Let her list change by 0.01 to 0.1 degrees between two windows, two at least on either side, and stay so."""
    rng = np.random.default_rng([seed, 77])
    windows = case.day.windows
    place = int(rng.integers(2, len(windows) - 1))
    size = float(rng.choice([-1.0, 1.0]) * np.exp(rng.uniform(np.log(0.01), np.log(0.1))) * DEG)
    at = 0.5 * (windows[place - 1].stop + windows[place].start)
    heel = tuple(replace(t, value=t.value + np.where(t.time > at, size, 0.0)) for t in case.day.heel)
    after = np.arange(len(windows)) >= place
    return replace(case, day=replace(case.day, heel=heel), heel=case.heel + size * after)


def reduced(found: DayHeel, case: Case) -> GmResult:
    """Reduce as the front door does, displacement, BM and moments known exactly."""
    states = [State(w.span.label, float(m), 0.0) for w, m in zip(found.windows, case.moment, strict=True)]
    displacement = Quantified(case.displacement, 0.0, unit="kg")
    return reduce_gm(found, states, displacement, Maybe(Quantified(case.bm, 0.0, unit="m")), case.kn)


def judge(case: Case, tally: Tally) -> DayHeel:
    """Evaluate one day and add it to the tally.

    Window heels are those of the answer, referred to one wind and with what they scatter about the plot; they are
    compared after the best common zero (list) of the day's clean windows has been taken off, with the covariance that
    belongs to that difference; the common scale is part of the interval.
    """
    before = time.perf_counter()
    found = evaluate_day(case.day)
    tally.seconds += time.perf_counter() - before
    tally.days += 1
    result = reduced(found, case)
    heel = np.array([p.heel + p.list_change for p in result.points])
    whole = result.covariance + found.scale_u**2 * np.outer(heel, heel)
    clean = ~np.array(case.spoilt) | np.array([tally.kind in ("early", "faults") for _ in heel])
    use = np.flatnonzero(clean & np.isfinite(heel))
    part = whole[np.ix_(use, use)]
    inverse = np.linalg.inv(part)
    zero_variance = 1.0 / float(inverse.sum())
    error = (heel - case.heel)[use]
    error = error - zero_variance * float(np.sum(inverse @ error))
    spread = np.maximum(np.diag(part) - zero_variance, 0.0)
    dof = np.array([result.points[k].dof for k in use])
    tally.error += error.tolist()
    tally.half += (stdtrit(np.minimum(dof, 1e6), 0.975) * np.sqrt(spread)).tolist()
    if case.limit is not None:
        best = case.limit[use] + (case.scale_u * heel[use]) ** 2
        tally.limit += (best - 1.0 / float(np.sum(1.0 / best))).tolist()
    plain = case.plain or (False,) * len(case.spoilt)
    for point, out, seen in zip(result.points, case.spoilt, plain, strict=True):
        rejected = not point.used
        tally.spoilt += out
        tally.plain += seen
        tally.plain_rejected += seen and rejected
        tally.spoilt_rejected += out and rejected
        tally.clean += not out
        tally.clean_rejected += (not out) and rejected
    gm = result.gm
    tally.gm.append(gm.value / case.gm - 1.0)
    tally.gm_half.append(gm.u95() / case.gm)
    tally.gm_limit.append(_best_gm(case))
    return found


def _best_gm(case: Case) -> float:
    """Relative standard deviation of the slope when every window's mean is the best there is, and of the scale."""
    if case.limit is None:
        return float("nan")
    weight = 1.0 / case.limit
    away = case.heel - float(weight @ case.heel) / float(weight.sum())
    return float(np.sqrt(1.0 / float(weight @ away**2) + case.scale_u**2))


HEAD = (
    "kind       wind days  rms/limit  coverage  width/limit  rms deg   GM rms %  limit %  GM cov.  GM width %"
    "  clean rej. %  spoilt rej. %  plain rej. %  s/day"
)


def row(tally: Tally) -> str:
    """One line of the table."""
    error, half = np.array(tally.error), np.array(tally.half)
    covered = float(np.mean(np.abs(error) < half))
    rms = float(np.sqrt(np.mean(error**2)))
    limit = np.array(tally.limit)
    against = float(np.sqrt(np.mean(error**2 / limit))) if limit.size else float("nan")
    width = float(np.mean(half / (1.959964 * np.sqrt(limit)))) if limit.size else float("nan")
    gm, gm_half = np.array(tally.gm), np.array(tally.gm_half)
    plain = 100 * tally.plain_rejected / tally.plain if tally.plain else float("nan")
    return (
        f"{tally.kind:10s} {'yes' if tally.wind else 'no':4s} {tally.days:4d}  {against:9.3f}  {covered:8.3f}"
        f"  {width:11.2f}  {rms / DEG:.5f}  {100 * np.sqrt(np.mean(gm**2)):8.3f}"
        f"  {100 * np.sqrt(np.mean(np.square(tally.gm_limit))):7.3f}  {np.mean(np.abs(gm) < gm_half):7.3f}"
        f"  {100 * np.median(gm_half):10.3f}  {100 * tally.clean_rejected / max(tally.clean, 1):12.1f}"
        f"  {100 * tally.spoilt_rejected / max(tally.spoilt, 1):13.1f}"
        f"  {plain:12.1f}  {tally.seconds / tally.days:5.2f}"
    )


def run(generator: str, kind: str, days: int, first: int = 0, wind: bool = True, curves: bool = False) -> Tally:
    """Judge ``days`` days of one kind from seed ``first`` on; with ``curves`` the hull's curve is told."""
    tally = Tally(kind, wind)
    for seed in range(first, first + days):
        case = case_of(generator, kind, seed, wind)
        judge(with_cross_curves(case) if curves else case, tally)
    return tally
