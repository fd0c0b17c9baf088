"""Every station in one line each: what it reads and how it does."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from config.plan import Plan
from config.stations import Station
from config.units import DEGREE
from logger.marks import MarkedWindow
from logger.records import Quantity
from quietheel.page.pulse import Beatings, Pulse
from quietheel.page.source import LoggerState, StationCount
from quietheel.page.strip import STEP, Lane
from quietheel.page.words import clock_of, heel_words, number_or_none, span_words

SLOW = 0.8
"""A station below this part of its nominal rate is ill."""
STUCK_S = 15.0
"""A heel that has not changed in its last digit for so long is ill: a vessel afloat always moves."""
MANY_SUSPECT = 0.05

Pulses = Mapping[tuple[str, Quantity], Pulse]


def pulse_of(station: Station, quantity: Quantity) -> Pulse:
    """Follow one channel; zero and scale of the plan count for heel and trim only."""
    if quantity not in (Quantity.HEEL, Quantity.TRIM):
        return Pulse(station.name, quantity)
    return Pulse(station.name, quantity, station.calibration.zero_deg, station.calibration.scale)


def lanes(plan: Plan) -> list[Lane]:
    """Channels drawn on the paper roll, heel first."""
    found = [
        Lane(station.name, Quantity(channel.quantity))
        for station in plan.stations
        if not _hand_read(station)
        for channel in station.channels
        if Quantity(channel.quantity) in STEP and channel.quantity != "trim"
    ]
    order = [Quantity.HEEL, Quantity.WIND_SPEED, Quantity.LINE_TENSION]
    return sorted(found, key=lambda lane: order.index(lane.quantity))


def stations_section(
    plan: Plan, pulses: Pulses, logger: LoggerState, windows: Sequence[MarkedWindow], now_ns: int
) -> list[dict[str, Any]]:
    """One entry a station: ``name``, ``now_deg`` (heel; None where silent), ``reads``, ``says``, ``ill``."""
    by_hand = {
        name: (heel / DEGREE, window.label)
        for window in windows
        if not window.voided
        for name, heel, _ in window.hand_readings
    }
    return [
        _by_hand(station.name, by_hand.get(station.name))
        if _hand_read(station)
        else _station(plan, station, pulses, logger.counts.get(station.name), now_ns)
        for station in plan.stations
    ]


def _hand_read(station: Station) -> bool:
    """Whether people read it; the stations of an imported record have no source either, but readings of their own."""
    return station.source.type == "manual" and station.kind in ("pendulum", "u_tube")


def _by_hand(name: str, last: tuple[float, str] | None) -> dict[str, Any]:
    reads, says = (heel_words(last[0]), f"read by hand in window {last[1]}") if last else ("", "read by hand")
    return {"name": name, "now_deg": None, "reads": reads, "says": says, "ill": False}


def _station(plan: Plan, station: Station, pulses: Pulses, counted: StationCount | None, now_ns: int) -> dict[str, Any]:
    beats = {
        Quantity(channel.quantity): pulses[station.name, Quantity(channel.quantity)].at(now_ns)
        for channel in station.channels
        if (station.name, Quantity(channel.quantity)) in pulses
    }
    if not beats:
        return {"name": station.name, "now_deg": None, "reads": "", "says": "gives no quantity", "ill": True}
    quantity, main = next(iter(beats.items()))
    trouble = _trouble(station, quantity, main, plan.test.utc_offset_h)
    says = trouble or _well(station, quantity, main, beats)
    if trouble and counted is not None and counted.said:
        says = f"{trouble}; {counted.said}"
    fresh = main.silent_s <= station.silence_s
    return {
        "name": station.name,
        "now_deg": number_or_none(round(main.value, 4)) if quantity is Quantity.HEEL and fresh else None,
        "reads": _reads(quantity, main) if fresh else "–",
        "says": says,
        "ill": bool(trouble),
    }


def _reads(quantity: Quantity, beats: Beatings) -> str:
    mean = beats.mean
    if math.isnan(mean):
        return "–"
    if quantity is Quantity.HEEL:
        return heel_words(mean)
    if quantity is Quantity.TRIM:
        return f"{abs(mean):.3f}° {'stern' if mean >= 0 else 'bow'}"
    if quantity is Quantity.WIND_SPEED:
        return f"{mean:.1f} m/s"
    if quantity is Quantity.LINE_TENSION:
        return f"{mean:.2f} kN"
    if quantity is Quantity.TEMPERATURE:
        return f"{mean:.1f} °C"
    return f"{mean:.3g}"


def _trouble(station: Station, quantity: Quantity, beats: Beatings, hours: float) -> str:
    if math.isinf(beats.silent_s):
        return "no reading yet"
    if beats.silent_s > station.silence_s:
        return f"silent for {span_words(beats.silent_s)}, last reading at {clock_of(beats.last_ns / 1e6, hours)}"
    if station.rate_hz and beats.rate_hz < SLOW * station.rate_hz:
        return f"slow: {beats.rate_hz:.1f} Hz of {station.rate_hz:g}"
    if quantity is Quantity.HEEL and beats.repeated_s > STUCK_S:
        return f"stuck: the same value for {span_words(beats.repeated_s)}"
    if beats.suspect > MANY_SUSPECT:
        return f"{100 * beats.suspect:.0f} % of its readings marked as suspect"
    return ""


def _well(station: Station, quantity: Quantity, beats: Beatings, others: Mapping[Quantity, Beatings]) -> str:
    if quantity is Quantity.WIND_SPEED:
        gusts = f"gusts to {beats.highest:.1f} m/s"
        direction = others.get(Quantity.WIND_DIRECTION)
        if direction is None or math.isnan(direction.value):
            return gusts
        return f"{gusts} from {_bearing(direction.value, station.direction_reference)}"
    if quantity is Quantity.LINE_TENSION:
        line = f"{station.mooring_line}: " if station.mooring_line else ""
        return f"{line}up to {beats.highest:.2f} kN in 10 s"
    return f"{beats.rate_hz:.1f} Hz"


def _bearing(degrees: float, reference: str) -> str:
    if reference == "north":
        return f"{degrees % 360:.0f}°"
    side = (degrees + 180.0) % 360.0 - 180.0
    if abs(side) < 5:
        return "ahead"
    if abs(side) > 175:
        return "astern"
    return f"{abs(side):.0f}° to {'starboard' if side > 0 else 'port'} of the bow"


def kit_section(plan: Plan, logger: LoggerState) -> list[dict[str, Any]]:
    """Facts about the recording: run, disk, clock, messages that were no reading."""
    facts = [{"what": "Run", "says": logger.says or "nothing is being recorded", "ill": not logger.recording}]
    if logger.disk_hours is not None and logger.disk_free_gb is not None:
        hours = "more than 99 h" if logger.disk_hours > 99 else f"{logger.disk_hours:.0f} h"
        facts.append(
            {"what": "Disk", "says": f"room for {hours} ({logger.disk_free_gb:.1f} GB)", "ill": logger.disk_hours < 4}
        )
    if logger.clock:
        facts.append({"what": "Clock", "says": logger.clock, "ill": not logger.clock_well})
    garbage = [
        f"{s.name} {logger.counts[s.name].garbage}"
        for s in plan.stations
        if s.name in logger.counts and logger.counts[s.name].garbage
    ]
    if logger.counts:
        facts.append({"what": "No readings", "says": ", ".join(garbage) or "none", "ill": False})
    return facts
