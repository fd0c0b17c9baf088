"""Makes DayHeel values of known truth: a vessel on her true curve, windows with a known covariance, disturbances."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dsp.types import Array, BudgetLine, Check, DayHeel, RollMotion, Verdict, WindowHeel, WindowSpan
from reduction.gm.curve import Form, heel_at, wall_sided
from reduction.types import Maybe, Quantified, State

SEQUENCE = np.array([0, 1, 2, 1, 0, -1, -2, -1, 0.0])
"""The customary zero and eight movements."""
NAN = float("nan")


@dataclass(frozen=True)
class Vessel:
    displacement: float = 2.0e6
    gm: float = 1.0
    bm: float = 8.0
    tcg: float = 0.002
    top: float = np.deg2rad(2.5)

    @property
    def form(self) -> Form:
        return wall_sided(self.bm)

    def moments(self, sequence: Array = SEQUENCE) -> Array:
        most = self.displacement * np.tan(self.top) * self.gm
        return np.asarray(sequence / np.abs(sequence).max() * most)

    def heel(self, moments: Array, rise: Array | float = 0.0) -> Array:
        return heel_at(moments / self.displacement, self.gm, self.tcg, self.form, rise)

    @property
    def weight(self) -> Quantified:
        return Quantified(self.displacement, 0.0, unit="kg")

    @property
    def known_bm(self) -> Maybe[Quantified]:
        return Maybe(Quantified(self.bm, 0.0, unit="m"))


def states(moments: Array, vertical: Sequence[float] | None = None) -> list[State]:
    lift = np.zeros(moments.size) if vertical is None else np.asarray(vertical)
    return [State(f"{m:.3f}", float(m), 0.0, vertical=float(v)) for m, v in zip(moments, lift, strict=True)]


def day(
    heel: Array,
    covariance: Array,
    *,
    scale_u: float = 0.0,
    zero_u: float = 0.0,
    dof: float = float("inf"),
    verdicts: Sequence[Verdict] | None = None,
    checks: Sequence[tuple[Check, ...]] | None = None,
    periods: Sequence[float] | None = None,
    wind: bool = False,
) -> DayHeel:
    n = heel.size
    windows = []
    for i in range(n):
        u = float(np.sqrt(covariance[i, i]))
        roll = RollMotion(periods[i], 0.01, 0.03, 0.01, 0.001) if periods else RollMotion(NAN, NAN, NAN, NAN, 0.0)
        verdict: Verdict = verdicts[i] if verdicts else "fine"
        windows.append(
            WindowHeel(
                WindowSpan(str(i), i * 600.0, i * 600.0 + 120.0),
                float(heel[i]),
                u,
                dof,
                (BudgetLine("low-frequency heel", 0.9 * u), BudgetLine("sensor noise", 0.4 * u)),
                (),
                roll,
                checks[i] if checks else (),
                verdict,
                ("people",) if verdict != "fine" else (),
            )
        )
    coefficient = 1e-5 if wind else NAN
    none = np.zeros(0)
    return DayHeel(
        0,
        tuple(windows),
        covariance,
        scale_u,
        zero_u,
        RollMotion(8.0, 0.01, 0.03, 0.01, 0.001),
        coefficient,
        coefficient,
        NAN,
        {"frequency": none, "density": none, "model": none},
        (),
        dof,
    )
