"""Sections on how she floated, what came off and went on, the lightship, and what it is held against."""

from __future__ import annotations

import math

from config.plan import Plan
from config.units import COVERAGE_95
from dsp.types import BudgetLine
from reduction.report.document import Block, Cell, Column, Facts, Figure, Mark, Paragraph, Section, Table
from reduction.report.first_page import degrees
from reduction.report.numbers import METRES, TONNE_METRES, TONNES, fixed, quantity, shown, significant
from reduction.report.words import WORDS
from reduction.types import Answer, Centre, Floating, Quantified, SurveyItem, Waterline

GROUPS = ("survey", "test weights", "people", "tanks")
ACTIONS = {"off": "comes off", "on": "goes on", "move": "is moved"}


def waterline_section(answer: Answer, plan: Plan) -> Section:
    """Draughts, freeboards, density, hydrostatics, and the condition as inclined."""
    blocks: list[Block] = []
    if answer.waterline.value is not None:
        water = answer.waterline.value
        if plan.vessel.length_m is not None and water.readings:
            blocks.append(Figure("waterline", WATERLINE_CAPTION, waterline_in_words(water)))
        blocks.append(Facts(waterline_facts(water, answer.confidence)))
        blocks.append(readings_table(water))
    else:
        blocks.append(Paragraph(f"No waterline was worked out: {answer.waterline.reason or 'no readings on record'}."))
    if answer.floating.value is not None:
        blocks += floating_blocks(answer.floating.value)
    else:
        blocks.append(Paragraph(f"No hydrostatics: {answer.floating.reason or 'not given'}."))
    if answer.as_inclined.value is not None:
        blocks.append(as_inclined_table(answer))
    return Section("waterline", "How she floated", tuple(blocks))


WATERLINE_CAPTION = (
    "Every reading as a height of the waterline above the baseline, list taken out, on the fitted waterline; dashed: "
    "the straight line of the ends. Below: what each reading is off the fit. ✕ left out."
)


def waterline_in_words(water: Waterline) -> str:
    """Say what the profile shows."""
    out = [r.label for r in water.readings if not r.used]
    return (
        f"{len(water.readings)} draught and freeboard readings along the length with the fitted waterline. "
        f"Left out: {', '.join(out) or 'none'}. The table of readings has every figure."
    )


def waterline_facts(water: Waterline, confidence: float) -> tuple[tuple[str, str], ...]:
    """Draughts, trim, list, hog and density with intervals."""

    def metres(value: Quantified) -> str:
        return str(quantity(value, "m", METRES, confidence))

    hog = "hogged" if water.hog.value > 0 else "sagged" if water.hog.value < 0 else "straight"
    return (
        ("mean draught amidships", metres(water.mean_draught)),
        ("draught aft", metres(water.draught_aft)),
        ("draught forward", metres(water.draught_forward)),
        ("trim, by the stern positive", metres(water.trim)),
        ("list, starboard down positive", degrees(water.list, confidence)),
        (f"hog, keel up positive ({hog})", metres(water.hog)),
        ("density of the water", str(quantity(water.density, "kg/m³", 1.0, confidence))),
    )


def readings_table(water: Waterline) -> Table:
    """Draught and freeboard readings as read, with what the fit made of each."""
    rows: list[tuple[Cell, ...]] = [
        (
            r.label,
            r.kind,
            fixed(r.x, 2),
            fixed(r.y, 2),
            fixed(r.reading, 3),
            str(shown(r.waterline_z, COVERAGE_95 * r.u, "")),
            fixed(1e3 * r.residual, 0),
            Mark("used", "fine") if r.used else Mark("left out", "rejected"),
            r.says,
        )
        for r in water.readings
    ]
    columns = (
        Column("reading"),
        Column("kind"),
        Column("x, m", "right"),
        Column("y, m", "right"),
        Column("as read, m", "right"),
        Column("waterline, m", "right"),
        Column("off the fit, mm", "right"),
        Column(""),
        Column("remark", weight=1),
    )
    return Table(
        "Draughts and freeboards", columns, tuple(rows), "Waterline: above the moulded baseline, keel allowed for."
    )


def floating_blocks(floating: Floating) -> list[Block]:
    """Hydrostatics at the waterline, with the corrections applied."""
    rows: tuple[tuple[str, float, str], ...] = (
        ("displacement", floating.displacement * TONNES, "t"),
        ("LCB forward of aft perpendicular", floating.lcb, "m"),
        ("KB", floating.kb, "m"),
        ("LCF forward of aft perpendicular", floating.lcf, "m"),
        ("BM transverse", floating.bm, "m"),
        ("KM transverse", floating.km, "m"),
        ("KM longitudinal", floating.kml, "m"),
        ("tonnes per centimetre", floating.tpc * TONNES / 100.0, "t/cm"),
        ("moment to change trim one centimetre", floating.mct * TONNE_METRES / 100.0, "t m/cm"),
    )
    facts = tuple((name, f"{significant(value, 5)} {unit}") for name, value, unit in rows if math.isfinite(value))
    blocks: list[Block] = [Paragraph(f"Hydrostatics at this waterline, from: {floating.source}."), Facts(facts)]
    if floating.corrections:
        blocks.append(corrections_table(floating.corrections))
    return blocks


def corrections_table(corrections: tuple[BudgetLine, ...]) -> Table:
    """Each correction to the displacement by name and amount."""
    rows = tuple((line.source, fixed(line.u * TONNES, 3), line.note) for line in corrections)
    columns = (Column("correction", weight=1), Column("amount, t", "right"), Column("remark", weight=1))
    return Table("Corrections applied to the displacement", columns, rows)


def as_inclined_table(answer: Answer) -> Table:
    """Displacement, KM, GM, free surface, KG, LCG, TCG as inclined."""
    done = answer.as_inclined.value
    assert done is not None
    c = answer.confidence
    rows: list[tuple[Cell, ...]] = [
        ("displacement", str(quantity(done.displacement, "t", TONNES, c)), ""),
        ("KM", str(quantity(done.km, "m", METRES, c)), "transverse metacentre above baseline"),
        ("GM fluid", str(quantity(done.gm_fluid, "m", METRES, c)), "as measured"),
        ("free-surface moments", str(quantity(done.free_surface, "t m", TONNE_METRES, c)), "during the test"),
        ("KG solid", str(quantity(done.kg, "m", METRES, c)), "KM less GM fluid less free surface over displacement"),
    ]
    for name, maybe, unit in (
        ("LCG", done.lcg, "m"),
        ("TCG", done.tcg, "m"),
        ("natural roll period", done.roll_period, "s"),
        ("radius of gyration over breadth", done.radius_ratio, ""),
    ):
        if maybe.value is not None:
            rows.append((name, str(quantity(maybe.value, unit, METRES, c)), maybe.value.note))
        else:
            rows.append((name, "–", maybe.reason or "not computed"))
    columns = (Column("as inclined"), Column("value", "right"), Column("remark", weight=1))
    return Table("The vessel as inclined", columns, tuple(rows))


def survey_section(answer: Answer) -> Section:
    """Everything that comes off, goes on or is moved, group by group, and the lightship it leads to."""
    blocks: list[Block] = []
    known = [g for g in GROUPS if any(i.group == g for i in answer.survey)]
    rest = sorted({i.group for i in answer.survey} - set(GROUPS))
    for group in [*known, *rest]:
        items = tuple(i for i in answer.survey if i.group == group)
        blocks.append(items_table(group or "other", items))
    if not answer.survey:
        blocks.append(Paragraph("No deadweight survey is in this folder."))
    if answer.lightship.value is not None:
        blocks.append(lightship_table(answer.lightship.value, answer.confidence))
    else:
        blocks.append(Paragraph(f"Lightship was not computed: {answer.lightship.reason or 'not given'}."))
    return Section("survey", "From as inclined to lightship", tuple(blocks))


def items_table(group: str, items: tuple[SurveyItem, ...]) -> Table:
    """One group of things, with mass and centre of each."""
    with_space = any(i.space for i in items)
    rows: list[tuple[Cell, ...]] = []
    for item in items:
        moved = f" to {fixed(item.to[0], 2)}, {fixed(item.to[1], 2)}, {fixed(item.to[2], 2)}" if item.to else ""
        rows.append(
            (
                *((item.space or "–",) if with_space else ()),
                item.name + (" (ballast)" if item.ballast else ""),
                ACTIONS.get(item.action, item.action) + moved,
                str(shown(item.mass, COVERAGE_95 * item.mass_u, "", TONNES)),
                fixed(item.x, 2),
                fixed(item.y, 2),
                fixed(item.z, 2),
                *((item.surveyed_by or "–",) if with_space else ()),
            )
        )
    columns = (
        *((Column("space"),) if with_space else ()),
        Column("item", weight=1),
        Column("what happens"),
        Column("mass, t", "right"),
        Column("x, m", "right"),
        Column("y, m", "right"),
        Column("z, m", "right"),
        *((Column("seen by"),) if with_space else ()),
    )
    net = sum((i.mass if i.action == "on" else -i.mass) for i in items if i.action != "move")
    lead = 2 if with_space else 1
    blanks = len(columns) - lead - 2
    total: tuple[Cell, ...] = (
        *([""] * (lead - 1)),
        f"{len(items)} line{'' if len(items) == 1 else 's'}",
        "net, t",
        fixed(net * TONNES, 3),
    )
    return Table(group.capitalize(), columns, tuple(rows), total=(*total, *([""] * blanks)))


def lightship_table(light: Centre, confidence: float) -> Table:
    """The lightship."""
    rows: tuple[tuple[Cell, ...], ...] = (
        ("mass", *parted(light.mass, "t", TONNES, confidence), ""),
        ("VCG", *parted(light.vcg, "m", METRES, confidence), "above the moulded baseline"),
        ("LCG", *parted(light.lcg, "m", METRES, confidence), "forward of the aft perpendicular"),
        ("TCG", *parted(light.tcg, "m", METRES, confidence), "to starboard of the centreline"),
    )
    columns = (
        Column("lightship"),
        Column("value ± half width", "right"),
        Column("interval", weight=1),
        Column("reference", weight=1),
    )
    return Table("Lightship", columns, rows)


def parted(result: Quantified, unit: str, factor: float, confidence: float) -> tuple[str, str]:
    """Value with half width, and the interval in words."""
    text = quantity(result, unit, factor, confidence)
    return str(text), text.span if text.interval else result.note or text.span


def limits_section(answer: Answer) -> Section | None:
    """Allowable KG of each condition, and deviations from the previous lightship; None where nothing is compared."""
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
    if answer.deviations:
        blocks.append(deviations_table(answer))
    return Section("limits", "Held against limits", tuple(blocks)) if blocks else None


def chance(probability: float) -> str:
    """Print a chance; never as nothing or as certain.

    >>> chance(0.0), chance(0.21), chance(0.9999)
    ('below 0.1 %', '21.0 %', 'above 99.9 %')
    """
    if probability < 0.001:
        return "below 0.1 %"
    return "above 99.9 %" if probability > 0.999 else f"{fixed(100.0 * probability, 1)} %"


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
