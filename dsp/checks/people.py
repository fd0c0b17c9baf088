"""Did the mean heel step, as when a person walks across and stays, or walks there and back?"""

from __future__ import annotations

import numpy as np

from dsp.checks.budget import CAUTION, REJECT
from dsp.checks.look import Look, Scan, graded, scan_chance, scan_limit
from dsp.types import Array, Check

WALK = 6.0
"""s that a walk across the deck takes: 5 m at a little under a metre a second."""
STEP_SHARE = 0.75
"""Share of the false alarms given to a walk without return."""
STAYS = (12.0, 24.0, 48.0)
"""s between going and coming back."""


def check(look: Look) -> Check:
    """Matched step and there-and-back against the window's own covariance, maximised over their times."""
    scans, starts, stays = _families(look)
    # A walk that stays moves the mean most and is given most of the budget.
    dofs = [
        look.free_dof(_walked(look.seconds, s[s.size // 2 : s.size // 2 + 1], stay)[0])
        for s, stay in zip(starts, stays, strict=True)
    ]
    limits = np.array([_limit(scans, place, dofs[place], REJECT["people"]) for place in range(len(scans))])
    largest = np.array([np.abs(s.score).max() for s in scans])
    best = int(np.argmax(largest / limits))
    limit = float(limits[best])
    caution = _limit(scans, best, dofs[best], REJECT["people"] + CAUTION["people"])
    at = int(np.argmax(np.abs(scans[best].score)))
    value, size = float(abs(scans[best].score[at])), float(scans[best].amplitude[at])
    when, stay = float(starts[best][at]), stays[best]
    verdict = graded(value, limit, caution)
    shape = "steps" if stay == float("inf") else f"moves and comes back after {stay:.0f} s,"
    says = (
        f"The mean heel {shape} by {np.rad2deg(size):+.4f} deg at {when:.0f} s, {value:.1f} times the uncertainty "
        f"(limit {limit:.1f})"
        + ("; somebody or something moved." if verdict != "fine" else "; no more than chance makes.")
    )
    evidence = {
        "time": look.evidence.time,
        "low": look.evidence.low,
        "step": size * _walked(look.seconds, np.array([when]), stay)[0],
        "step_time": look.evidence.span.start + starts[0],
        "score": scans[0].score,
        "chance": np.array([_chance(scans, best, dofs[best], value)]),
    }
    return Check("people", value, limit, "standard uncertainties", REJECT["people"], verdict, says, evidence)


def _limit(scans: list[Scan], place: int, dof: float, false_alarm: float) -> float:
    """Limit of one family: steps share `STEP_SHARE` of the false alarms, there-and-back the rest."""
    family, share = _shared(scans, place)
    return scan_limit(family, share * false_alarm, dof)


def _chance(scans: list[Scan], place: int, dof: float, score: float) -> float:
    """Probability that a clean window comes as far, in any family."""
    family, share = _shared(scans, place)
    return min(scan_chance(family, score, dof) / share, 1.0)


def _shared(scans: list[Scan], place: int) -> tuple[list[Scan], float]:
    """Return the scans that share false alarms with one of them, and how large a share theirs is."""
    if len(scans) == 1:
        return scans, 1.0
    return (scans[:1], STEP_SHARE) if place == 0 else (scans[1:], 1.0 - STEP_SHARE)


def _families(look: Look) -> tuple[list[Scan], list[Array], list[float]]:
    """Return the scans, the start times (s since opening) and the stay of each family of templates."""
    seconds, length = look.seconds, look.length
    spacing = max(look.evidence.step, 1.5, length / 80.0)
    # Nearer to an edge than half a roll period a step and a swing look alike, and it moves the mean by little.
    half_roll = 0.5 * look.period if np.isfinite(look.period) else 0.0
    edge = min(max(4.0, half_roll), 0.1 * length)
    families, starts, stays = [], [], []
    for stay in (float("inf"), *(s for s in STAYS if s + 2 * WALK < 0.7 * length)):
        last = length - edge - (0.0 if stay == float("inf") else stay)
        start = np.arange(edge - WALK / 2, last - WALK / 2, spacing)
        if start.size == 0:
            start = np.array([0.5 * (length - WALK)])
        families.append(_walked(seconds, start, stay))
        starts.append(start)
        stays.append(stay)
    return look.scan_apart(families), starts, stays


def _walked(seconds: Array, start: Array, stay: float) -> Array:
    """(m, n) share of the way walked at each time, for each start."""
    since = seconds[None, :] - start[:, None]
    there = np.clip(since / WALK, 0.0, 1.0)
    if stay == float("inf"):
        return np.asarray(there)
    return np.asarray(there - np.clip((since - WALK - stay) / WALK, 0.0, 1.0))
