"""Put the report together: which sections, in which order, with which pictures."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from config.plan import Plan
from config.tables import Tables
from reduction.report import annex_part, hull_part, lightship_part, limits_part, method_part, plan_part, spectrum_part
from reduction.report.contents_part import contents_section
from reduction.report.document import Document, Picture, Section
from reduction.report.figures import (
    allowable_kg,
    budget_bars,
    day_traces,
    evidence,
    heel_spectrum,
    moment_tangent,
    waterline_profile,
    window_close_up,
)
from reduction.report.first_page import displacement_of, first_page
from reduction.report.heel_part import gm_section, windows_section
from reduction.report.marks_part import marks_section, voided_in_words
from reduction.report.traces import Traces
from reduction.report.words import Form
from reduction.types import Answer
from reduction.window_points import points_of

if TYPE_CHECKING:
    from logger.events import Event


def report(
    answer: Answer,
    traces: Traces,
    plan: Plan | None = None,
    *,
    form: Form = "preliminary",
    events: Sequence[Event] = (),
    tables: Tables | None = None,
) -> Document:
    """Compose the whole report.

    Parameters
    ----------
    answer : what the day came to.
    traces : light arrays to draw, from `plot_traces`.
    plan : facts that the answer does not hold; None prints what is in the answer alone.
    form : ``preliminary`` on the day, ``final`` for the authority, which also gets the list of contents asked for.
    events : marks of the day, printed as they were made; empty leaves that annex out.
    tables : for density samples and spaces of the survey as they were written down; None leaves both out.

    Returns
    -------
    Document to hand to `print_html` and `print_pdf`; composing once draws the figures once.
    """
    plan = plan or Plan()
    body = plan.test.approving_body or "the authority or class"
    kind = "Preliminary result" if form == "preliminary" else "Final report"
    title = titled(answer.name)
    standing = f"Preliminary until {body} accepts it" if form == "preliminary" else f"For acceptance by {body}"
    return Document(
        title=title,
        kind=kind,
        standing=standing,
        facts=occasion_facts(plan),
        front=first_page(answer, plan, form, voided_in_words(events, plan)),
        sections=sections(answer, traces, plan, form, events, tables or Tables()),
        footer=f"{title}, {kind.lower()}. {standing}. quietheel {answer.provenance.version}, "
        f"{answer.provenance.made_at}",
        pictures=pictures(answer, traces, plan),
    )


def titled(name: str) -> str:
    """Title of the papers of a test.

    >>> titled("Merrowby"), titled("Merrowby stability test")
    ('Merrowby: stability test', 'Merrowby stability test')
    """
    return name if "stability test" in name.lower() else f"{name}: stability test"


def occasion_facts(plan: Plan) -> tuple[tuple[str, str], ...]:
    """Vessel, place, date and people; what is not known is left out."""
    occasion, vessel = plan.test, plan.vessel
    size = " × ".join(f"{v:g}" for v in (vessel.length_m, vessel.breadth_m, vessel.depth_m) if v is not None)
    pairs = (
        ("vessel", vessel.name if vessel.name != "unnamed" else ""),
        ("length × breadth × depth", f"{size} m" if size.count("×") == 2 else ""),
        ("date", occasion.date.isoformat() if occasion.date else ""),
        ("place", occasion.place),
        ("purpose", occasion.purpose),
        ("coordinator", occasion.coordinator),
        ("witness", occasion.witness),
        ("decided by", occasion.approving_body),
    )
    return tuple(pair for pair in pairs if pair[1])


def sections(
    answer: Answer, traces: Traces, plan: Plan, form: Form, events: Sequence[Event], tables: Tables
) -> tuple[Section, ...]:
    """Every section in order. A new one is a function from the answer to a Section, and a line here."""
    made = (
        gm_section(answer),
        windows_section(answer, traces, plan, voided_in_words(events, plan)),
        plan_part.weights_section(answer, plan, tables),
        plan_part.people_section(plan),
        plan_part.tanks_section(answer, plan, tables),
        hull_part.waterline_section(answer, plan, tables.density or ()),
        lightship_part.survey_section(answer, tables.survey or ()),
        limits_part.limits_section(answer, plan),
        method_part.checks_section(answer),
        method_part.budget_section(answer),
        method_part.methods_section(answer),
        method_part.assumptions_section(answer),
        method_part.cautions_section(),
        plan_part.timetable_section(plan),
        contents_section(answer, traces, plan) if form == "final" else None,
        method_part.inputs_section(answer, plan),
        method_part.signatures_section(plan),
        annex_part.evidence_section(answer),
        annex_part.readings_section(answer, traces, plan),
        spectrum_part.spectrum_section(answer),
        marks_section(events, plan),
    )
    return tuple(section for section in made if section is not None)


def pictures(answer: Answer, traces: Traces, plan: Plan) -> dict[str, Picture]:
    """Draw every figure that a section names."""
    drawn: dict[str, Picture] = {}
    gm = answer.gm.value
    points = points_of(answer)
    if gm is not None:
        displacement = displacement_of(answer)
        drawn["moment-tangent"] = moment_tangent(gm, displacement.value if displacement is not None else math.nan)
    if traces.heel:
        drawn["day-traces"] = day_traces(traces, points, plan.test.utc_offset_h)
    if any(traces.windows.values()):
        drawn["windows-close-up"] = window_close_up(traces, points)
    if answer.waterline.value is not None and plan.vessel.length_m is not None and answer.waterline.value.readings:
        drawn["waterline"] = waterline_profile(answer.waterline.value, plan.vessel.length_m)
    if answer.conditions:
        drawn["allowable-kg"] = allowable_kg(answer.conditions, answer.confidence)
    for number, (_, result, unit, factor) in enumerate(method_part.budgets(answer)[:2]):
        drawn[f"budget-{number}"] = budget_bars(f"budget-{number}", result, unit, factor)
    for name, point, check in annex_part.evidence_of(answer):
        drawn[name] = evidence(name, point, check, traces.epoch_ns)
    if answer.day is not None and spectrum_part.spectrum_section(answer) is not None:
        drawn["heel-spectrum"] = heel_spectrum(answer.day, plan.settings.window_s)
    return drawn
