"""The values that flow through the reduction. SI inside: kg, m, kg m, rad; ``u`` is a standard uncertainty."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Generic, TypeVar

import numpy as np
from numpy.typing import NDArray

from config.plan import Overrule
from dsp.types import BudgetLine, Check, DayHeel, Verdict

Array = NDArray[np.float64]
FREE = 100.0
"""A change of list is left free by giving it so many times its standard uncertainty beforehand."""
T = TypeVar("T")


@dataclass(frozen=True)
class Quantified:
    """One number with its standard uncertainty and the budget behind it."""

    value: float
    u: float
    """Standard uncertainty; NaN with a reason in ``note`` where it is not known."""
    dof: float = float("inf")
    budget: tuple[BudgetLine, ...] = ()
    unit: str = ""
    note: str = ""

    def u95(self, confidence: float = 0.95) -> float:
        """Half width of the interval at ``confidence`` (t quantile for ``dof``; GUM 6.3, G.3)."""
        from scipy.special import stdtrit

        return float(stdtrit(min(self.dof, 1e9), 0.5 + confidence / 2.0) * self.u)


@dataclass(frozen=True)
class Maybe(Generic[T]):
    """A value, or the reason why it cannot be computed from what the folder holds."""

    value: T | None
    reason: str = ""


@dataclass(frozen=True)
class State:
    """One state of the weights: its moments, from positions measured before the test."""

    label: str
    moment: float
    """kg m to starboard: weights, people, crane, tanks."""
    moment_u: float
    """kg m, own part (positions measured state by state)."""
    vertical: float = 0.0
    """kg m about the baseline, difference from the first state."""
    longitudinal: float = 0.0
    """kg m, difference from the first state."""
    sensitivities: dict[str, float] = field(default_factory=dict)
    """d moment / d (each common input, such as ``mass of weight 1``), for correlations between states."""


@dataclass(frozen=True)
class WindowPoint:
    """One point of the moment-tangent plot."""

    label: str
    start_ns: int
    stop_ns: int
    moment: float
    """kg m."""
    heel: float
    """rad, in the list of the first windows."""
    u: float
    """rad, total for this window by itself, what all windows share (scale, zero) not counted."""
    dof: float
    """Degrees of freedom of ``u``."""
    scale_u: float
    """rad, what the scale of the stations may have done to its heel away from upright."""
    verdict: Verdict
    reasons: tuple[str, ...]
    checks: tuple[Check, ...]
    residual_line: float
    """rad from the classical line; NaN if no line."""
    residual_curve: float
    """rad from the true curve; NaN if no curve."""
    used: bool
    overruled: str = ""
    """Reason on record where a person overruled the verdict."""
    list_change: float = 0.0
    """rad, change of list since the first windows, taken off ``heel``."""
    wind_correction: float = 0.0
    """rad, for wind other than the mean of the windows, taken off ``heel``."""

    def u95(self, confidence: float = 0.95) -> float:
        """Half width, rad, of the interval of the heel away from upright, scale included (GUM G.4.1)."""
        whole = self.u**2 + self.scale_u**2
        dof = self.dof * (whole / self.u**2) ** 2 if self.u > 0.0 else float("inf")
        return Quantified(self.heel, whole**0.5, dof).u95(confidence)

    def own95(self, confidence: float = 0.95) -> float:
        """Half width, rad, of what this window may be off the fit by itself."""
        return Quantified(self.heel, self.u, self.dof).u95(confidence)


@dataclass(frozen=True)
class ListChange:
    """By how much her list changed for good, at once or evenly between two times."""

    since: float
    until: float
    """s, on the day's clock; the same where it changed at once."""
    size: float
    """rad, positive to starboard."""
    u: float
    """rad."""

    @property
    def sudden(self) -> bool:
        """Whether it changed at once."""
        return self.since == self.until

    def share(self, time: Array) -> Array:
        """Return the share of the change (n,) that had happened by each time (s)."""
        if self.sudden:
            return np.asarray(time > self.since, dtype=np.float64)
        return np.asarray(np.clip((time - self.since) / (self.until - self.since), 0.0, 1.0))

    def left_free(self, share: Array) -> Array:
        """Return (n,) rad, what windows with a share (n,) of the change are given so that its size is free."""
        return np.asarray(FREE * self.u * share)


@dataclass(frozen=True)
class Bend:
    """By how much the righting arm bends beyond the hull's own, where the windows show it."""

    shape: str
    """Key of `reduction.gm.curve.BENDS`."""
    size: float
    """m of BM."""
    u: float
    about: float = 0.0
    """rad, heel as the stations read it about which she bends alike to both sides."""


@dataclass(frozen=True)
class GmResult:
    """GM by both methods, with and without the rejected windows."""

    carried: str
    """``curve`` or ``line``: which one goes on to KG."""
    gm: Quantified
    """m, the carried one, fluid."""
    line: Quantified
    """m, straight line."""
    curve: Maybe[Quantified]
    """m, true curve at upright."""
    line_all: Quantified
    """m, straight line through every window, rejected ones included."""
    curve_all: Maybe[Quantified]
    list_upright: Quantified
    """rad, heel with no test moment."""
    points: tuple[WindowPoint, ...]
    """Every window in order."""
    difference: str
    """Why the two methods differ, one sentence with figures."""
    assumptions: tuple[str, ...] = ()
    heel_scatter: float = float("nan")
    """rad, residual standard deviation of the carried fit."""
    covariance: Array = field(default_factory=lambda: np.zeros((0, 0)))
    """(n, n) rad2 of the heels of ``points`` as the fits took it: with their scatter, without the shared zero."""
    bend: Bend | None = None
    """Beyond the hull's own; None where none was found."""
    list_change: ListChange | None = None
    """Taken off the heels; None where none was found."""
    wind: Quantified | None = None
    """rad per (m/s)^2 of abeam wind pressure, as the windows and their moments show it; None where they do not."""
    day_checks: tuple[Check, ...] = ()
    """Questions put to the day as a whole: zero, one side stiffer, roll periods, bend of the plot."""


@dataclass(frozen=True)
class MarkReading:
    """One draught or freeboard reading with what the fit made of it."""

    label: str
    kind: str
    """``draught`` or ``freeboard``."""
    x: float
    y: float
    """m, where it was read."""
    reading: float
    """m, as read."""
    waterline_z: float
    """m above the moulded baseline, after keel and plate corrections."""
    u: float
    residual: float
    """m from the fitted waterline."""
    used: bool
    says: str = ""
    """Why it was left out, or that it looks misread."""


@dataclass(frozen=True)
class Waterline:
    """Where she floats: z = mean + trim slope and list and hog, from all readings at once."""

    mean_draught: Quantified
    """m at amidships on the centreline, hog included."""
    draught_aft: Quantified
    """m at the aft perpendicular."""
    draught_forward: Quantified
    """m at the forward perpendicular."""
    trim: Quantified
    """m, T_A - T_F, positive by the stern."""
    list: Quantified
    """rad, starboard side down positive."""
    hog: Quantified
    """m, keel amidships above the line of the ends is positive (hogged), below is negative (sagged)."""
    covariance: Array
    """(4, 4) of (mean at amidships, trim, list, hog)."""
    readings: tuple[MarkReading, ...]
    density: Quantified
    """kg/m3 of the water she floats in."""


@dataclass(frozen=True)
class Floating:
    """Hydrostatics at one waterline. Positions from aft perpendicular, centreline, moulded baseline."""

    displacement: float
    """kg."""
    lcb: float
    kb: float
    lcf: float
    km: float
    """m, transverse metacentre above the baseline."""
    kml: float
    bm: float
    tpc: float
    """kg per m of sinkage (shown as t/cm)."""
    mct: float
    """kg m per m of trim (shown as t m/cm)."""
    source: str
    """``table``, ``offsets`` or ``values``, with the corrections applied."""
    corrections: tuple[BudgetLine, ...] = ()
    """Each published correction with its amount (kg) in ``u``'s place and its name."""


@dataclass(frozen=True)
class AsInclined:
    """The vessel as she floated during the test."""

    displacement: Quantified
    """kg."""
    km: Quantified
    gm_fluid: Quantified
    free_surface: Quantified
    """kg m, sum of free-surface moments aboard during the test."""
    kg: Quantified
    """m, solid: KM - GM fluid - free-surface moments / displacement, in the first state of the weights."""
    lcg: Maybe[Quantified]
    tcg: Maybe[Quantified]
    roll_period: Maybe[Quantified]
    radius_ratio: Maybe[Quantified]
    """k/B from the roll period and GM."""


@dataclass(frozen=True)
class SurveyItem:
    """One line of the deadweight survey or one thing known to the plan (weights, people, tank contents)."""

    name: str
    action: str
    """``off``, ``on`` or ``move``."""
    mass: float
    """kg, positive."""
    x: float
    y: float
    z: float
    mass_u: float
    position_u: float
    to: tuple[float, float, float] | None = None
    """New centre where ``action`` is ``move``."""
    space: str = ""
    surveyed_by: str = ""
    group: str = ""
    """``survey``, ``test weights``, ``people``, ``tanks``."""
    free_surface: float = 0.0
    """kg m that goes with it."""
    ballast: bool = False
    """Liquid ballast; not counted as surplus weight (IACS Rec. 31)."""


@dataclass(frozen=True)
class Centre:
    """Mass and centre of gravity."""

    mass: Quantified
    """kg."""
    vcg: Quantified
    lcg: Quantified
    tcg: Quantified
    """m."""


@dataclass(frozen=True)
class Advice:
    """One comparison with published guidance. Advice: the responsible person may differ, with a reason on record."""

    code: str
    says: str
    """One sentence with the figure found and the figure wanted."""
    met: bool | None
    """None where it could not be checked."""
    source: str
    """Document and paragraph."""
    status: str
    """``read`` in the document, ``common practice`` or ``from memory``."""
    departure: str = ""
    """Reason on record, if the responsible person departs from it."""


@dataclass(frozen=True)
class ConditionAnswer:
    """One loading condition against its allowable KG."""

    name: str
    kg: Quantified
    """m, fluid KG of the condition with the lightship found."""
    allowable: float
    margin: float
    """m, allowable minus KG."""
    verdict: str
    """``clear``, ``over``, ``too close to call``, or ``not judged`` where the interval of KG is not known."""
    probability_over: float
    says: str


@dataclass(frozen=True)
class Deviation:
    """One figure of the lightship against the previous or estimated one."""

    what: str
    value: float
    threshold: float
    unit: str
    says: str
    source: str
    verdict: str
    """``within``, ``beyond`` or ``too close to call``."""


@dataclass(frozen=True)
class Provenance:
    """Enough to make the same answer again."""

    version: str
    made_at: str
    """RFC 3339 UTC."""
    inputs: tuple[tuple[str, str], ...]
    """(file relative to the folder, SHA-256)."""
    settings: dict[str, object] = field(default_factory=dict)


@dataclass(frozen=True)
class Answer:
    """What the day came to. Always preliminary until the authority accepts it."""

    name: str
    confidence: float
    headline: str
    """One sentence a coordinator can read out to the owner."""
    outlook: str
    """``clear``, ``clear with reservations``, ``over``, ``too close to call``, ``not judged`` or ``no limit given``."""
    next_step: str
    """What would settle it or improve it most."""
    gm: Maybe[GmResult]
    waterline: Maybe[Waterline]
    floating: Maybe[Floating]
    as_inclined: Maybe[AsInclined]
    survey: tuple[SurveyItem, ...]
    lightship: Maybe[Centre]
    deviations: tuple[Deviation, ...]
    conditions: tuple[ConditionAnswer, ...]
    advice: tuple[Advice, ...]
    monte_carlo: Maybe[dict[str, tuple[float, float]]]
    """Name -> (low, high) of the interval by JCGM 101, SI: gm, kg, mass, vcg, lcg, tcg."""
    assumptions: tuple[str, ...]
    missing: dict[str, str]
    """Result that could not be computed -> reason."""
    day: DayHeel | None
    provenance: Provenance
    displacement: Maybe[Quantified] = Maybe(None, "not computed")
    """kg, as inclined; also known where KG is not."""
    reservations: tuple[str, ...] = ()
    """What a pass of the limits would rest on beside measurements, such as a window that a person decided on."""
    overrules: tuple[Overrule, ...] = ()
    """Decisions of a person on windows, of the plan and of the marks; the last one on a window counts."""
    moment: Mapping[str, float] = field(default_factory=dict)
    """Label of the window -> kg m; known also where there is no GM."""
    moment_u: Mapping[str, float] = field(default_factory=dict)
    """Label of the window -> kg m, standard uncertainty of its moment by itself; NaN where it is not known."""
    doubts: tuple[str, ...] = ()
    """Figures that no vessel has, with what to look at; they stand among the reservations as well."""


__all__ = [
    "Advice",
    "Answer",
    "Array",
    "AsInclined",
    "BudgetLine",
    "Centre",
    "Check",
    "ConditionAnswer",
    "DayHeel",
    "Deviation",
    "Floating",
    "GmResult",
    "MarkReading",
    "Maybe",
    "Provenance",
    "Quantified",
    "State",
    "SurveyItem",
    "Waterline",
    "WindowPoint",
]
