"""What is handed to the comparison between windows, and what comes out of it."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from reduction.gm.curve import CurveFit
from reduction.types import Bend, ListChange

Array = NDArray[np.float64]
Sets = NDArray[np.intp]


@dataclass(frozen=True)
class Windows:
    """What the search is handed; arrays of length n."""

    time: Array
    """s, middle of each window."""
    heel: Array
    """rad."""
    arm: Array
    """m, moment over displacement."""
    rise: Array
    """m, vertical moment over displacement."""
    covariance: Array
    """(n, n) rad2 of heel, without anything that moves all windows alike."""
    arm_covariance: Array
    """(n, n) m2 of the arms."""
    dof: float
    """Degrees of freedom behind ``covariance``."""
    may_go: NDArray[np.bool_]
    """Windows that may be left out; a window that a person keeps may not."""
    hint_held: Array
    """Log odds from other evidence (shorter roll period, line tension) that the window was held; 0 knows nothing."""
    hint_other: Array
    """Log odds from other evidence that the window was shifted otherwise."""
    moved: Array
    """Probability that a clean window looks as much as if people moved in it; 1 where nothing was asked."""
    zero_u: float = 0.0
    """rad, of the zero that all heels share."""
    list_u: Array = field(default_factory=lambda: np.zeros(0))
    """(n,) rad, of a change of list by what of it had come in each window; zeros, or empty, where there was none."""
    presumed: float = 0.0
    """rad2 of scatter that every window is presumed to have, besides ``covariance``, while sets of them are weighed."""

    @property
    def law_dof(self) -> float:
        """Degrees of freedom as Student's law takes them."""
        return min(max(self.dof, 1.0), 1e6)

    @property
    def weighing(self) -> Array:
        """(n, n) rad2, ``loose`` with the shared zero."""
        return self.loose + self.zero_u**2

    @property
    def loose(self) -> Array:
        """(n, n) rad2, ``covariance`` with a change of list and presumed scatter."""
        return np.asarray(self.covariance + self.of_list + self.presumed * np.eye(self.heel.size))

    @property
    def of_list(self) -> Array:
        """(n, n) rad2 of a change of list."""
        return np.outer(self.list_u, self.list_u) if self.list_u.size else np.zeros_like(self.covariance)

    def middle_variance(self, stiffness: Array) -> float:
        """rad2, that of the middle window by itself, moments included; ``stiffness`` (n,) m/rad."""
        return float(np.median(np.diag(self.covariance) + np.diag(self.arm_covariance) / stiffness**2))

    def part(self, keep: NDArray[np.bool_]) -> Windows:
        """Return the windows of ``keep`` alone."""
        square = np.ix_(keep, keep)
        return Windows(
            self.time[keep],
            self.heel[keep],
            self.arm[keep],
            self.rise[keep],
            self.covariance[square],
            self.arm_covariance[square],
            self.dof,
            self.may_go[keep],
            self.hint_held[keep],
            self.hint_other[keep],
            self.moved[keep],
            self.zero_u,
            self.list_u[keep] if self.list_u.size else self.list_u,
            self.presumed,
        )


@dataclass(frozen=True)
class Excluded:
    """One window that does not agree with the others."""

    index: int
    shift: float
    """rad, its heel minus the curve through the others."""
    shift_u: float
    """rad, standard uncertainty of ``shift``."""
    held: float
    """Probability that it was held (rather than shifted by anything else), given that it is left out."""
    limit: float
    """On ``|shift| / shift_u``: of the largest of all, or lower where people seem to have moved in it."""


@dataclass(frozen=True)
class Scatter:
    """A variance that every window has besides its own."""

    variances: Array
    """(m,) rad2, those that were tried."""
    share: Array
    """(m,) what is thought of each once the windows were seen; sums to 1."""
    ratio: float
    """Factor by which it widens the windows' uncertainties."""
    log_odds: float
    """Log likelihood of the windows with scatter (of unknown size) over that without."""

    @property
    def variance(self) -> float:
        """rad2, on average."""
        return float(self.share @ self.variances)


NONE = Scatter(np.zeros(1), np.ones(1), 1.0, float("-inf"))


@dataclass(frozen=True)
class Consensus:
    """The set of windows that agree, and how sure that choice is."""

    used: NDArray[np.bool_]
    fit: CurveFit
    """Of the used windows."""
    excluded: tuple[Excluded, ...]
    consistent: bool
    """False if no set within reach agreed; the scatter then stands for what is not understood."""
    chi2: float
    """Of the used windows, with their own covariance and that of the moments."""
    scatter: Scatter
    """What the windows used scatter beyond their own intervals."""
    selection_u: float
    """m, standard uncertainty of GM from not knowing for certain which windows to leave out."""
    restraint: str
    """One of `PRIOR_RESTRAINT`: what the windows say about a restraint."""
    shift: Array
    """(n,) each window's heel minus the curve through the used others, rad."""
    shift_u: Array
    """(n,) rad."""
    largest_limit: float
    """Limit on |shift| / shift_u of a clean window."""
    bend: Bend | None = None
    """Beyond the hull's own, that lays all windows on one curve; None where none was needed."""
    list_change: ListChange | None = None
    """None where none was needed."""

    def restrains(self, side: float, shift: float) -> bool:
        """Whether what held the other windows would shift a window on this side of heel (+1 starboard) that way."""
        if self.restraint == "free":
            return False
        if self.restraint.startswith("line"):
            return (shift < 0) == (self.restraint == "line to port")
        return side * shift < 0 and (self.restraint == "both" or (side > 0) == (self.restraint == "starboard"))
