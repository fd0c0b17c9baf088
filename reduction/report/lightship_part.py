"""Section on what came off, went on and was moved, and the lightship it leads to."""

from __future__ import annotations

import math

from config.survey_table import SurveyRow
from config.units import COVERAGE_95
from reduction.report.document import Block, Cell, Column, Mark, Paragraph, Section, Table
from reduction.report.numbers import METRES, TONNE_METRES, TONNES, fixed, quantity, shown
from reduction.types import Answer, Centre, Quantified, SurveyItem

GROUPS = ("survey", "test weights", "people", "tanks")
ITEMS = ("off", "on", "move")
ACTIONS = {"off": "comes off", "on": "goes on", "move": "is moved"}


def survey_section(answer: Answer, rows: tuple[SurveyRow, ...] = ()) -> Section:
    """Everything that comes off, goes on or is moved, group by group; the spaces; the lightship it leads to."""
    blocks: list[Block] = []
    known = [g for g in GROUPS if any(i.group == g for i in answer.survey)]
    rest = sorted({i.group for i in answer.survey} - set(GROUPS))
    for group in [*known, *rest]:
        items = tuple(i for i in answer.survey if i.group == group)
        blocks.append(items_table(group or "other", items))
    if not answer.survey:
        blocks.append(Paragraph("No deadweight survey is in this folder."))
    if any(row.space for row in rows):
        blocks.append(spaces_table(rows))
    steps = steps_table(answer)
    if steps is not None:
        blocks.append(steps)
    if answer.lightship.value is not None:
        blocks.append(lightship_table(answer.lightship.value, answer.confidence))
    else:
        blocks.append(Paragraph(f"Lightship was not computed: {answer.lightship.reason or 'not given'}."))
    return Section("survey", "From as inclined to lightship", tuple(blocks))


def spaces_table(rows: tuple[SurveyRow, ...]) -> Table:
    """Every space of the survey: seen or not, by whom, how many items."""
    made: list[tuple[Cell, ...]] = []
    for space in dict.fromkeys(row.space for row in rows if row.space):
        here = [row for row in rows if row.space == space]
        items = [row for row in here if row.action in ITEMS]
        unseen = [row for row in here if row.action == "not surveyed"]
        mark = Mark("not surveyed", "caution") if unseen else Mark("seen", "fine")
        who = ", ".join(dict.fromkeys(row.surveyed_by for row in here if row.surveyed_by and row not in unseen))
        confirmed = f"{sum(row.confirmed for row in items)} of {len(items)}" if items else "–"
        notes = "; ".join(row.note or row.item for row in unseen)
        made.append((space, mark, str(len(items)), confirmed, who or "–", notes))
    columns = (
        Column("space", weight=1),
        Column(""),
        Column("items", "right"),
        Column("confirmed", "right"),
        Column("seen by", weight=1),
        Column("why not", weight=1),
    )
    return Table("Spaces surveyed", columns, tuple(made))


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


STEP_COLUMNS = (
    Column("", weight=1),
    Column("mass, t", "right"),
    Column("z, m", "right"),
    Column("vertical moment, t\N{NO-BREAK SPACE}m", "right"),
    Column("x, m", "right"),
    Column("longitudinal moment, t\N{NO-BREAK SPACE}m", "right"),
    Column("y, m", "right"),
    Column("transverse moment, t\N{NO-BREAK SPACE}m", "right"),
)
STEPS_NOTE = (
    "Moments about the moulded baseline, the aft perpendicular and the centreline, starboard positive; what comes off "
    "is negative, what is moved has no mass and the moment of its way. Test weights and people as they stood in the "
    "first state. The last line is the sum."
)


def steps_table(answer: Answer) -> Table | None:
    """Masses and moments from as inclined to lightship, group by group; None where a centre is not known."""
    done = answer.as_inclined.value
    if done is None or done.lcg.value is None or done.tcg.value is None or answer.lightship.value is None:
        return None
    mass = done.displacement.value
    total = [mass, mass * done.kg.value, mass * done.lcg.value.value, mass * done.tcg.value.value]
    rows = [_step("as inclined", total)]
    for group in dict.fromkeys(item.group for item in answer.survey):
        for action, words in ACTIONS.items():
            items = [i for i in answer.survey if i.group == group and i.action == action]
            if not items:
                continue
            part = [math.fsum(column) for column in zip(*(_moments(item) for item in items), strict=True)]
            total = [a + b for a, b in zip(total, part, strict=True)]
            rows.append(_step(f"{group or 'other'}: {words}", part))
    name, *cells = _step("lightship", total)
    return Table("Masses and moments", STEP_COLUMNS, tuple(rows), STEPS_NOTE, total=(name, *cells), small=True)


def _moments(item: SurveyItem) -> tuple[float, float, float, float]:
    """Mass (kg), vertical, longitudinal and transverse moment (kg m) that an item adds."""
    if item.action == "move" and item.to is not None:
        x, y, z = (there - here for there, here in zip(item.to, (item.x, item.y, item.z), strict=True))
        return 0.0, item.mass * z, item.mass * x, item.mass * y
    mass = item.mass if item.action == "on" else -item.mass
    return mass, mass * item.z, mass * item.x, mass * item.y


def _step(name: str, sums: list[float]) -> tuple[Cell, ...]:
    mass, *moments = sums
    cells: list[Cell] = [name, fixed(mass * TONNES, 3)]
    for moment in moments:
        cells += [fixed(moment / mass, 3) if mass else "–", fixed(moment * TONNE_METRES, 2)]
    return tuple(cells)


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
