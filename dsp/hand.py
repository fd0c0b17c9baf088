"""Windows read by hand: a pendulum in its trough, a U-tube, one value a window."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from dsp import checks
from dsp.checks.short import LEAST, PERIODS, TOO_FEW
from dsp.checks.unconfirmed import WORDS
from dsp.combine import ASSUMED_SCALE_U
from dsp.types import Array, BudgetLine, Check, Day, DayHeel, StationHeel, Verdict, WindowHeel, WindowSpan

HAND_DOF = 10.0
"""Degrees of freedom given to an uncertainty that a person stated (GUM G.4.2: known to about a fifth)."""


@dataclass(frozen=True)
class HandHeel:
    """What the readings by hand say about every window."""

    heel: Array
    """(k,) rad; NaN where nobody read."""
    covariance: Array
    """(k, k) rad2."""
    zero: dict[str, float]
    """Station -> rad against the combination."""


def hand_heel(windows: tuple[WindowSpan, ...], heel: Array, variance: Array) -> HandHeel:
    """Combine readings by hand, one zero for each station, with the heel known from sensors where there is any.

    Least squares of ``reading = heel + zero + error``. A reading by hand and a sensor see the same motion, so a
    reading does not sharpen a window that sensors measured; it carries their level to windows that they missed.

    Parameters
    ----------
    windows : k of them, with ``hand_readings``.
    heel : (k,) rad from sensors; NaN where there is none.
    variance : (k,) rad2.
    """
    stations = sorted({name for span in windows for name, _, _ in span.hand_readings})
    count, size = len(windows), len(windows) + len(stations)
    rows, right = [], []
    for k, span in enumerate(windows):
        for name, value, u in span.hand_readings:
            if np.isfinite(value) and np.isfinite(u) and u > 0:
                row = np.zeros(size)
                row[k] = row[count + stations.index(name)] = 1.0 / u
                rows.append(row)
                right.append(value / u)
    known = np.isfinite(heel)
    for k in np.flatnonzero(known).tolist():
        row = np.zeros(size)
        row[k] = 1.0 / np.sqrt(variance[k])
        rows.append(row)
        right.append(heel[k] / np.sqrt(variance[k]))
    if not known.any():
        # without sensors the mean of the stations' zeros is nought by convention
        rows.append(np.concatenate([np.zeros(count), np.full(len(stations), 1e4)]))
        right.append(0.0)
    read = np.array([known[k] or bool(span.hand_readings) for k, span in enumerate(windows)])
    for k in np.flatnonzero(~read).tolist():
        row = np.zeros(size)
        row[k] = 1.0
        rows.append(row)
        right.append(0.0)
    matrix = np.array(rows).reshape(len(rows), size)
    inverse = np.linalg.pinv(matrix.T @ matrix, rcond=1e-14, hermitian=True)
    solved = inverse @ matrix.T @ np.array(right)
    covariance = inverse[:count, :count].copy()
    covariance[~read], covariance[:, ~read] = np.nan, np.nan
    return HandHeel(
        heel=np.where(read, solved[:count], np.nan),
        covariance=np.asarray(covariance, dtype=np.float64),
        zero={name: float(solved[count + i]) for i, name in enumerate(stations)},
    )


def hand_stations(span: WindowSpan, zero: dict[str, float], used: bool) -> tuple[StationHeel, ...]:
    """Return what was read by hand in a window, one entry for each station."""
    reason = "" if used else "read by hand; shown beside the sensors, not averaged with them"
    return tuple(
        StationHeel(name, value, u, zero.get(name, float("nan")), 1, float("nan"), used, reason)
        for name, value, u in span.hand_readings
    )


def hand_checks(span: WindowSpan, period: float) -> tuple[Check, ...]:
    """What can be asked of a window of which no record of the motion is left: its length and its confirmations.

    Parameters
    ----------
    period : s, natural roll period of the day; NaN where it is not known.
    """
    period = period if np.isfinite(period) else 0.0
    time, length, wanted = np.array([span.start, span.stop]), span.stop - span.start, max(LEAST, PERIODS * period)
    verdict: Verdict = "fine" if length >= wanted else "rejected" if length < TOO_FEW * period else "caution"
    says = f"The window is {length:.0f} s long; {wanted:.0f} s is the least."
    missing = sorted(span.expected_confirmations - span.confirmed)
    without = (
        f"Not confirmed: {', '.join(WORDS.get(one, one) for one in missing)}." if missing else "Nothing is missing."
    )
    return (
        Check("short", length, wanted, "s", 0.0, verdict, says, {"time": time}),
        Check(
            "unconfirmed",
            float(len(missing)),
            0.0,
            "confirmations",
            0.0,
            "caution" if missing else "fine",
            without,
            {"time": time},
        ),
    )


def with_hand_readings(found: DayHeel, day: Day) -> DayHeel:
    """Add what was read by hand to a day: shown where sensors measured, used where they did not.

    Returns ``found`` as it is where nobody read anything by hand.
    """
    if not any(span.hand_readings for span in day.windows):
        return found
    heel = np.array([w.heel for w in found.windows])
    known = np.isfinite(heel)
    read = hand_heel(day.windows, heel, np.diag(found.covariance))
    covariance, windows, filled = found.covariance.copy(), [], 0
    for k, one in enumerate(found.windows):
        stations = hand_stations(one.span, read.zero, not known[k])
        if known[k] or not np.isfinite(read.heel[k]):
            windows.append(replace(one, stations=(*one.stations, *stations)))
            continue
        filled += 1
        covariance[k, :] = np.where(known, 0.0, read.covariance[k])
        covariance[:, k] = covariance[k, :]
        u = float(np.sqrt(read.covariance[k, k]))
        asked = hand_checks(one.span, found.roll.period)
        verdict, reasons = checks.judge(asked)
        windows.append(
            WindowHeel(
                span=one.span,
                heel=float(read.heel[k]),
                u=u,
                dof=HAND_DOF,
                budget=(BudgetLine("reading by hand", u, "as stated by the reader, with the zero"),),
                stations=stations,
                roll=one.roll,
                checks=asked,
                verdict=verdict,
                reasons=reasons,
            )
        )
    scale_u = found.scale_u
    if not known.any():
        names = {name for span in day.windows for name, _, _ in span.hand_readings}
        scales = [k.scale_u if np.isfinite(k.scale_u) else ASSUMED_SCALE_U for k in day.knowledge if k.name in names]
        scales = scales or [ASSUMED_SCALE_U]
        scale_u = float(np.sqrt(np.sum(np.square(scales))) / len(scales))
    said = found.assumptions
    if filled:
        said = (*said, f"{filled} window(s) rest on readings by hand alone: no check of the motion could be made.")
    return replace(
        found,
        windows=tuple(windows),
        covariance=covariance,
        scale_u=scale_u,
        assumptions=said,
        dof=found.dof if np.isfinite(found.dof) else HAND_DOF,
    )
