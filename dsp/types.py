"""The values that flow through dsp: traces in, the mean heel of each window out.

Angles in radians, time in seconds since the day's epoch (``epoch_ns``, UTC), heel positive starboard side down.
All ``u`` are standard uncertainties (one sigma) and in the unit of their quantity.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Literal, Protocol

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Verdict = Literal["fine", "caution", "rejected"]


@dataclass(frozen=True)
class StationKnowledge:
    """What is known beforehand about one heel station. NaN means not known, and a default widens the interval."""

    name: str
    scale_u: float = float("nan")
    """Relative standard uncertainty of scale."""
    drift_u: float = float("nan")
    """rad/s, standard uncertainty of a linear drift of the zero."""
    yaw_u: float = float("nan")
    """rad, standard uncertainty of the mounting's yaw (trim cross-talk)."""
    zero_u: float = float("nan")
    """rad, standard uncertainty of the zero after calibration; matters for list, not for GM."""
    noise: float = float("nan")
    """rad, standard deviation of one reading on a still bench."""
    range: float = float("inf")
    """rad, clips at plus and minus this."""
    hand_read: bool = False
    """A pendulum or U-tube read by a person: one value per window, not a trace."""


@dataclass(frozen=True)
class Trace:
    """One channel as it came: irregular samples, signs and scale corrected, nothing removed."""

    station: str
    time: Array
    """(n,) s since the epoch, strictly increasing."""
    value: Array
    """(n,) rad for heel and trim, m/s for wind speed, N for tension; no NaN."""
    suspect: NDArray[np.bool_] = field(default_factory=lambda: np.zeros(0, dtype=bool))
    """(n,) flagged by the device or the logger; empty means none."""
    count: Array = field(default_factory=lambda: np.zeros(0))
    """(n,) readings of which each value is the mean, as outside the windows of a long day; empty means one each."""


@dataclass(frozen=True)
class Wind:
    """Wind at one mast."""

    time: Array
    """(n,) s since the epoch."""
    speed: Array
    """(n,) m/s."""
    direction: Array | None = None
    """(n,) rad clockwise from the bow, where it comes from; None where it is not measured."""


@dataclass(frozen=True)
class WindowSpan:
    """One settled window as marked: from when to when, in which state of the weights, with what was confirmed."""

    label: str
    start: float
    """s since the epoch."""
    stop: float
    """s since the epoch."""
    moved_at: float = float("nan")
    """s since the epoch: when the last weight of this state came to rest, if marked."""
    confirmed: frozenset[str] = frozenset()
    """``lines``, ``muster``, ``crane``, ``clear``, ``quiet``, as marked."""
    expected_confirmations: frozenset[str] = frozenset()
    """What should have been confirmed; empty for an imported record, where nobody was asked."""
    group: str = ""
    """State of the weights; windows of one state share a group. Empty: each window its own."""
    hand_readings: tuple[tuple[str, float, float], ...] = ()
    """(station, heel rad, u rad) read by a person in this window."""


@dataclass(frozen=True)
class Day:
    """Everything the mathematics is handed for one test day."""

    epoch_ns: int
    heel: tuple[Trace, ...]
    windows: tuple[WindowSpan, ...]
    knowledge: tuple[StationKnowledge, ...] = ()
    trim: tuple[Trace, ...] = ()
    wind: Wind | None = None
    tension: tuple[Trace, ...] = ()
    left_out: tuple[str, ...] = ()
    """Heel stations that a person took out: their traces are not here any more, and the answer says so."""
    roll_between: tuple[float, float] | None = None
    """s, between which the natural roll period lies by what is told of the vessel; None where nothing is."""


@dataclass(frozen=True)
class BudgetLine:
    """One source of uncertainty of one value."""

    source: str
    """In the trade's words: ``low-frequency heel``, ``wind``, ``sensor noise``, ``scale``."""
    u: float
    """Standard uncertainty contributed, in the unit of the value."""
    note: str = ""


@dataclass(frozen=True)
class Check:
    """One question asked of a window, with its answer."""

    code: str
    """Short code as in the README: people, taut, transient, burst, wind, drift, slosh, stuck, ..."""
    value: float
    """The statistic, in ``unit``."""
    threshold: float
    """Beyond this it counts; NaN where the check could not be made."""
    unit: str
    false_alarm: float
    """Probability that a clean window goes beyond the threshold."""
    verdict: Verdict
    says: str
    """One sentence a coordinator understands, with the figure."""
    evidence: dict[str, Array] = field(default_factory=dict)
    """Named arrays for a picture: at least ``time`` (s since the epoch) and one curve (rad unless named)."""


@dataclass(frozen=True)
class RollMotion:
    """Natural roll of a window or of the day."""

    period: float
    """s; NaN if no roll can be made out."""
    period_u: float
    damping: float
    """Fraction of critical."""
    damping_u: float
    amplitude: float
    """rad, root mean square times sqrt 2."""


@dataclass(frozen=True)
class RollMethod:
    """Natural roll of the day by one way of looking."""

    method: str
    """``likelihood`` (envelope of all windows), ``decaying cosine`` (fitted window by window) or ``spectrum``."""
    period: float
    """s; NaN if it could not be told."""
    period_u: float
    damping: float
    """Fraction of critical; NaN where the method cannot tell."""
    damping_u: float


@dataclass(frozen=True)
class RollComparison:
    """The day's roll by three methods, held against each other, and whether its period changed."""

    methods: tuple[RollMethod, ...]
    agree: bool
    drift: float
    """s per hour, change of the period through the day; NaN if it cannot be told."""
    drift_u: float
    says: str


@dataclass(frozen=True)
class StationHeel:
    """Mean heel of one window as one station alone gives it."""

    station: str
    heel: float
    """rad; NaN with a ``reason`` if there is none."""
    u: float
    offset: float
    """rad, this station's offset against the combination, common to the day."""
    samples: int
    rate: float
    """Hz, true mean rate inside the window."""
    used: bool
    reason: str = ""


@dataclass(frozen=True)
class WindowHeel:
    """What one window is worth."""

    span: WindowSpan
    heel: float
    """rad, all used stations combined, referred to the day's reference wind; NaN if nothing could be computed."""
    u: float
    """rad, standard uncertainty without the common scale; for the window by itself."""
    dof: float
    """Effective degrees of freedom of ``u``."""
    budget: tuple[BudgetLine, ...]
    """rad."""
    stations: tuple[StationHeel, ...]
    roll: RollMotion
    checks: tuple[Check, ...]
    verdict: Verdict
    reasons: tuple[str, ...]
    """Codes of the checks that made the verdict."""
    wind_correction: float = 0.0
    """rad already taken off ``heel`` to bring it to the reference wind."""


@dataclass(frozen=True)
class DayHeel:
    """All windows of a day, with what ties them together."""

    epoch_ns: int
    windows: tuple[WindowHeel, ...]
    covariance: Array
    """(k, k) rad2 of the window heels: own part, drift, wind coefficient; without the common scale and offset."""
    scale_u: float
    """Relative standard uncertainty of scale common to all windows, stations combined."""
    zero_u: float
    """rad, standard uncertainty of the combination's zero (list); NaN if no zero was calibrated."""
    roll: RollMotion
    """Of the whole day."""
    wind_coefficient: float
    """rad per (m/s)^2 of abeam wind pressure; NaN without wind."""
    wind_coefficient_u: float
    reference_wind: float
    """m/s, the wind to which windows are referred; NaN without wind."""
    spectrum: dict[str, Array]
    """``frequency`` Hz, ``density`` rad2/Hz measured, ``model`` rad2/Hz of the pooled low-frequency and roll model."""
    assumptions: tuple[str, ...]
    """What had to be assumed, one sentence each."""
    dof: float = float("inf")
    """Effective degrees of freedom of the variance that ``covariance`` gives to a slope of the heels (`dsp.joint`)."""
    marks: tuple[StationMarks, ...] = ()
    """What was marked in each station's record over the whole day."""
    roll_comparison: RollComparison | None = None
    """None where no roll can be made out."""


@dataclass(frozen=True)
class StationMarks:
    """What was marked in one station's trace; nothing is removed, each mask says what a sample is."""

    station: str
    spike: NDArray[np.bool_]
    """(n,) single samples far off their neighbours."""
    stuck: NDArray[np.bool_]
    """(n,) runs of one and the same value, longer than motion and resolution explain."""
    saturated: NDArray[np.bool_]
    """(n,) at the end of the range."""
    suspect: NDArray[np.bool_]
    """(n,) flagged by device or logger, or not a number."""
    gaps: tuple[tuple[float, float], ...]
    """(from, to) s since the epoch, silent for longer than the rate explains."""
    rate: float
    """Hz, median true rate."""
    noise: float
    """rad, standard deviation of one reading about the smooth motion."""
    resolution: float
    """rad, smallest step between different readings; 0 where none can be made out."""
    apart: NDArray[np.bool_] = field(default_factory=lambda: np.zeros(0, dtype=bool))
    """(n,) where the station does not follow the others; empty means nowhere."""

    @property
    def good(self) -> NDArray[np.bool_]:
        """(n,) samples that may enter a fit."""
        bad = self.spike | self.stuck | self.saturated | self.suspect
        return np.asarray(~(bad | self.apart if self.apart.size else bad), dtype=np.bool_)


class Motion(Protocol):
    """What a window's motion is like: the model that whitens it."""

    def covariance(self, lag: Array) -> Array:
        """Return the autocovariance (rad2) at ``lag`` (s): low-frequency heel and roll, without white noise."""
        ...

    def spectrum(self, frequency: Array) -> Array:
        """Return the one-sided spectral density (rad2/Hz) at ``frequency`` (Hz), without white noise."""
        ...

    @property
    def white(self) -> float:
        """Variance (rad2) of the white part of one bin of the grid: sensor noise after averaging."""
        ...


@dataclass(frozen=True)
class WindowEvidence:
    """Everything a check may look at for one window. Arrays of length n are on the window's even grid."""

    span: WindowSpan
    time: Array
    """(n,) s since the epoch, bin centres; bins without any sample are left out, so steps may be uneven."""
    step: float
    """s, width of a bin."""
    heel: Array
    """(n,) rad, stations combined, the window's mean and wind part not removed; subtract ``mean`` to centre it."""
    mean: float
    """rad, generalised least squares mean, before the wind correction."""
    mean_u: float
    """rad, standard uncertainty of ``mean`` from motion and noise."""
    low: Array
    """(n,) rad, ``heel`` minus mean, wind part and fitted roll: low-frequency heel and noise."""
    roll: Array
    """(n,) rad, fitted roll, transient included."""
    transient: Array
    """(n,) rad, the decaying transient alone (part of ``roll``)."""
    wind_part: Array
    """(n,) rad, wind coefficient times (abeam pressure - reference); zeros without wind."""
    whitened: Array
    """(n,) residual of the whole model (mean, wind) whitened with the model covariance: unit variance if it holds."""
    covariance: Array
    """(n, n) rad2, model covariance of ``heel`` about its mean with this window's amplitudes, white noise included."""
    low_covariance: Array
    """(n, n) rad2, the part of it that is slower than the roll, and noise: what grows with a restless window."""
    motion: Motion
    """The model of this window (the day's shape, this window's amplitudes)."""
    low_scale: float
    """Variance of this window's low-frequency heel over the day's, by itself, before shrinkage; 1 is usual."""
    low_scale_dof: float
    """Degrees of freedom of ``low_scale``."""
    window_roll: RollMotion
    day_roll: RollMotion
    traces: tuple[Trace, ...]
    """Heel stations inside the window, raw."""
    marks: tuple[StationMarks, ...]
    """For each of ``traces``, cut to the window."""
    station_residual: dict[str, Array]
    """Station -> (n,) rad, bin means of that station minus the combination after alignment; NaN where it is silent."""
    station_difference: dict[str, tuple[float, float]]
    """Station -> (rad, u rad): its window mean minus the combination, after the day's offset, scale, drift."""
    tension: tuple[Trace, ...]
    """Tension inside the window, N."""
    tension_day: tuple[Trace, ...]
    """Tension of the whole day, N."""
    wind_speed: Array | None
    """(n,) m/s bin means; None without wind."""
    wind_pressure: Array | None
    """(n,) (m/s)^2 abeam, low-passed as in the fit; None without wind."""
    wind_coefficient: float
    """rad per (m/s)^2; NaN without wind."""
    wind_coefficient_u: float
    knowledge: tuple[StationKnowledge, ...]
    dof: float = float("inf")
    """Effective degrees of freedom of ``covariance``: those of the window's ``WindowHeel.dof``."""
    unsure: Callable[[Array], float] | None = None
    """(n,) weights of the window's bins that give unit variance -> relative variance of that variance, since the day's
    spectrum is known only as well as its record tells; None where it is known."""
    shared_dof: float = float("inf")
    """How alike the windows' low-frequency amplitudes are: degrees of freedom by which each is drawn to the day's."""
    day_scale: Array = field(default_factory=lambda: np.zeros(0))
    """(m,) variances of low-frequency heel over the day's, by themselves, of the stretches that taught the model."""
    day_scale_dof: Array = field(default_factory=lambda: np.zeros(0))
    """(m,) degrees of freedom of ``day_scale``."""
    beside_time: Array = field(default_factory=lambda: np.zeros(0))
    """(m,) s since the epoch, bin centres of the window and of the record beside it in which she stands as in it."""
    beside_heel: Array = field(default_factory=lambda: np.zeros(0))
    """(m,) rad, heel there, wind part and the window's mean taken off."""
    led: Callable[[], WindowEvidence | None] | None = None
    """Lays out the window with the record that leads up to it, in which she stands as in it: arrays of length n, mean,
    covariances and strength of slow heel are of both together; None where there is no such record."""
    factor: Array = field(default_factory=lambda: np.zeros((0, 0)))
    """(n, n) lower Cholesky factor of ``covariance``, if it is at hand; it is worked out otherwise."""
    other_push: Array = field(default_factory=lambda: np.zeros(0))
    """(m,) rad2, mean square push of the roll over one period in each of the day's other windows, the strongest packet
    of each left out."""
    other_push_dof: Array = field(default_factory=lambda: np.zeros(0))
    """(m,) degrees of freedom of ``other_push``."""
    other_period: Array = field(default_factory=lambda: np.zeros(0))
    """(m,) s, roll period of each of the day's other windows; NaN where it cannot be told."""
    other_period_u: Array = field(default_factory=lambda: np.zeros(0))
    """(m,) s."""
    other_heel: Array = field(default_factory=lambda: np.zeros(0))
    """(m,) rad, mean heel of each of them."""
