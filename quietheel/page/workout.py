"""The same steps as `quietheel reduce`, from the record as it stands: heels of the windows, then the reduction."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace

from config.folder import TestFolder
from config.tables import read_tables
from config.units import DEGREE
from dsp.day import evaluate_day
from dsp.live import LiveView
from dsp.model import learnt_from
from dsp.types import DayHeel
from logger.events import Event
from logger.marks import MarkedWindow
from quietheel.jobs.facts import marked_inputs, with_marked
from quietheel.jobs.told import as_told
from quietheel.page.memory import give_back
from quietheel.page.source import LiveSource
from quietheel.page.work import Worked, WorkOut
from reduction.day import reduce_day
from reduction.types import Answer


def work_out_for(place: TestFolder, source: LiveSource) -> WorkOut:
    """Make the function that works out a day of this folder.

    Random draws (JCGM 101) are left to `quietheel reduce`; everything else is the same code on the same record.
    """
    settings = source.plan.settings
    plan = source.plan.model_copy(update={"settings": settings.model_copy(update={"monte_carlo_draws": 0})})

    def work_out(windows: Sequence[MarkedWindow], events: Sequence[Event], stop_ns: int) -> Worked:
        tables, _ = with_marked(read_tables(place, plan), events)
        day = as_told(source.day(windows, stop_ns), plan, windows, tables.shifts or ())
        give_back()
        live = LiveView(settings.wanted_heel_u95_deg * DEGREE, settings.window_s)
        learnt = learnt_from(day)
        live.know(learnt)
        heel = evaluate_day(day, learnt)
        give_back()

        def answer_of(number: int) -> Answer:
            return reduce_day(marked_inputs(plan, _first(heel, number), tables, windows[:number], events))

        answer = answer_of(len(windows))
        kg = answer.as_inclined.value.kg if answer.as_inclined.value is not None else None
        return Worked(
            numbers=tuple(window.number for window in windows),
            heel=heel,
            gm=answer.gm.value,
            displacement=answer.displacement.value.value if answer.displacement.value is not None else math.nan,
            history=tuple(_history(windows, answer_of, answer)),
            live=live,
            epoch_ns=day.epoch_ns,
            why_no_gm=_sentence(answer.gm.reason),
            kg=kg,
            next_step=answer.next_step,
        )

    return work_out


def _first(heel: DayHeel, number: int) -> DayHeel:
    """The day as far as its first windows."""
    return replace(heel, windows=heel.windows[:number], covariance=heel.covariance[:number, :number])


def _history(
    windows: Sequence[MarkedWindow], answer_of: Callable[[int], Answer], answer: Answer
) -> Iterator[tuple[str, float, float]]:
    """GM from the first two windows, the first three and so on, all by what the whole day now says of each."""
    for number in range(2, len(windows) + 1):
        gm = (answer if number == len(windows) else answer_of(number)).gm.value
        if gm is not None and math.isfinite(gm.gm.value) and math.isfinite(gm.gm.u):
            yield windows[number - 1].label, gm.gm.value, gm.gm.u95()


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}." if text else ""
