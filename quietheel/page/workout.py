"""The same steps as `quietheel reduce`, from the record as it stands: heels of the windows, then GM."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from config.folder import TestFolder
from config.units import DEGREE, TONNE
from dsp.day import evaluate_day
from dsp.live import LiveView
from dsp.types import DayHeel
from logger.marks import MarkedWindow
from quietheel.page.source import LiveSource
from quietheel.page.work import Worked, WorkOut
from reduction.gm import reduce_gm
from reduction.moments import WindowState, window_states
from reduction.types import Maybe, Quantified, State


def work_out_for(place: TestFolder, source: LiveSource) -> WorkOut:
    plan = source.plan

    def work_out(windows: Sequence[MarkedWindow], stop_ns: int) -> Worked:
        day = source.day(windows, stop_ns)
        live = LiveView(plan.settings.wanted_heel_u95_deg * DEGREE, plan.settings.window_s)
        live.learn(day)
        heel = evaluate_day(day)
        moments = window_states(plan, [WindowState(w.label, w.movement, None if w.moment_tm is None else w.moment_tm * TONNE) for w in windows])
        states = [replace(s, moment=s.moment + w.people_moment_tm * TONNE) for s, w in zip(moments.states, windows, strict=True)]
        displacement = Quantified((plan.vessel.displacement_t or 0) * 1000.0, 1000.0)
        bm = Maybe(Quantified(plan.hydrostatics.bm_m, 0.0)) if plan.hydrostatics.bm_m else None

        def gm_of(n: int):
            return reduce_gm(first(heel, n), states[:n], displacement, bm, carried=plan.settings.gm_carried, inputs=moments.inputs)

        gm = gm_of(len(windows))
        history = tuple(
            (str(windows[n - 1].label), found.gm.value, found.gm.u95())
            for n in range(2, len(windows) + 1)
            for found in [gm if n == len(windows) else gm_of(n)]
            if np.isfinite(found.gm.value) and np.isfinite(found.gm.u)
        )
        return Worked(tuple(w.number for w in windows), heel, gm, displacement.value, history, live, day.epoch_ns)

    return work_out


def first(heel: DayHeel, n: int) -> DayHeel:
    """The day as far as its first ``n`` windows."""
    return replace(heel, windows=heel.windows[:n], covariance=heel.covariance[:n, :n])
