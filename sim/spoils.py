"""Everything that can go wrong on a synthetic day, each with its time: within a named window, or at a time of day."""

from __future__ import annotations

from typing import Literal

from config.model import NotNegative, Point, Positive, Table

FOR_GOOD = 1e9
"""s: longer than any day."""


class _When(Table):
    """``after_s`` counts from the opening of ``window``; without a window, from the start of the day."""

    window: str = ""
    after_s: float = 0.0


class Walk(_When):
    """A person leaves his muster station and walks."""

    type: Literal["walk"] = "walk"
    person: str
    to_m: Point
    speed_m_s: Positive = 0.9
    stay_s: NotNegative = FOR_GOOD
    """Then he walks back; without it he stays until the window is closed."""


class TautLine(_When):
    """A line loses its slack for a while: from ``lead_s`` before the window opens until it has closed."""

    type: Literal["taut"] = "taut"
    line: str
    slack_m: float
    lead_s: NotNegative = 60.0
    for_s: Positive | None = None
    """Left out: until 20 s after the window closes."""


class EarlyWindow(_When):
    """The window is opened too soon after the last landing."""

    type: Literal["early"] = "early"
    settle_s: NotNegative = 5.0


class Squall(_When):
    """Wind rises, stays and dies down, and may veer."""

    type: Literal["squall"] = "squall"
    gain_m_s: float
    veer_deg: float = 0.0
    rise_s: Positive = 10.0
    for_s: Positive = 60.0


class PassingVessel(_When):
    """A wave group of a passing vessel."""

    type: Literal["passing"] = "passing"
    slope_deg: Positive
    """Largest effective wave slope."""
    period_s: Positive = 5.0
    waves: Positive = 8.0
    """Number of waves within the group (between the points of 5 % height)."""


class Wash(_When):
    """Tug or propeller wash: irregular heeling for a while."""

    type: Literal["wash"] = "wash"
    slope_deg: Positive
    """Standard deviation of effective wave slope."""
    period_s: Positive = 7.0
    for_s: Positive = 40.0


class Tug(_When):
    """A tug pulls or pushes and then draws off."""

    type: Literal["tug"] = "tug"
    force_kn: float
    """To starboard positive."""
    height_m: float = 4.0
    """Above the baseline."""
    for_s: Positive = 120.0
    ramp_s: Positive = 8.0


class CraneNotStowed(_When):
    """The vessel's crane is left off its rest in this window."""

    type: Literal["crane_not_stowed"] = "crane_not_stowed"
    moment_tm: float


class WrongWeight(_When):
    """In the movement of this window another weight is moved than the one called out; it is put right afterwards."""

    type: Literal["wrong_weight"] = "wrong_weight"
    called: str
    moved: str


class SensorFault(_When):
    """A device fails for a while."""

    type: Literal["sensor"] = "sensor"
    station: str
    fault: Literal["stuck", "dropout", "spikes", "noise", "step", "saturated"]
    for_s: Positive = 60.0
    size: float = 1.0
    """Step and spikes in the device's unit (deg, m/s, kN), noise as a factor, saturation limit in the unit."""


class Unconfirmed(_When):
    """One of the confirmations of this window is never given."""

    type: Literal["unconfirmed"] = "unconfirmed"
    what: Literal["lines", "muster", "crane", "clear", "quiet"] = "lines"


Spoil = (
    Walk
    | TautLine
    | EarlyWindow
    | Squall
    | PassingVessel
    | Wash
    | Tug
    | CraneNotStowed
    | WrongWeight
    | SensorFault
    | Unconfirmed
)
