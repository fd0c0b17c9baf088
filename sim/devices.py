"""Devices of a synthetic day: what each one truly does to what it measures."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from config.model import Name, NotNegative, Point, Positive, Table


class _Sampled(Table):
    """What every electronic device has: a rate that is not quite nominal, a clock, a way to the logger."""

    name: Name
    rate_hz: Positive = 10.0
    rate_error_ppm: float = 0.0
    jitter_ms: NotNegative = 2.0
    """Standard deviation of the moment of sampling."""
    latency_ms: NotNegative = 15.0
    """Mean time from sampling to arrival; its tail is exponential."""
    dropout: NotNegative = 0.0
    """Fraction of samples never sent."""
    duplicate: NotNegative = 0.0
    """Fraction of samples sent twice."""
    spike: NotNegative = 0.0
    """Fraction of samples that are spikes."""
    stamps: bool = False
    """Sends its own time."""
    clock_offset_s: float = 0.0
    clock_drift_ppm: float = 0.0


class Tilt(_Sampled):
    """An inclinometer: senses the direction of apparent gravity, so it feels acceleration."""

    type: Literal["tilt"] = "tilt"
    at_m: Point
    trim: bool = False
    """Gives trim as well."""
    noise_deg: NotNegative = 0.004
    resolution_deg: NotNegative = 0.001
    zero_deg: float = 0.0
    drift_deg_per_h: float = 0.0
    """Linear drift of the zero."""
    wander_deg: NotNegative = 0.0
    """Random walk of the zero: standard deviation after one hour."""
    temperature_deg_per_c: float = 0.0
    scale: Positive = 1.0
    """Indicated angle divided by true angle."""
    yaw_deg: float = 0.0
    """The mounting turned clockwise seen from above: mixes trim in."""
    lag_s: NotNegative = 0.05
    range_deg: Positive = 30.0


class Anemometer(_Sampled):
    """A mast anemometer; direction is where the wind comes from, clockwise from the bow."""

    type: Literal["anemometer"] = "anemometer"
    rate_hz: Positive = 1.0
    noise_m_s: NotNegative = 0.05
    noise_deg: NotNegative = 2.0
    resolution_m_s: NotNegative = 0.1
    resolution_deg: NotNegative = 1.0
    lag_s: NotNegative = 0.5
    scale: Positive = 1.0


class LoadCell(_Sampled):
    """A load cell in a mooring line."""

    type: Literal["load_cell"] = "load_cell"
    rate_hz: Positive = 2.0
    line: str
    noise_kn: NotNegative = 0.02
    resolution_kn: NotNegative = 0.01
    zero_kn: float = 0.0


class Pendulum(Table):
    """A plumb line with its bob in an oil trough, read by a person once a window."""

    type: Literal["pendulum"] = "pendulum"
    name: Name
    at_m: Point
    """Point of suspension."""
    length_m: Positive
    oil_damping: Positive = 0.25
    """Fraction of critical."""
    reading_mm: NotNegative = 0.6
    """Standard deviation of what a person makes of one extreme."""
    swings: int = Field(default=5, ge=1)
    """Port and starboard extremes read and averaged."""
    zero_mm: float = 0.0
    scale: Positive = 1.0


Device = Annotated[Tilt | Anemometer | LoadCell | Pendulum, Field(discriminator="type")]
