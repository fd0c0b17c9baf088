"""The checks of a window: each one small file, one entry in `REGISTRY`, one line in the false-alarm budget.

To add a check: write ``dsp/checks/NAME.py`` with ``check(look: Look) -> Check``, add its function to `REGISTRY`, give
it a share in `dsp.checks.budget`, a line in the README's table of codes and its words in `reduction/report/words.py`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace

import numpy as np

from dsp.checks import (
    burst,
    disagreement,
    drift,
    gap,
    noise,
    people,
    saturated,
    short,
    slosh,
    spikes,
    stuck,
    taut_period,
    taut_shape,
    tension,
    transient,
    unconfirmed,
    wind,
)
from dsp.checks.look import Look
from dsp.checks.packets import calm
from dsp.checks.swing import swing_of
from dsp.types import Check, Verdict, WindowEvidence

SLOW = ("people", "drift", "wind")
"""Codes of slow disturbances of the heel, which look alike."""
REGISTRY: tuple[Callable[[Look], Check], ...] = (
    people.check,
    taut_period.check,
    taut_shape.check,
    tension.check,
    transient.check,
    burst.check,
    wind.check,
    drift.check,
    slosh.check,
    stuck.check,
    spikes.check,
    gap.check,
    saturated.check,
    noise.check,
    disagreement.check,
    unconfirmed.check,
    short.check,
)
"""Every question asked of a window, in the order in which the answers are shown."""


def run(evidence: WindowEvidence) -> tuple[Check, ...]:
    """Ask every question of one window.

    Parameters
    ----------
    evidence : what is known about the window.

    Returns
    -------
    One `dsp.types.Check` for each entry of `REGISTRY`, in its order; several may share a code.
    """
    look = Look(evidence)
    return one_cause(tuple(check(look) for check in REGISTRY))


def run_day(evidences: Sequence[WindowEvidence | None]) -> list[tuple[Check, ...]]:
    """Ask every question of every window of a day, each window with the others' roll and heel to compare with.

    Parameters
    ----------
    evidences : one for each window; None where a window could not be evaluated.

    Returns
    -------
    As `run`, for each window; empty where there was no evidence.
    """
    swings = [None if e is None else swing_of(Look(e)) for e in evidences]
    usual = [None if s is None else calm(s) for s in swings]
    found: list[tuple[Check, ...]] = []
    for number, evidence in enumerate(evidences):
        if evidence is None:
            found.append(())
            continue
        others = [u for place, u in enumerate(usual) if u is not None and place != number]
        rest = [e for place, e in enumerate(evidences) if e is not None and place != number]
        found.append(
            run(
                replace(
                    evidence,
                    other_push=np.array([push for push, _ in others]),
                    other_push_dof=np.array([dof for _, dof in others]),
                    other_period=np.array([e.window_roll.period for e in rest]),
                    other_period_u=np.array([e.window_roll.period_u for e in rest]),
                    other_heel=np.array([e.mean for e in rest]),
                )
            )
        )
    return found


def one_cause(checks: tuple[Check, ...]) -> tuple[Check, ...]:
    """Leave the rejection to the slow disturbance that explains the heel best; what it drags along asks for caution.

    A step also leans as a creep does and goes with any wind that rose meanwhile. Their scores are lengths of the same
    whitened heel along different templates, so that the largest is the likeliest of the three.
    """
    rivals = [c for c in checks if c.code in SLOW and c.unit == "standard uncertainties" and c.verdict == "rejected"]
    if len(rivals) < 2:
        return checks
    best = max(rivals, key=lambda c: c.value)
    return tuple(
        replace(c, verdict="caution", says=f"{c.says} Explained better as {best.code}.")
        if any(c is other for other in rivals) and c is not best
        else c
        for c in checks
    )


def judge(checks: Iterable[Check]) -> tuple[Verdict, tuple[str, ...]]:
    """Worst verdict of all checks, and the codes that made it, each once.

    >>> judge([])
    ('fine', ())
    """
    found = list(checks)
    for verdict in ("rejected", "caution"):
        codes = [c.code for c in found if c.verdict == verdict]
        if codes:
            return ("rejected" if verdict == "rejected" else "caution"), tuple(dict.fromkeys(codes))
    return "fine", ()


__all__ = ["REGISTRY", "Look", "judge", "one_cause", "run", "run_day"]
