"""Sections on what was aboard and around: weights, movements, people, lines, tanks, services, time table."""

from __future__ import annotations

import math

from config.errors import BadInput
from config.plan import Movement, Plan
from config.sequence import movements, spell
from config.tables import Tables
from config.units import COVERAGE_95, TONNE
from config.words import listed
from reduction.lightship.survey import aboard_surfaces
from reduction.moments import planned_states
from reduction.report.document import Block, Cell, Column, Paragraph, Section, Table
from reduction.report.numbers import HARD_SPACE, TONNE_METRES, TONNES, fixed, quantity, shown, significant
from reduction.report.words import people_counted
from reduction.shifts import noted_shifts
from reduction.types import Answer
from reduction.water.tanks import liquids

TM = f"t{HARD_SPACE}m"
"""Unit of a moment that no line break takes apart."""


def weights_section(answer: Answer, plan: Plan, tables: Tables | None = None) -> Section:
    """Test weights with their certificates, the sequence of movements with the moments made, and what else shifted."""
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
        blocks.append(movements_table(answer, plan, steps))
    blocks += shifts_tables(plan, tables or Tables())
    if not blocks:
        blocks.append(Paragraph("Moments were given state by state; weights are not listed in this folder."))
    return Section("weights", "Weights and movements", tuple(blocks))


def sequence(plan: Plan) -> tuple[Movement, ...]:
    """Spell out the movements; none where the plan's own sequence does not fit its weights."""
    try:
        return movements(plan)
    except BadInput:
        return ()


LEAST_SHIFT = 0.5
"""kg m: what a moment may differ from that of the weights by rounding."""


def movements_table(answer: Answer, plan: Plan, steps: tuple[Movement, ...]) -> Table:
    """Each movement in words with the moment of the window made in it, where its label is the movement's.

    Where people, crane or tanks shifted, the moments of the weights stand beside the whole.
    """
    points = answer.gm.value.points if answer.gm.value is not None else ()
    whole = {p.label: p.moment for p in points}
    weights = {label: s.moment for label, s in planned_states(plan, {}).items()} if plan.weights else {}
    typed = {step.label for step in steps if step.moment_tm is not None}
    apart = {
        label: whole[label] - weights[label]
        for label in whole
        if label in weights and label not in typed and abs(whole[label] - weights[label]) > LEAST_SHIFT
    }
    rows: list[tuple[Cell, ...]] = []
    for number, step in enumerate(steps):
        words = spell(step).partition(": ")[2]
        planned = "–" if step.moment_tm is None else fixed(step.moment_tm, 3)
        text = f"start: {words}" if number == 0 and words != "no weight moves" else words
        note = f" ({step.note})" if step.note else ""
        moment = fixed(whole[step.label] * TONNE_METRES, 3) if step.label in whole else planned
        beside: tuple[Cell, ...] = ()
        if apart:
            own = fixed(weights.get(step.label, math.nan) * TONNE_METRES, 3)
            beside = (own, fixed(apart[step.label] * TONNE_METRES, 3) if step.label in apart else "–")
        rows.append((step.label, text + note, *beside, moment))
    parts = (
        (
            Column(f"by the weights, {TM}", "right"),
            Column(f"by what shifted, {TM}", "right"),
        )
        if apart
        else ()
    )
    columns = (
        Column("movement"),
        Column("what was moved", weight=1),
        *parts,
        Column(f"moment after it, {TM}", "right"),
    )
    return Table("Movements", columns, tuple(rows), "Moments about the centreline, positive to starboard.")


SHIFT_COLUMNS = (
    Column("what", weight=1),
    Column("kind"),
    Column("windows"),
    Column("mass, t", "right"),
    Column("from x, y, z, m", "right"),
    Column("to x, y, z, m", "right"),
    Column(f"moment, {TM}", "right"),
)


def shifts_tables(plan: Plan, tables: Tables) -> list[Block]:
    """What shifts.csv says stood elsewhere in some windows, with the moment of each; none where it is empty."""
    if not tables.shifts:
        return []
    try:
        shifts, _ = noted_shifts(plan, tables)
    except BadInput:
        return []
    rows: tuple[tuple[Cell, ...], ...] = tuple(
        (
            s.what,
            s.group,
            ", ".join(s.windows),
            str(shown(s.mass, COVERAGE_95 * s.mass_u, "", TONNES)),
            place(s.start) if s.start is not None else "not aboard",
            place(s.stop) if s.stop is not None else "not aboard",
            fixed(s.mass * ((s.stop or ORIGIN)[1] - (s.start or ORIGIN)[1]) * TONNE_METRES, 3),
        )
        for s in shifts
    )
    note = "From shifts.csv; in the moments of these windows, positive to starboard. People marked elsewhere on the "
    note += "day are in the moments too, and stand among the marks of the day."
    return [Table("What stood elsewhere in some windows", SHIFT_COLUMNS, rows, note)]


ORIGIN = (0.0, 0.0, 0.0)


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


def tanks_section(answer: Answer, plan: Plan, tables: Tables | None = None) -> Section:
    """Every tank as it stood, liquid noted in the survey, and the free surface carried into KG."""
    blocks: list[Block] = []
    loose = aboard_surfaces(answer.survey)
    if plan.tanks or loose:
        found = _contents(answer, plan, tables)
        rows: list[tuple[Cell, ...]] = []
        for tank in plan.tanks:
            mass, surface = found.get(tank.name, (math.nan, math.nan))
            rows.append(
                (
                    tank.name,
                    tank.contents or "–",
                    tank.state,
                    "–" if tank.sounding_m is None else fixed(tank.sounding_m, 3),
                    fixed(tank.density_kg_m3, 0),
                    significant(mass * TONNES),
                    fixed(surface * TONNE_METRES, 2),
                    PART_OF[tank.part_of],
                )
            )
        for item, _ in loose:
            words = f"noted in the survey{f', {item.space}' if item.space else ''}"
            own = (significant(item.mass * TONNES), fixed(item.free_surface * TONNE_METRES, 2))
            rows.append((item.name, words, "loose", "–", "–", *own, "to come off" if item.action == "off" else "moved"))
        columns = (
            Column("tank", weight=1),
            Column("contents"),
            Column("state"),
            Column("sounding, m", "right"),
            Column("density, kg/m³", "right"),
            Column("mass, t", "right"),
            Column(f"free surface, {TM}", "right"),
            Column("counted as"),
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


PART_OF = {"lightship": "lightship", "to_come_off": "to come off", "to_stay": "stays, in the lightship"}
"""What ``part_of`` of a tank means for the lightship."""


def _contents(answer: Answer, plan: Plan, tables: Tables | None) -> dict[str, tuple[float, float]]:
    """Mass (kg) and free-surface moment (kg m) of each tank by name; NaN where not known."""
    try:
        return {q.name: (q.mass, q.free_surface) for q in liquids(plan.tanks, tables or Tables())}
    except BadInput:
        known = {i.name: (i.mass, i.free_surface) for i in answer.survey if i.group == "tanks"}
        typed = {t.name: (math.nan if t.mass_t is None else t.mass_t * TONNE, math.nan) for t in plan.tanks}
        return typed | known


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
