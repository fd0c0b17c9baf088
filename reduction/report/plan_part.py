"""Sections on what was aboard and around: weights, movements, people, lines, tanks, services, time table."""

from __future__ import annotations

from config.errors import BadInput
from config.plan import Movement, Plan
from config.sequence import movements, spell
from reduction.report.document import Block, Cell, Column, Paragraph, Section, Table
from reduction.report.numbers import TONNE_METRES, fixed, quantity, shown, significant
from reduction.report.words import listed, people_counted
from reduction.types import Answer


def weights_section(answer: Answer, plan: Plan) -> Section:
    """Test weights with their certificates, and the sequence of movements with the moments made."""
    blocks: list[Block] = []
    if plan.weights:
        rows = tuple(
            (
                w.name,
                str(shown(w.mass_t, (w.mass_u95_kg or 0.0) / 1e3, "")),
                place(w.port_m),
                place(w.starboard_m),
                "not stated" if w.position_u95_m is None else f"± {significant(w.position_u95_m, 2)}",
                w.certificate or "none on record",
            )
            for w in plan.weights
        )
        columns = (
            Column("weight"),
            Column("mass, t", "right"),
            Column("to port at x, y, z, m", "right"),
            Column("to starboard at x, y, z, m", "right"),
            Column("athwartships, m", "right"),
            Column("certificate", weight=1),
        )
        blocks.append(Table("Test weights", columns, rows, "Positions of each centre of gravity, measured beforehand."))
    steps = sequence(plan)
    if steps:
        blocks.append(Table("Movements", MOVEMENT_COLUMNS, movement_rows(answer, steps)))
    if not blocks:
        blocks.append(Paragraph("Moments were given state by state; weights are not listed in this folder."))
    return Section("weights", "Weights and movements", tuple(blocks))


MOVEMENT_COLUMNS = (Column("movement"), Column("what was moved", weight=1), Column("moment after it, t m", "right"))


def sequence(plan: Plan) -> tuple[Movement, ...]:
    """Spell out the movements; none where the plan's own sequence does not fit its weights."""
    try:
        return movements(plan)
    except BadInput:
        return ()


def movement_rows(answer: Answer, steps: tuple[Movement, ...]) -> tuple[tuple[Cell, ...], ...]:
    """Each movement in words with the moment of the window made in it, where its label is the movement's."""
    points = answer.gm.value.points if answer.gm.value is not None else ()
    moment = {p.label: fixed(p.moment * TONNE_METRES, 3) for p in points}
    rows: list[tuple[Cell, ...]] = []
    for number, step in enumerate(steps):
        words = spell(step).partition(": ")[2]
        planned = "" if step.moment_tm is None else fixed(step.moment_tm, 3)
        text = f"start: {words}" if number == 0 and words != "no weight moves" else words
        note = f" ({step.note})" if step.note else ""
        rows.append((step.label, text + note, moment.get(step.label, planned or "–")))
    return tuple(rows)


LINE_COLUMNS = (Column("line or fender", weight=1), Column("kind"), Column("side"), Column("tended by", weight=1))
SERVICE_COLUMNS = (Column("off during the test", weight=1), Column("what stood in for it", weight=1))


def people_section(plan: Plan) -> Section:
    """Who was aboard and where each stood; lines and fenders; services off."""
    blocks: list[Block] = []
    where = {m.name: place(m.position_m) for m in plan.muster_stations}
    if plan.people:
        rows = tuple(
            (p.name, p.duty or "–", fixed(p.mass_kg, 0), p.muster_station, where.get(p.muster_station, "–"))
            for p in plan.people
        )
        total = sum(p.mass_kg for p in plan.people)
        columns = (
            Column("name", weight=1),
            Column("duty", weight=1),
            Column("mass, kg", "right"),
            Column("muster station"),
            Column("at x, y, z, m", "right"),
        )
        blocks.append(
            Table(
                "People aboard during every window",
                columns,
                rows,
                "75 kg a person where nobody was weighed (MGN 280, 11.4.1).",
                total=(people_counted(len(plan.people)), "", fixed(total, 0), "", ""),
            )
        )
    else:
        blocks.append(Paragraph("No people are listed in this folder."))
    if plan.moorings:
        lines = tuple((m.name, str(m.kind), str(m.side or "–"), m.tended_by or "–") for m in plan.moorings)
        blocks.append(Table("Lines and fenders", LINE_COLUMNS, lines))
    if plan.services:
        services = tuple((s.name, s.stands_in or "–") for s in plan.services)
        blocks.append(Table("Services", SERVICE_COLUMNS, services))
    if plan.stations:
        blocks.append(stations_table(plan))
    return Section("people", "People, lines, instruments", tuple(blocks))


def stations_table(plan: Plan) -> Table:
    """The instruments with what their calibration says."""
    rows: list[tuple[Cell, ...]] = []
    for s in plan.stations:
        c = s.calibration
        measures = listed(list(dict.fromkeys(channel.quantity.replace("_", " ") for channel in s.channels)))
        scale = (
            "not stated, 0.5 % assumed" if c.scale_u95_percent is None else f"± {significant(c.scale_u95_percent)} %"
        )
        rows.append(
            (
                s.name,
                s.kind.replace("_", "-") + (f", {significant(s.length_m)} m" if s.length_m else ""),
                measures,
                place(s.position_m) if s.position_m else "–",
                scale if "heel" in measures else "–",
                " ".join(str(part) for part in (c.certificate, c.made_on or "") if part) or "none on record",
            )
        )
    columns = (
        Column("station"),
        Column("kind", weight=1),
        Column("measures"),
        Column("at x, y, z, m", "right"),
        Column("scale"),
        Column("calibration", weight=1),
    )
    return Table("Instruments", columns, tuple(rows))


def tanks_section(answer: Answer, plan: Plan) -> Section:
    """Every tank as it stood, and the free surface carried into KG."""
    blocks: list[Block] = []
    if plan.tanks:
        found = {item.name: item for item in answer.survey if item.group == "tanks"}
        rows: list[tuple[Cell, ...]] = []
        for tank in plan.tanks:
            item = found.get(tank.name)
            mass = item.mass / 1e3 if item is not None else tank.mass_t
            rows.append(
                (
                    tank.name,
                    tank.contents or "–",
                    tank.state,
                    "–" if tank.sounding_m is None else fixed(tank.sounding_m, 3),
                    fixed(tank.density_kg_m3, 0),
                    "–" if mass is None else significant(mass),
                    "–" if item is None else significant(item.free_surface * TONNE_METRES, 3),
                    tank.part_of.replace("_", " "),
                )
            )
        columns = (
            Column("tank", weight=1),
            Column("contents"),
            Column("state"),
            Column("sounding, m", "right"),
            Column("density, kg/m³", "right"),
            Column("mass, t", "right"),
            Column("free surface, t m", "right"),
            Column("part of"),
        )
        blocks.append(Table("Tanks during the test", columns, tuple(rows)))
    else:
        blocks.append(Paragraph("No tanks are listed in this folder."))
    if answer.as_inclined.value is not None:
        total = quantity(answer.as_inclined.value.free_surface, "t m", TONNE_METRES, answer.confidence)
        blocks.append(
            Paragraph(f"Free-surface moments aboard during the test: {total}. The GM measured is the fluid one.")
        )
    return Section("tanks", "Tanks and free surface", tuple(blocks))


def timetable_section(plan: Plan) -> Section | None:
    """The planned day; None without one."""
    if not plan.schedule:
        return None
    rows = tuple((step.at.strftime("%H:%M"), step.what, step.who or "–") for step in plan.schedule)
    columns = (Column("at", "right"), Column("what", weight=2), Column("who", weight=1))
    return Section("timetable", "Time table", (Table("The day as planned", columns, rows),))


def place(point: tuple[float, float, float]) -> str:
    """Print a position.

    >>> place((20.0, -4.2, 6.05))
    '20.00, −4.20, 6.05'
    """
    return ", ".join(fixed(c, 2) for c in point)
