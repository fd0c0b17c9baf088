"""Is a station fit for the day: rate, noise, gaps, resolution, stuck, sign and trim cross-talk. Pure functions."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from config.stations import Station
from logger.archive.beat import nominal_period
from logger.records import Flag, Quantity, Series, Times, Values
from logger.stations.steady import reading_noise, resolution, steady_mean

CLEAR = 5.0
"""A shift counts as clear when it is so many standard uncertainties."""
TURNED_CAUTION_DEG = 2.0
"""A mounting turned by more is said aloud: 2 degrees are assumed where the plan says nothing."""


@dataclass(frozen=True)
class ChannelCheck:
    """What a stretch of readings says about one channel; values in its unit."""

    station: str
    quantity: Quantity
    unit: str
    readings: int
    seconds: float
    rate_hz: float
    """True mean rate while it sent; NaN where there is no beat."""
    planned_hz: float
    """Rate the plan expects; NaN if it does not say."""
    mean: float
    noise: float
    """Standard deviation of one reading about the slow motion."""
    resolution: float
    """Quantisation step; NaN where it is finer than the noise lets see."""
    gaps: int
    """Silences longer than the station's ``silence_s`` or five beats, whichever is longer."""
    longest_gap_s: float
    stuck_s: float
    """Longest time during which the value did not change, beyond what its resolution explains; 0 if none."""
    suspect: int
    """Readings that the device or the logger flagged."""
    problems: tuple[str, ...]
    """What a technician should see to, as sentences; empty if all is well."""


def check_channel(series: Series, station: Station | None = None) -> ChannelCheck:
    """Look over a few seconds to minutes of one channel.

    Parameters
    ----------
    series : times as they arrived or repaired.
    station : from the plan, for what to expect; None for no expectations.
    """
    time, value = series.time_ns, series.value
    period = nominal_period(time) / 1e9
    seconds = float(time[-1] - time[0]) / 1e9 if time.size > 1 else 0.0
    silence = max(station.silence_s if station else 2.0, 5.0 * period)
    steps = np.diff(time) / 1e9
    planned = station.rate_hz if station and station.rate_hz else math.nan
    rate = 1.0 / period if period > 0 else math.nan
    found = ChannelCheck(
        station=series.station,
        quantity=series.quantity,
        unit=series.unit,
        readings=len(series),
        seconds=seconds,
        rate_hz=rate,
        planned_hz=planned,
        mean=float(np.mean(value[np.isfinite(value)])) if np.isfinite(value).any() else math.nan,
        noise=reading_noise(value[np.isfinite(value)]),
        resolution=resolution(value),
        gaps=int((steps > silence).sum()),
        longest_gap_s=float(steps.max(initial=0.0)),
        stuck_s=_stuck(time, value),
        suspect=int((series.flags & int(Flag.SUSPECT | Flag.SATURATED) != 0).sum() + (~np.isfinite(value)).sum()),
        problems=(),
    )
    return _with_problems(found, station)


def _stuck(time: Times, value: Values) -> float:
    """Longest run of one value, if neither chance nor a coarse converter explains it, s.

    By chance: readings repeat with the share ``p`` seen outside that run, so a run of length L is expected about n p^L
    times; fewer than one in a thousand such stretches would show it. A coarse converter stands still at each turn of
    the roll, so the run must also be three times as long as is usual among the next longest ones.
    """
    if value.size < 10:
        return 0.0
    changes = np.flatnonzero(np.diff(value) != 0)
    bounds = np.concatenate([[-1], changes, [value.size - 1]])
    lengths = np.diff(bounds)
    longest = int(np.argmax(lengths))
    length = int(lengths[longest])
    first, last = int(bounds[longest]) + 1, int(bounds[longest + 1])
    outside = value.size - length
    repeats = outside - (lengths.size - 1)
    share = (repeats + 1.0) / (outside + 2.0) if outside > 0 else 0.5
    by_chance = math.log(value.size) + (length - 1) * math.log(min(share, 0.999)) > math.log(1e-3)
    usual = float(np.median(np.sort(lengths)[-20:-1])) if lengths.size > 2 else 1.0
    if length < 10 or by_chance or length < 3.0 * usual:
        return 0.0
    return float(time[last] - time[first]) / 1e9


def _with_problems(found: ChannelCheck, station: Station | None) -> ChannelCheck:
    name, unit = f"{found.station}, {found.quantity}", found.unit
    problems = []
    if not found.readings:
        problems.append(f"{name}: nothing came")
    if found.gaps:
        problems.append(f"{name}: silent {found.gaps} times, longest {found.longest_gap_s:.1f} s")
    if abs(found.rate_hz / found.planned_hz - 1.0) > 0.1:
        problems.append(f"{name}: {found.rate_hz:.3g} Hz where the plan says {found.planned_hz:g} Hz")
    if found.stuck_s:
        problems.append(f"{name}: stood at one value for {found.stuck_s:.1f} s")
    if found.suspect:
        problems.append(f"{name}: {found.suspect} of {found.readings} readings are marked suspect or are no number")
    known = station.calibration.noise_deg if station else None
    if known and found.quantity in (Quantity.HEEL, Quantity.TRIM) and found.noise > 3.0 * known:
        problems.append(f"{name}: noise of {found.noise:.3g} {unit}, on the bench it was {known:g}")
    limit = station.calibration.range_deg if station else None
    if limit and abs(found.mean) > 0.9 * limit:
        problems.append(f"{name}: stands at {found.mean:.3g} {unit}, near the end of its range of {limit:g}")
    return ChannelCheck(**{**found.__dict__, "problems": tuple(problems)})


@dataclass(frozen=True)
class SignCheck:
    """Which sign came when one side was pressed down."""

    station: str
    quantity: Quantity
    pressed: Literal["starboard", "stern"]
    shift: float
    """Mean while pressed minus mean at rest, in the channel's unit."""
    u: float
    right: bool | None
    """True: positive as it must be; False: the sign is wrong; None: too small to tell."""
    says: str


def check_sign(rest: Series, pressed: Series) -> SignCheck:
    """Tell which sign came when the starboard side (heel) or the stern (trim) was pressed or tilted down.

    Parameters
    ----------
    rest : the channel while left alone.
    pressed : the same channel while the side is held down.
    """
    before, during = steady_mean(rest.value), steady_mean(pressed.value)
    shift, u = during.value - before.value, math.hypot(before.u, during.u)
    side: Literal["starboard", "stern"] = "stern" if rest.quantity is Quantity.TRIM else "starboard"
    wrong = "bow" if side == "stern" else "port"
    step = resolution(np.concatenate([rest.value, pressed.value]))
    floor = max(CLEAR * u, 3.0 * step if math.isfinite(step) else 0.0)
    name = f"{rest.station}, {rest.quantity}"
    if not abs(shift) > floor:
        says = f"{name}: moved by {shift:+.3g} {rest.unit} only; press harder or tilt further"
        return SignCheck(rest.station, rest.quantity, side, shift, u, None, says)
    right = shift > 0
    says = f"{name}: {side} down came as {shift:+.3g} {rest.unit}: " + (
        "right"
        if right
        else f'wrong way round; turn its positive to "{wrong}" (or back) in plan.toml, or turn the sensor'
    )
    return SignCheck(rest.station, rest.quantity, side, shift, u, right, says)


@dataclass(frozen=True)
class CrossTalk:
    """How far a pure heel shows in the trim channel of the same station."""

    station: str
    turned_deg: float
    """Angle by which the mounting is turned about the vertical; positive clockwise from above (see Notes)."""
    u_deg: float
    says: str


def cross_talk(heel_rest: Series, heel_pressed: Series, trim_rest: Series, trim_pressed: Series) -> CrossTalk:
    """Find how far a two-axis sensor is turned, from a tilt to starboard about the fore and aft line alone.

    Notes
    -----
    A sensor turned by psi reads heel' = cos(psi) heel + sin(psi) trim and trim' = cos(psi) trim - sin(psi) heel
    (small angles; rotation of the axes about the vertical). A pure heel H gives heel' = H cos(psi) and
    trim' = -H sin(psi), hence tan(psi) = -trim' / heel'. In a window a turned sensor mixes sin(psi) times the change
    of trim into heel, and loses 1 - cos(psi) of it: 0.06 % at 2 degrees.
    """
    heel = steady_mean(heel_pressed.value).value - steady_mean(heel_rest.value).value
    trim = steady_mean(trim_pressed.value).value - steady_mean(trim_rest.value).value
    u = math.hypot(steady_mean(trim_pressed.value).u, steady_mean(trim_rest.value).u)
    turned = math.degrees(math.atan2(-trim, abs(heel)) if heel >= 0 else math.atan2(trim, abs(heel)))
    doubt = math.degrees(u / abs(heel)) if heel else math.inf
    name = heel_rest.station
    if not doubt < TURNED_CAUTION_DEG:
        says = f"{name}: tilted too little to see whether it is turned"
    elif abs(turned) > TURNED_CAUTION_DEG + 2.0 * doubt:
        says = (
            f"{name}: turned by {turned:+.1f} deg: a pure heel shows {abs(trim / heel):.1%} of itself as trim; align it"
        )
    else:
        says = f"{name}: aligned to {turned:+.1f} deg, give or take {2 * doubt:.1f}"
    return CrossTalk(name, turned, doubt, says)
