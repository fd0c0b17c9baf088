"""Sections on how far the result can be trusted: checks, budget, methods, assumptions, cautions, inputs, signatures."""

from __future__ import annotations

import json

from config.plan import Plan
from reduction.report.document import (
    Block,
    Bullets,
    Caution,
    Cell,
    Column,
    Facts,
    Figure,
    Mark,
    Paragraph,
    Section,
    Signatures,
    Table,
)
from reduction.report.figures import gathered, shares
from reduction.report.first_page import assumptions_of, displacement_of
from reduction.report.numbers import (
    METRES,
    TONNES,
    confidence_words,
    decimals_for,
    fixed,
    percent,
    quantity,
    significant,
)
from reduction.report.words import missing_in_words
from reduction.types import Answer, Quantified
from reduction.verdict.headline import REMEDY, behind

BudgetOf = tuple[str, Quantified, str, float]


def checks_section(answer: Answer) -> Section:
    """Procedure checks, each with the source of the guidance and how that source was come by."""
    if not answer.advice:
        return Section("checks", "Procedure checks", (Paragraph("No procedure checks were made."),))
    rows: list[tuple[Cell, ...]] = []
    for advice in answer.advice:
        if advice.met is None:
            mark = Mark("not checked", "open")
        else:
            mark = Mark("met", "fine") if advice.met else Mark("not met", "caution")
        says = advice.says + (f" Departure on record: {advice.departure}" if advice.departure else "")
        source = advice.source + ("" if advice.status in ("read", advice.source) else f" ({advice.status})")
        rows.append((mark, says, source))
    columns = (Column("met"), Column("what was found and what is wanted", weight=2), Column("source", weight=1))
    note = (
        "Advice, held against published guidance: the responsible person may differ, with a reason on record. Sources "
        "marked from memory were not read in the document; check them there before relying on them."
    )
    return Section("checks", "Procedure checks", (Table("Checks of the procedure", columns, tuple(rows), note),))


def measured(answer: Answer) -> tuple[BudgetOf, ...]:
    """Every result there is: name, value, unit printed, factor to it."""
    found: list[BudgetOf] = []
    if answer.gm.value is not None:
        found.append(("GM", answer.gm.value.gm, "m", METRES))
    if answer.as_inclined.value is not None:
        found.append(("KG as inclined", answer.as_inclined.value.kg, "m", METRES))
    displacement = displacement_of(answer)
    if displacement is not None:
        found.append(("displacement", displacement, "t", TONNES))
    if answer.lightship.value is not None:
        light = answer.lightship.value
        found.append(("lightship mass", light.mass, "t", TONNES))
        found.append(("lightship VCG", light.vcg, "m", METRES))
        found.append(("lightship LCG", light.lcg, "m", METRES))
        found.append(("lightship TCG", light.tcg, "m", METRES))
    return tuple(found)


def budgets(answer: Answer) -> tuple[BudgetOf, ...]:
    """Every result that has a budget behind it."""
    return tuple(row for row in measured(answer) if shares(row[1]))


def budget_section(answer: Answer) -> Section:
    """Where each interval comes from, and what to improve first."""
    blocks: list[Block] = []
    for number, (name, result, unit, factor) in enumerate(budgets(answer)):
        ranked = shares(result)
        first, _, share = ranked[0]
        if number < 2:
            caption = f"Budget of {name}: standard uncertainty by source; improve the dark bar first."
            alt = "; ".join(f"{source} {percent(part)}" for source, _, part in ranked)
            blocks.append(Figure(f"budget-{number}", caption, f"Bars, largest first: {alt}"))
        notes = {line.source: line.note for line in result.budget}
        rows: list[tuple[Cell, ...]] = []
        for source, u, part, names in gathered(result):
            decimals = decimals_for(u * factor)
            printed = fixed(u * factor, 4 if decimals is None else decimals)
            rows.append((source, printed, percent(part), notes.get(source, names)))
        columns = (
            Column("source", weight=1),
            Column(f"standard uncertainty, {unit}", "right"),
            Column("share of variance", "right"),
            Column("remark", weight=1),
        )
        total = quantity(result, unit, factor, answer.confidence)
        cure = REMEDY.get(behind(first, answer), f"improve {first}")
        note = f"{name}: {total}. To narrow it, {cure} first: {first} carries {percent(share)} of the variance."
        blocks.append(Table(f"Budget of {name}", columns, tuple(rows), note, small=True))
    if not blocks:
        blocks.append(Paragraph("No budget could be drawn up."))
    return Section("budget", "Where the uncertainty comes from", tuple(blocks))


def methods_section(answer: Answer) -> Section:
    """Methods held against one another: with the GUM and by random draws."""
    blocks: list[Block] = []
    drawn = answer.monte_carlo.value
    if drawn is None:
        why = answer.monte_carlo.reason or "not asked for"
        blocks.append(Paragraph(f"Intervals were not checked by random draws: {why}."))
    else:
        rows: list[tuple[Cell, ...]] = []
        for name, result, unit, factor in measured(answer):
            key = {"GM": "gm", "KG as inclined": "kg"}.get(name, name.removeprefix("lightship ").lower())
            if key in drawn and result.u > 0.0:
                text = quantity(result, unit, factor, answer.confidence)
                decimals = decimals_for(result.u95(answer.confidence) * factor)
                low, high = (fixed(edge * factor, 4 if decimals is None else decimals) for edge in drawn[key])
                rows.append((name, f"{text.low} to {text.high} {unit}", f"{low} to {high} {unit}"))
        columns = (Column("result", weight=1), Column("by the GUM", "right"), Column("by random draws", "right"))
        note = "GUM: JCGM 100:2008. Random draws: JCGM 101:2008. Where they differ, the wider one is the safer reading."
        caption = f"Intervals of {confidence_words(answer.confidence)} by two ways"
        blocks.append(Table(caption, columns, tuple(rows), note))
    return Section("methods", "Two ways to the same interval", tuple(blocks))


def assumptions_section(answer: Answer) -> Section:
    """What had to be assumed, and what could not be computed."""
    everything = assumptions_of(answer)
    blocks: list[Block] = [
        Bullets(everything, title="Assumed") if everything else Paragraph("Nothing had to be assumed.")
    ]
    if answer.missing:
        rows = missing_in_words(answer.missing)
        columns = (Column("result"), Column("why it is not there", weight=1))
        blocks.append(Table("What could not be computed", columns, rows))
    return Section("assumptions", "Assumptions and gaps", tuple(blocks))


def cautions_section() -> Section:
    """What a reader must not do with these figures."""
    items = (
        "These figures are preliminary until the authority accepts them. Do not load, sail or sign on them before.",
        "Local rules and the instructions of the authority come before anything printed here.",
        "An interval covers what is listed in its budget. A mistake in a mass, a distance, a tank or a hull drawing "
        "that nobody suspects is in no budget.",
        "A straight plot is no proof that she floated free: a line that holds her all day changes the slope, not the "
        "straightness. Trust what was seen and confirmed at the lines.",
        "Before tanks or closed spaces are opened to check a figure: ventilate, test the air, have someone stand by.",
    )
    return Section("cautions", "Cautions", (Caution("Before using this report", items),))


def inputs_section(answer: Answer, plan: Plan) -> Section:
    """Reference planes, version, inputs with digests, settings: enough to make the same answer again."""
    made = answer.provenance
    blocks: list[Block] = [
        Facts(
            (
                ("x", "forward of the aft perpendicular"),
                ("y", "to starboard of the centreline"),
                ("z", "above the moulded baseline"),
                ("heel", "positive starboard side down"),
                ("trim", "positive by the stern (draught aft less draught forward)"),
                ("water density of the tables", f"{significant(plan.hydrostatics.density_kg_m3)} kg/m³"),
            )
        ),
        Facts((("made with", f"quietheel {made.version}"), ("made at", made.made_at))),
    ]
    if made.inputs:
        columns = (Column("file"), Column("SHA-256", weight=1))
        blocks.append(
            Table("Inputs", columns, made.inputs, "The same files and version give the same answer.", small=True)
        )
    if made.settings:
        rows = tuple((key, value_in_words(value)) for key, value in sorted(made.settings.items()))
        columns = (Column("setting"), Column("value", weight=1))
        blocks.append(Table("Settings of the reduction", columns, rows, small=True))
    return Section("inputs", "Reference planes, inputs, version", tuple(blocks))


def value_in_words(value: object) -> str:
    """Print a setting.

    >>> value_in_words(None), value_in_words([]), value_in_words(["aft", "fore"]), value_in_words(0.5)
    ('not set', 'none', 'aft, fore', '0.5')
    """
    if value is None:
        return "not set"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, (list, tuple)) and all(isinstance(item, str) for item in value):
        return ", ".join(value) or "none"
    return value if isinstance(value, str) else json.dumps(value, ensure_ascii=False, default=str)


def signatures_section(plan: Plan) -> Section:
    """Lines to sign on."""
    people = (
        ("Coordinator", plan.test.coordinator),
        ("Technician", plan.test.technician),
        ("Witness for the authority or class", plan.test.witness),
        ("For the owner", ""),
    )
    words = "Signing as witness says that the test was seen to be done as recorded, not that the result is approved."
    return Section("signatures", "Signatures", (Paragraph(words, "note"), Signatures(people)))
