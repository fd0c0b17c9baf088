"""The values that flow through the reduction. SI inside: kg, m, kg m, rad; ``u`` is a standard uncertainty."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Generic, TypeVar

import numpy as np
from numpy.typing import NDArray

from dsp.types import BudgetLine, Check, DayHeel, Verdict

Array = NDArray[np.float64]
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
    """rad."""
    u: float
    """rad, total for this window by itself."""
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


__all__ = ["Array", "BudgetLine", "Check", "DayHeel", "GmResult", "Maybe", "Quantified", "State", "WindowPoint"]
