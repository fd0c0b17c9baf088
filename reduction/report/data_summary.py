"""A data summary that an authority can use when it writes a temporary letter. The letter is theirs: we write none."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from config.plan import Plan
from reduction.report.compose import occasion_facts, titled
from reduction.report.document import Block, Caution, Cell, Column, Document, Paragraph, Section, Signatures, Table
from reduction.report.first_page import assumptions_of, results, windows_in_words
from reduction.report.marks_part import voided_in_words
from reduction.report.method_part import checks_section
from reduction.report.numbers import METRES, confidence_words, fixed, quantity
from reduction.report.spectrum_part import roll_in_words
from reduction.report.words import missing_in_words
from reduction.types import Answer
from reduction.verdict.limits import gm_wanted

if TYPE_CHECKING:
    from logger.events import Event


def data_summary(answer: Answer, plan: Plan | None = None, events: Sequence[Event] = ()) -> Document:
    """Compose the summary: figures with intervals, what they rest on, what is open; no permission of any kind.

    Hand it to `print_html` or `print_pdf`. ``events``: marks of the day, for the windows that a person voided.
    """
    plan = plan or Plan()
    body = plan.test.approving_body or "the authority or class"
    standing = f"Data for {body}. Preliminary until accepted; this paper permits nothing"
    return Document(
        title=titled(answer.name),
        kind="Data summary",
        standing=standing,
        facts=occasion_facts(plan),
        front=(
            Caution(
                "What this is not",
                (
                    "It is no letter, certificate or permission to load or sail. Whether and how the vessel may "
                    f"operate meanwhile is for {body} to say, in its own words.",
                ),
            ),
            results_table(answer),
        ),
        sections=(
            Section("basis", "What the figures rest on", basis(answer, plan, voided_in_words(events, plan))),
            Section("open", "What is still open", open_points(answer)),
            checks_section(answer),
            Section("signed", "Submitted by", (Signatures((("Coordinator", plan.test.coordinator),)),)),
        ),
        footer=f"{titled(answer.name)}, data summary. {standing}. quietheel {answer.provenance.version}, "
        f"{answer.provenance.made_at}",
        contents=False,
    )


def results_table(answer: Answer) -> Table:
    """Every result with its interval and what it refers to."""
    rows: list[tuple[Cell, ...]] = [
        (r.name, r.value, f"± {r.interval}" if r.interval else "not known", r.unit, r.span, r.basis)
        for r in results(answer)
    ]
    columns = (
        Column("result"),
        Column("value", "right"),
        Column("half width", "right"),
        Column("unit"),
        Column("interval", weight=1),
        Column("reference", weight=1),
    )
    return Table(f"Results with intervals of {confidence_words(answer.confidence)}", columns, tuple(rows))


def basis(answer: Answer, plan: Plan, voided: Sequence[str] = ()) -> tuple[Block, ...]:
    """Method, windows, margins and digests, in a few lines."""
    blocks: list[Block] = []
    if answer.gm.value is not None:
        gm = answer.gm.value
        line = quantity(gm.line, "m", METRES, answer.confidence)
        carried = "true curve" if gm.carried == "curve" else "straight line"
        blocks.append(Paragraph(f"GM by the {carried} is carried on; the straight line gives {line}. {gm.difference}"))
        blocks += [Paragraph(sentence) for sentence in windows_in_words(answer, plan, voided)]
    if answer.day is not None and math.isfinite(answer.day.roll.period):
        blocks.append(Paragraph(roll_in_words(answer.day.roll, answer.confidence)))
    wanted = gm_wanted(answer, plan)
    if wanted is not None:
        blocks.append(Paragraph(wanted[1]))
    if answer.conditions:
        rows = tuple(
            (
                c.name,
                str(quantity(c.kg, "", METRES, answer.confidence)),
                fixed(c.allowable, 3),
                fixed(c.margin, 3),
                c.verdict,
            )
            for c in answer.conditions
        )
        columns = (
            Column("condition", weight=1),
            Column("KG fluid, m", "right"),
            Column("allowed, m", "right"),
            Column("margin, m", "right"),
            Column("verdict"),
        )
        blocks.append(Table("Conditions against the allowable KG in the plan", columns, rows))
    if answer.provenance.inputs:
        files = (Column("file"), Column("SHA-256", weight=1))
        blocks.append(Table("Inputs", files, answer.provenance.inputs, small=True))
    return tuple(blocks) or (Paragraph("Nothing could be computed."),)


def open_points(answer: Answer) -> tuple[Block, ...]:
    """What was assumed, is missing, or was not met."""
    points = [f"Missing: {what}: {reason}" for what, reason in missing_in_words(answer.missing)]
    points += [f"Assumed: {sentence}" for sentence in assumptions_of(answer)]
    points += [f"Not met: {a.says} ({a.source})" for a in answer.advice if a.met is False]
    points += [f"Not checked: {a.says} ({a.source})" for a in answer.advice if a.met is None]
    return tuple(Paragraph(point) for point in points) or (Paragraph("Nothing is known to be open."),)
