"""Section on what the result is held against: allowable KG, the previous or estimated lightship."""

from __future__ import annotations

from config.plan import Plan
from reduction.report.document import Block, Cell, Column, Figure, Mark, Paragraph, Section, Table
from reduction.report.numbers import METRES, TONNES, fixed, quantity, significant
from reduction.report.words import WORDS
from reduction.types import Answer
from reduction.verdict.criteria import chance
from reduction.verdict.limits import gm_wanted


def limits_section(answer: Answer, plan: Plan) -> Section | None:
    """Allowable KG of each condition, the smallest GM wanted, deviations from the previous lightship; None without."""
    blocks: list[Block] = []
    if answer.conditions:
        alt = "; ".join(c.says or f"{c.name}: {c.verdict}" for c in answer.conditions)
        caption = "KG of each condition against the largest allowed, with its interval. Over the red line is over."
        blocks.append(Figure("allowable-kg", caption, alt))
        rows: list[tuple[Cell, ...]] = []
        for c in answer.conditions:
            tone, word = WORDS.get(c.verdict, ("open", c.verdict))
            rows.append(
                (
                    c.name,
                    str(quantity(c.kg, "", METRES, answer.confidence)),
                    fixed(c.allowable, 3),
                    fixed(c.margin, 3),
                    chance(c.probability_over),
                    Mark(word, tone),
                )
            )
        columns = (
            Column("condition", weight=1),
            Column("KG fluid, m", "right"),
            Column("allowed, m", "right"),
            Column("margin, m", "right"),
            Column("chance of being over", "right"),
            Column("verdict"),
        )
        blocks.append(Table("Conditions against the allowable KG", columns, tuple(rows)))
        blocks += [Paragraph(c.says[:1].upper() + c.says[1:]) for c in answer.conditions if c.says]
        blocks += made_of(answer, plan)
    wanted = gm_wanted(answer, plan)
    if wanted is not None:
        blocks.append(Paragraph(wanted[1]))
    if answer.deviations:
        blocks.append(deviations_table(answer))
    return Section("limits", "Held against limits", tuple(blocks)) if blocks else None


MADE_OF = "KG fluid: (lightship mass x VCG + deadweight x its VCG + free surface) / (lightship mass + deadweight)."
DEADWEIGHT_COLUMNS = (
    Column("condition", weight=1),
    Column("deadweight, t", "right"),
    Column("its VCG, m", "right"),
    Column("free surface, t\N{NO-BREAK SPACE}m", "right"),
    Column("displacement, t", "right"),
)


def made_of(answer: Answer, plan: Plan) -> list[Block]:
    """What each condition judged is made of, so that its KG can be worked out again by hand."""
    light = answer.lightship.value
    judged = {c.name for c in answer.conditions}
    rows: tuple[tuple[Cell, ...], ...] = tuple(
        (
            c.name,
            significant(c.mass_t, 6),
            fixed(c.vcg_m, 3),
            significant(c.free_surface_tm, 6),
            fixed(c.mass_t + light.mass.value * TONNES, 1) if light is not None else "–",
        )
        for c in plan.limits.conditions
        if c.name in judged
    )
    return [Table("What the conditions are made of", DEADWEIGHT_COLUMNS, rows, MADE_OF)] if rows else []


def deviations_table(answer: Answer) -> Table:
    """Lightship found against the previous or estimated one."""
    rows: list[tuple[Cell, ...]] = []
    for d in answer.deviations:
        tone, word = WORDS.get(d.verdict, ("open", d.verdict))
        rows.append(
            (
                d.what,
                f"{significant(d.value, 3)} {d.unit}",
                f"{significant(d.threshold, 3)} {d.unit}",
                Mark(word, tone),
                d.says,
                d.source,
            )
        )
    columns = (
        Column("what"),
        Column("found", "right"),
        Column("threshold", "right"),
        Column("verdict"),
        Column("in words", weight=2),
        Column("source", weight=1),
    )
    return Table("Against the previous or estimated lightship", columns, tuple(rows))
