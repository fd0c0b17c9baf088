"""The same steps as `quietheel reduce`, from the record as it stands: heels of the windows, then GM."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from config.folder import TestFolder
from dsp.day import evaluate_day
from dsp.types import DayHeel
from logger.marks import MarkedWindow
from quietheel.page.moments import planned_moments
from quietheel.page.source import LiveSource
from quietheel.page.work import Worked, WorkOut
from reduction.gm import reduce_gm
from reduction.types import Maybe, Quantified, State


def work_out_for(place: TestFolder, source: LiveSource) -> WorkOut:
    plan = source.plan
    moments = planned_moments(plan)

    def work_out(windows: Sequence[MarkedWindow], stop_ns: int) -> Worked:
        day = source.day(windows, stop_ns)
        heel = evaluate_day(day)
        states = [State(w.label, 1000 * (w.moment_tm if w.moment_tm is not None else moments.get(w.movement, 0.0) + w.people_moment_tm), 0.0) for w in windows]
        displacement = Quantified((plan.vessel.displacement_t or 0) * 1000.0, 1000.0)
        bm = Maybe(Quantified(plan.hydrostatics.bm_m, 0.0)) if plan.hydrostatics.bm_m else None
        gm = reduce_gm(heel, states, displacement, bm, carried=plan.settings.gm_carried)
        history = tuple(
            (str(windows[n - 1].label), found.gm.value, found.gm.u95())
            for n in range(2, len(windows) + 1)
            for found in [gm if n == len(windows) else reduce_gm(first(heel, n), states[:n], displacement, bm, carried=plan.settings.gm_carried)]
            if np.isfinite(found.gm.value) and np.isfinite(found.gm.u)
        )
        return Worked(tuple(w.number for w in windows), heel, gm, displacement.value, history)

    return work_out


def first(heel: DayHeel, n: int) -> DayHeel:
    """The day as far as its first ``n`` windows."""
    return replace(heel, windows=heel.windows[:n], covariance=heel.covariance[:n, :n])
