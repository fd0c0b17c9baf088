"""From the traces of a day to the mean heel of every window, with what ties them together.

`evaluate_day` reads from top to bottom as docs/method-heel.md does: mark, align and combine; roll; low-frequency heel
and wind of the day; the mean of each window; what the windows share; the checks.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from dsp import checks
from dsp.between import differences, window_covariance
from dsp.estimate import Evaluated, evaluate_window
from dsp.evidence import evidence_of
from dsp.follow import LeftOut, no_heel, said_of
from dsp.hand import with_hand_readings
from dsp.joint import Common, budget_of, covariance_of, slope_dof, stations_of, unmeasured_wind
from dsp.low import LowHeel
from dsp.model import DayModel, Learnt, learnt_from
from dsp.prepare import Prepared, has_record
from dsp.roll import RollLaw
from dsp.roll_check import compare_roll
from dsp.rounding import rounding_u
from dsp.spectrum import Pooled
from dsp.trim import cross_talk
from dsp.types import Array, Check, Day, DayHeel, RollMotion, StationHeel, WindowHeel, WindowSpan
from dsp.unspoilt import relearnt, suspects
from dsp.wind import Pressure, steady_u

MOST_LOOKS = 4
"""Times the windows of a day are evaluated and asked at most, each time without those that looked spoilt before."""
NO_ROLL = RollMotion(float("nan"), float("nan"), float("nan"), float("nan"), 0.0)


def evaluate_day(day: Day, learnt: Learnt | str | None = None) -> DayHeel:
    """Find the mean heel of every window of the day, its interval, and what spoilt it.

    Parameters
    ----------
    day : traces, windows, what is known beforehand.
    learnt : what `dsp.model.learnt_from` gave for this very day, where that was asked already.

    Returns
    -------
    DayHeel with one entry for each window of ``day``, in order. A window without a usable record comes back with NaN,
    verdict ``rejected`` and a reason; a day without any record likewise, with the reason among the assumptions.
    """
    learnt = learnt_from(day) if learnt is None else learnt
    if isinstance(learnt, str):
        return with_hand_readings(_nothing(day, learnt), day)
    prepared, wind = learnt.prepared, learnt.wind
    grid = prepared.grid
    first, asked, model = _without_spoilt(day, learnt)
    found, model = _refined(prepared, first, asked, model)

    low = model.low
    good = [one for one in found if isinstance(one, Evaluated)]
    windy = low.fit.coefficient.size > 0
    coefficient = float(low.fit.coefficient[0]) if windy else 0.0
    coefficient_u = 0.0
    if windy:
        known_u = float(np.hypot(np.sqrt(low.fit.coefficient_covariance[0, 0]), low.unsettled_u))
        coefficient_u = steady_u(coefficient, known_u)
    reference = _reference(good)
    trim = cross_talk(day.trim, prepared.knowledge, tuple(one.span for one in good))
    silent = unmeasured_wind(good, wind, coefficient, coefficient_u)
    common = Common(prepared.alignment, coefficient_u, reference, trim.covariance, silent, rounding_u(prepared, good))

    followed = prepared.followed
    unused = (*followed.left_out, *(LeftOut(name, "", 0.0, "left out by hand") for name in day.left_out))
    windows: list[WindowHeel] = []
    places: list[int] = []
    number = -1
    for k, span in enumerate(day.windows):
        there = has_record(day, span)
        number += int(there)
        without = "no readings of heel in it" if span.stop > span.start else "it stops before it starts"
        one = found[number] if there else without
        if isinstance(one, str):
            windows.append(_empty(span, one, "stuck" if _hung(prepared, span) else "no_record"))
            continue
        budget = budget_of(one, len(places), common)
        places.append(k)
        said = (*asked[number], *said_of(followed, prepared.stations, number, prepared.alignment.conflict))
        verdict, reasons = checks.judge(said)
        windows.append(
            WindowHeel(
                span=span,
                heel=one.fitted.mean + coefficient * reference,
                u=float(np.sqrt(sum(line.u**2 for line in budget))),
                dof=one.dof,
                budget=budget,
                stations=(*stations_of(prepared, one), *(no_heel(left) for left in unused)),
                roll=one.roll,
                checks=said,
                verdict=verdict,
                reasons=reasons,
                wind_correction=coefficient * (one.pressure - reference),
            )
        )

    hats = window_covariance(good, grid)
    between = covariance_of(good, hats, common)
    covariance = np.full((len(day.windows), len(day.windows)), np.nan)
    covariance[np.ix_(places, places)] = between
    found_day = DayHeel(
        epoch_ns=day.epoch_ns,
        windows=tuple(windows),
        covariance=covariance,
        scale_u=float(np.hypot(prepared.alignment.scale_u, trim.scale_u)),
        zero_u=_zero_u(prepared),
        roll=_day_roll(model.law, good),
        wind_coefficient=coefficient if windy else float("nan"),
        wind_coefficient_u=coefficient_u if windy else float("nan"),
        reference_wind=float(np.sqrt(abs(reference))) if windy else float("nan"),
        spectrum=_spectrum(model.look, good, low),
        assumptions=(
            *prepared.alignment.assumptions,
            *(f"Station {name} was left out by whoever reduced the day." for name in day.left_out),
            *trim.assumptions,
            *_said_of_wind(day, wind),
        ),
        dof=slope_dof(good, hats, between, low.fit),
        marks=prepared.marks,
        roll_comparison=compare_roll(grid, prepared.heel, prepared.windows, model.rolls, model.law, model.look),
    )
    return with_hand_readings(found_day, day)


def _without_spoilt(day: Day, learnt: Learnt) -> tuple[list[Evaluated | str], list[tuple[Check, ...]], DayModel]:
    """Evaluate and ask every window; and again by what the others taught, while that shows more that look spoilt."""
    prepared, model = learnt.prepared, learnt.model
    spoilt = [False] * len(prepared.windows)
    cleaner: DayModel | None = model
    looks = 0
    while cleaner is not None:
        model, looks = cleaner, looks + 1
        found = [
            evaluate_window(prepared, span, roll, model)
            for span, roll in zip(prepared.windows, model.rolls, strict=True)
        ]
        asked = _asked(day, prepared, found, model, learnt.wind)
        before, spoilt = spoilt, [a or b for a, b in zip(spoilt, suspects(asked), strict=True)]
        cleaner = relearnt(learnt.model, spoilt) if spoilt != before and looks < MOST_LOOKS else None
    return found, asked, model


def _asked(
    day: Day, prepared: Prepared, found: list[Evaluated | str], model: DayModel, wind: Pressure | None
) -> list[tuple[Check, ...]]:
    """Ask every check of every window that could be evaluated."""
    good = [one for one in found if isinstance(one, Evaluated)]
    reference = _reference(good) if model.low.fit.coefficient.size else float("nan")
    roll = _day_roll(model.law, good)
    return checks.run_day(
        [
            evidence_of(day, prepared, one, model.low, wind, roll, reference, number, model.still[number])
            if isinstance(one, Evaluated)
            else None
            for number, one in enumerate(found)
        ]
    )


def _refined(
    prepared: Prepared, found: list[Evaluated | str], asked: list[tuple[Check, ...]], model: DayModel
) -> tuple[list[Evaluated | str], DayModel]:
    """Learn slow change of the air from windows of one state that no check rejected, and evaluate again, in ``found``.

    Only where the wind is not measured. Where it is, windows of one state that differ by more than the day's motion
    were more likely held or shifted than restless, and would pass for the day's habit (docs/decisions, 0061).
    """
    if model.low.fit.coefficient.size:
        return found, model
    clean = [
        one
        for one, said in zip(found, asked, strict=True)
        if isinstance(one, Evaluated) and checks.judge(said)[0] != "rejected"
    ]
    extra = differences(clean, prepared.grid, prepared.alignment, model.low)
    if extra is None:
        return found, model
    better = replace(model, low=model.low.with_differences(extra))
    # One in the place of another: the covariances of long windows are large.
    clean.clear()
    for number, (span, roll) in enumerate(zip(prepared.windows, model.rolls, strict=True)):
        found[number] = evaluate_window(prepared, span, roll, better)
    return found, better


def _said_of_wind(day: Day, wind: Pressure | None) -> tuple[str, ...]:
    """What had to be assumed about the air, in a sentence."""
    if wind is None:
        why = "was not measured" if day.wind is None else "has too few readings to use"
        return (f"Wind {why}: slow change of the air counts as low-frequency heel and widens the intervals.",)
    if not wind.directed:
        return ("Wind direction was not measured: taken as steady through the day.",)
    return ()


def _reference(good: list[Evaluated]) -> float:
    """Wind pressure to which windows are referred: their mean, which asks least of the coefficient."""
    return float(np.mean([one.pressure for one in good])) if good else 0.0


def _day_roll(law: RollLaw | None, good: list[Evaluated]) -> RollMotion:
    if law is None:
        return NO_ROLL
    amplitude = float(np.sqrt(np.mean([one.roll.amplitude**2 for one in good]))) if good else 0.0
    return RollMotion(1.0 / law.frequency, law.frequency_u / law.frequency**2, law.damping, law.damping_u, amplitude)


def _zero_u(prepared: Prepared) -> float:
    """Zero of the combination: mean of the stations' zeros, where all were calibrated."""
    zero_u = np.array([k.zero_u for k in prepared.knowledge])
    return float(np.sqrt(np.sum(zero_u**2)) / zero_u.size) if np.isfinite(zero_u).all() else float("nan")


def _spectrum(look: Pooled, good: list[Evaluated], low: LowHeel) -> dict[str, Array]:
    model = np.zeros_like(look.frequency)
    if good:
        roll = float(np.mean([one.model.roll_variance for one in good]))
        model = replace(good[0].model, density=low.fit.density, roll_variance=roll).spectrum(look.frequency)
    return {"frequency": look.frequency, "density": look.density, "model": model}


def _hung(prepared: Prepared, span: WindowSpan) -> bool:
    """Whether there were readings in a window and most of them stood still."""
    stuck = [
        marks.stuck[slice(*(int(i) for i in np.searchsorted(trace.time, [span.start, span.stop])))]
        for trace, marks in zip(prepared.traces, prepared.marks, strict=True)
    ]
    every = np.concatenate(stuck) if stuck else np.zeros(0)
    return bool(every.size and every.mean() > 0.5)


def _empty(span: WindowSpan, reason: str, code: str = "no_record") -> WindowHeel:
    nan = float("nan")
    says = f"No heel could be evaluated: {reason}."
    check = Check(code, nan, nan, "", 0.0, "rejected", says, {"time": np.array([span.start])})
    stations = (StationHeel("", nan, nan, nan, 0, nan, False, reason),)
    return WindowHeel(span, nan, nan, nan, (), stations, NO_ROLL, (check,), "rejected", (code,))


def _nothing(day: Day, reason: str) -> DayHeel:
    nan, size = float("nan"), len(day.windows)
    windows = tuple(_empty(span, reason) for span in day.windows)
    none = np.zeros(0)
    return DayHeel(
        epoch_ns=day.epoch_ns,
        windows=windows,
        covariance=np.full((size, size), nan),
        scale_u=nan,
        zero_u=nan,
        roll=NO_ROLL,
        wind_coefficient=nan,
        wind_coefficient_u=nan,
        reference_wind=nan,
        spectrum={"frequency": none, "density": none, "model": none},
        assumptions=(f"No heel could be evaluated: {reason}.",),
    )
