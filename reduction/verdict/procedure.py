"""The day held against published guidance: advice, each with source and status; a person may differ, on record."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from config.plan import Plan
from config.tables import Tables
from config.units import DEGREE
from dsp.types import WindowHeel
from reduction.floating import Case
from reduction.lightship.survey import MISSING_LIMIT, SURPLUS_LIMIT, Survey, aboard_surfaces, outsized, totals
from reduction.moments import Moments, Shift
from reduction.types import Advice, Centre, GmResult, Quantified, Waterline
from reduction.water.tanks import Liquid

DEFLECTION_WANTED = 0.15
"""m, pendulum or U-tube, each side."""
READ, MEMORY, PRACTICE = "read", "from memory", "common practice"


@dataclass(frozen=True)
class Findings:
    """What the checks look at; None where it is not there."""

    plan: Plan
    tables: Tables
    gm: GmResult | None
    moments: Moments | None
    waterline: Waterline | None
    case: Case | None
    lightship: Centre | None
    survey: Survey
    liquids: Sequence[Liquid]
    shifts: Sequence[Shift]
    radius_ratio: Quantified | None = None
    kg: Quantified | None = None
    windows: Sequence[WindowHeel] = ()


def advise(found: Findings) -> tuple[Advice, ...]:
    """Make every check that can be made, and say of the others that they could not be."""
    rows = [
        *_heels(found),
        *_movements(found),
        *_devices(found),
        *_weights(found),
        *_waterline(found),
        *_water(found),
        *_tanks(found),
        *_survey(found),
        *_stiffness(found),
    ]
    reasons = {d.check: f"{d.reason} ({d.by})" for d in found.plan.departures}
    return tuple(replace(row, departure=reasons.get(row.code, "")) for row in rows)


def _heels(found: Findings) -> list[Advice]:
    limits, source = found.plan.limits, "class rules; 2008 IS Code Annex 1, 2.3"
    if found.gm is None:
        return [Advice("heel", "Heel each side could not be checked: no windows.", None, source, READ)]
    heels = np.array([p.heel for p in found.gm.points if math.isfinite(p.heel)]) / DEGREE
    upright = found.gm.list_upright.value / DEGREE
    port, starboard = -float(heels.min(initial=0.0)), float(heels.max(initial=0.0))
    least, most = min(port, starboard), max(port, starboard)
    low, high = limits.heel_min_deg, limits.heel_max_deg
    says = (
        f"Largest heel {port:.2f} deg to port and {starboard:.2f} to starboard; {low:g} to {high:g} each side wanted."
    )
    rows = [Advice("heel", says, low <= least and most <= high, source, READ)]
    if found.waterline is not None:
        upright = found.waterline.list.value / DEGREE
    says = f"Initial heel {upright:+.2f} deg; no more than {limits.initial_heel_deg:g} wanted."
    source = "USCG plan-review guideline as reported (safety4sea.com); 2008 IS Code B 8.2.2"
    rows.append(Advice("initial heel", says, abs(upright) <= limits.initial_heel_deg, source, READ))
    return rows


def _movements(found: Findings) -> list[Advice]:
    source = "2008 IS Code B 8.4.1.2"
    if found.gm is None or found.moments is None:
        return [Advice("movements", "Number of movements could not be checked: no windows.", None, source, READ)]
    points = found.gm.points
    steps = max(len(points) - 1, 0)
    straight = not any(p.verdict == "rejected" for p in points)
    enough = steps >= 8 or (steps >= 6 and straight)
    says = f"{steps} movements after the zero; eight wanted, six if the plot is straight."
    rows = [Advice("movements", says, enough, source, READ)]
    off = [p.label for p in points if p.verdict == "rejected"]
    says = "No window stands off the plot."
    if off:
        verbs = "stands off the plot or is" if len(off) == 1 else "stand off the plot or are"
        named = f"window{'s' if len(off) > 1 else ''} {', '.join(off)}"
        says = f"{len(off)} of {len(points)} windows {verbs} spoilt ({named}); repeat or explain."
    rows.append(Advice("spoilt windows", says, not off, source, READ))
    missed, repeated = found.moments.missed, found.moments.repeated
    says = f"Movements of the plan without a window: {', '.join(missed)}." if missed else "Every movement has a window."
    if repeated:
        says += f" Repeated: {', '.join(repeated)}."
    rows.append(Advice("sequence", says, not missed, source, READ))
    people = [s for s in found.shifts if s.group == "people"]
    says = (
        f"{len(people)} changes of people, taken into the moments; a constant number at fixed places wanted."
        if people
        else "No change of people between windows was marked."
    )
    rows.append(Advice("people", says, not people, "2008 IS Code B 8.2.2.3", READ))
    stowed = {w.span.label for w in found.windows if "crane" in w.span.confirmed}
    for shift in (s for s in found.shifts if s.group == "crane" and stowed.intersection(s.windows)):
        where = ", ".join(label for label in shift.windows if label in stowed)
        says = f"Crane confirmed as stowed in window {where}, and shifts.csv has {shift.what} there: one is wrong."
        rows.append(Advice("crane", says, False, "the day's own record", PRACTICE))
    return rows


def _devices(found: Findings) -> list[Advice]:
    stations = [s for s in found.plan.stations if s.kind in ("inclinometer", "pendulum", "u_tube")]
    hand = [s for s in stations if s.kind != "inclinometer"]
    source = "2008 IS Code Annex 1, 2.4; practice of the USCG as reported"
    rows = []
    if stations:
        number = "1 heel station" if len(stations) == 1 else f"{len(stations)} heel stations"
        says = f"{number}; three recommended, two at least."
        rows.append(Advice("stations", says, len(stations) >= 2, source, MEMORY))
        says = f"Read by hand beside the electronic stations: {len(hand)}, pendulum or U-tube; one wanted."
        rows.append(Advice("hand-read device", says, bool(hand), "2008 IS Code Annex 1, 2.6", MEMORY))
    if found.gm is not None:
        most = min(
            max((p.heel for p in found.gm.points if math.isfinite(p.heel)), default=0.0),
            -min((p.heel for p in found.gm.points if math.isfinite(p.heel)), default=0.0),
        )
        for station in hand:
            if station.length_m is not None:
                deflection = station.length_m * math.tan(max(most, 0.0))
                says = f"{station.name}: {1000 * deflection:.0f} mm each side at the largest heel; 150 mm wanted."
                met = deflection >= DEFLECTION_WANTED
                rows.append(Advice("deflection", says, met, "USCG practice (a naval architect's account)", READ))
    return rows


def _weights(found: Findings) -> list[Advice]:
    if not found.plan.weights:
        return []
    without = [w.name for w in found.plan.weights if not w.certificate]
    says = f"Weights without a certificate: {', '.join(without)}." if without else "Every weight has a certificate."
    return [Advice("certificates", says, not without, "2008 IS Code B 7.2.1", READ)]


def _waterline(found: Findings) -> list[Advice]:
    readings, source = "2008 IS Code B 8.4.1.1", "USCG plan-review guideline as reported; class rules"
    rows = found.tables.waterline or ()
    if not rows or found.waterline is None:
        says = "Draughts and freeboards could not be checked: none are in the folder."
        return [Advice("waterline readings", says, None, readings, READ)]
    port, starboard = sum(r.y_m < 0 for r in rows), sum(r.y_m > 0 for r in rows)
    marks = {(round(2 * r.x_m / (found.plan.vessel.length_m or 1.0)), r.y_m > 0) for r in rows if r.kind == "draught"}
    all_marks = len(marks) >= 6
    says = (
        f"{port} readings to port and {starboard} to starboard; five freeboards each side, or all marks forward, "
        "amidships and aft on both sides wanted."
    )
    found_rows = [Advice("waterline readings", says, min(port, starboard) >= 5 or all_marks, readings, READ)]
    misread = [r.label for r in found.waterline.readings if not r.used]
    says = (
        f"Readings left out as misread: {', '.join(misread)}; read them again."
        if misread
        else "No reading looks misread."
    )
    found_rows.append(Advice("misread", says, not misread, "least squares of all readings", PRACTICE))
    length = found.plan.vessel.length_m
    if length:
        percent = 100.0 * abs(found.waterline.trim.value) / length
        limit = found.plan.limits.trim_percent
        at_trim = (
            found.case is not None
            and found.case.floating is not None
            and (found.case.floating.source.startswith("offsets") or "actual trim" in found.case.floating.source)
        )
        says = f"Trim {percent:.2f} % of length; {limit:g} % at most wanted, or hydrostatics at the actual trim"
        says += " (which were used)." if at_trim else "."
        found_rows.append(Advice("trim", says, percent <= limit or at_trim, source, READ))
    if found.case is not None and found.case.cross_check:
        met = found.case.cross_check_met
        found_rows.append(
            Advice("hydrostatics agree", found.case.cross_check, met, "draught-survey practice", PRACTICE)
        )
    return found_rows


def _water(found: Findings) -> list[Advice]:
    source = "2008 IS Code Annex 1, 3"
    rows = found.tables.density or ()
    if not rows:
        return [Advice("density", "No density sample is in the folder; one amidships at least.", False, source, MEMORY)]
    outside = [r.sample for r in rows if r.hydrometer_kg_m3 is not None and not 999.0 <= r.hydrometer_kg_m3 <= 1030.0]
    says = f"{len(rows)} density samples" + (
        f"; {', '.join(outside)} outside the hydrometer range of 999 to 1030 kg/m3."
        if outside
        else ", all within 999 to 1030."
    )
    return [Advice("density", says, not outside, source, READ)]


def _tanks(found: Findings) -> list[Advice]:
    loose = [item.name for item, _ in aboard_surfaces(found.survey.items)]
    if not found.plan.tanks and not loose:
        return []
    slack = [t for t in found.plan.tanks if t.state == "slack"]
    source = "2008 IS Code B 8.2.2.5; Annex 1, 2.1"
    names = ", ".join([*(t.name for t in slack), *(f"{name} (survey)" for name in loose)]) or "none"
    rows = [
        Advice(
            "slack tanks",
            f"Slack tanks: {names}; one pair or one on the centreline at most.",
            len(slack) + len(loose) <= 2,
            source,
            MEMORY,
        )
    ]
    for tank, liquid in ((t, q) for t in slack for q in found.liquids if q.name == t.name):
        if liquid.box is None:
            continue
        level = 100.0 * liquid.box.depth / liquid.box.height
        says = f"{tank.name} is {level:.0f} % full; 20 to 80 % wanted in a deep tank, 40 to 60 % in a double bottom."
        rows.append(Advice("slack tank level", says, 20.0 <= level <= 80.0, "2008 IS Code Annex 1, 2.1", MEMORY))
        if found.gm is not None:
            most = max((abs(p.heel) for p in found.gm.points if math.isfinite(p.heel)), default=0.0)
            at = liquid.box.pockets_at
            says = f"{tank.name} pockets at {at / DEGREE:.1f} deg; the largest heel was {most / DEGREE:.1f} deg."
            rows.append(Advice("pocketing", says, most <= at, "2008 IS Code B 8.2.2.5", READ))
    return rows


def _survey(found: Findings) -> list[Advice]:
    source = "IACS Recommendation 31"
    if found.tables.survey is None or found.lightship is None or not math.isfinite(found.lightship.mass.value):
        says = "Missing and surplus weights could not be checked: no survey or no lightship."
        return [Advice("missing weights", says, None, source, READ)]
    sums, light = totals(found.survey.items), found.lightship.mass.value
    on, off = sums.on / light, sums.off / light
    rows = [
        Advice(
            "missing weights",
            f"Still to go on: {sums.on / 1e3:.2f} t, {100 * on:.2f} % of lightship; {100 * MISSING_LIMIT:g} % at most.",
            on <= MISSING_LIMIT,
            source,
            READ,
        ),
        Advice(
            "surplus weights",
            f"To come off, liquid ballast apart: {sums.off / 1e3:.2f} t, {100 * off:.2f} % of lightship; "
            f"{100 * SURPLUS_LIMIT:g} % at most.",
            off <= SURPLUS_LIMIT,
            source,
            READ,
        ),
    ]
    heavy = outsized(found.survey.items, light)
    if heavy:
        says = f"One item of the survey alone is much: {', '.join(heavy)}; masses are in tonnes: look at it again."
        rows.append(Advice("heavy items", says, False, source, PRACTICE))
    left = found.survey.not_surveyed
    says = f"Spaces not yet surveyed: {', '.join(left)}." if left else "No space is noted as still to be surveyed."
    rows.append(Advice("spaces", says, not left, "2008 IS Code Annex 1, 4.1", READ))
    if found.survey.unconfirmed:
        names = ", ".join(found.survey.unconfirmed[:6])
        rows.append(
            Advice("confirmed items", f"Survey items not confirmed: {names}.", False, "common practice", PRACTICE)
        )
    return rows


def _stiffness(found: Findings) -> list[Advice]:
    rows = []
    ratio = found.radius_ratio
    if ratio is not None and math.isfinite(ratio.value):
        says = f"Period and GM give k/B = {ratio.value:.3f}; 0.30 to 0.47 is usual, else one of them is wrong."
        met = 0.30 <= ratio.value <= 0.47
        rows.append(Advice("roll period", says, met, "IMO A.749(18) Annex 3 and HSC Code, as k/B", READ))
    if found.gm is not None and found.kg is not None and found.kg.value > 0:
        times = found.gm.gm.value / found.kg.value
        if times > 3.0:
            says = f"GM is {times:.1f} times KG: small errors of GM are large ones of KG; calculate KG instead."
            rows.append(Advice("GM against KG", says, False, "HSC Code 2.7.2", READ))
    return rows
