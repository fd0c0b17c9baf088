"""The brief for the vessel's master: two pages on what to have ready, when, and where people can get hurt."""

from __future__ import annotations

import math

from config.plan import Movement, Plan
from config.sequence import spell
from config.units import DEGREE, TONNE
from reduction.moments import planned_states
from reduction.planning.forecast import heel_of
from reduction.report import brief_words
from reduction.report.document import (
    Block,
    Bullets,
    Caution,
    Cell,
    Column,
    Document,
    Paragraph,
    Section,
    Signatures,
    Table,
)
from reduction.report.html import print_html
from reduction.report.numbers import fixed, significant
from reduction.report.pdf import Paper, print_pdf
from reduction.report.plan_part import sequence
from reduction.report.words import people_counted

FEWEST_PEOPLE = "coordinator, technician, crane or winch, lines forward, lines aft, witness"


def brief_html(plan: Plan) -> str:
    """Print the brief as one HTML file."""
    return print_html(brief(plan))


def brief_pdf(plan: Plan, *, paper: Paper = "a4") -> bytes:
    """Print the brief as PDF; two pages with a usual number of people, lines and movements."""
    return print_pdf(brief(plan), paper=paper)


def brief(plan: Plan) -> Document:
    """Compose the brief from the plan; what the plan does not say is left to be written in by hand."""
    occasion = plan.test
    name = plan.vessel.name if plan.vessel.name != "unnamed" else occasion.name
    dated = occasion.date.isoformat() if occasion.date else "________"
    return Document(
        title=name,
        kind="Brief for the master: stability test",
        standing="Advice for planning. The master's judgement and the ship's own safety rules come first",
        facts=(
            ("date", dated),
            ("place", occasion.place or "________"),
            ("coordinator", occasion.coordinator or "________"),
            ("witness for the authority", occasion.witness or "________"),
        ),
        front=(Paragraph(brief_words.WHY),),
        sections=(
            Section(
                "preparations",
                "What to have ready, and when",
                (
                    Bullets(brief_words.MONTH_BEFORE, "boxes", "A month before"),
                    Bullets(brief_words.WEEK_BEFORE, "boxes", "A week before"),
                    Bullets(brief_words.DAY_BEFORE, "boxes", "The day before"),
                    Bullets(brief_words.ON_THE_DAY, "boxes", "On the day"),
                ),
                columns=2,
            ),
            Section(
                "safety", "Where people can get hurt", (Caution("Stop at once if in doubt", brief_words.CAUTIONS),)
            ),
            Section("movements", "What she will do", (*movements_blocks(plan), *weights_note(plan)), new_page=True),
            Section("calls", "What is called, and who answers", (calls_table(),)),
            Section("people", "Who is aboard, lines, services", (*people_blocks(plan), *lines_blocks(plan)), columns=2),
            Section(
                "signed", "Read and agreed", (Signatures((("Master", ""), ("Coordinator", occasion.coordinator))),)
            ),
        ),
        footer=f"{name}: brief for the master. {brief_words.SOURCES}",
        contents=False,
        dense=True,
    )


def movements_blocks(plan: Plan) -> tuple[Block, ...]:
    """Each movement with the heel to expect; the largest said in words."""
    steps = sequence(plan)
    heels = expected_heels(plan)
    if not steps:
        return (Paragraph("Movements: see the coordinator's plan."),)
    rows: list[tuple[Cell, ...]] = []
    for number, step in enumerate(steps):
        words = spell(step).partition(": ")[2]
        rows.append((step.label, "as she lies" if number == 0 else words, heel_words(heels.get(step.label))))
    largest = max((abs(h) for h in heels.values()), default=math.nan)
    blocks: list[Block] = []
    if math.isfinite(largest):
        blocks.append(
            Paragraph(
                f"Largest heel to expect: {fixed(largest / DEGREE, 1)} degrees, from an estimated GM. Secure for "
                "twice that. The crane or winch is stowed for each reading."
            )
        )
    columns = (Column("movement"), Column("what is moved", weight=1), Column("heel to expect from the start", "right"))
    blocks.append(Table("Movements", columns, tuple(rows)))
    return tuple(blocks)


def expected_heels(plan: Plan) -> dict[str, float]:
    """Heel (rad) of each movement against the starting state, from the estimated GM; empty where that is not possible.

    >>> expected_heels(Plan())
    {}
    """
    gm, displacement = plan.vessel.estimated_gm_m, plan.vessel.displacement_t
    steps = sequence(plan)
    if gm is None or displacement is None or not steps:
        return {}
    moments = planned_moments(plan, steps)
    start = next(iter(moments.values()), 0.0)
    bm = plan.hydrostatics.bm_m or 0.0
    return {label: heel_of(m - start, displacement * TONNE, gm, bm) for label, m in moments.items()}


def planned_moments(plan: Plan, steps: tuple[Movement, ...]) -> dict[str, float]:
    """Moment (kg m, to starboard) of each state: as typed, or from the weights where they stand."""
    states = planned_states(plan, {})
    typed = {step.label: step.moment_tm * TONNE for step in steps if step.moment_tm is not None}
    return {step.label: typed.get(step.label, states[step.label].moment) for step in steps}


def heel_words(heel: float | None) -> str:
    """Say a heel with its side.

    >>> heel_words(0.02), heel_words(-0.02), heel_words(0.0), heel_words(None)
    ('1.1° to starboard', '1.1° to port', 'upright', '–')
    """
    if heel is None:
        return "–"
    if abs(heel) < 0.05 * DEGREE:
        return "upright"
    return f"{fixed(abs(heel) / DEGREE, 1)}° to {'starboard' if heel > 0 else 'port'}"


def calls_table() -> Table:
    """The words before each reading: short, always the same, always answered."""
    columns = (Column("the coordinator asks", weight=1), Column("answered by", weight=1), Column("answer", weight=2))
    return Table("Before each reading, on one radio channel", columns, brief_words.CALLS)


def people_blocks(plan: Plan) -> tuple[Block, ...]:
    """People with their muster stations; without a list, the fewest it takes."""
    if not plan.people:
        return (Paragraph(f"As few as it takes, usually: {FEWEST_PEOPLE}. Each needs one fixed place for readings."),)
    rows = tuple((p.name, p.duty or "–", p.muster_station) for p in plan.people)
    columns = (Column("name", weight=1), Column("duty", weight=1), Column("stands for every reading at", weight=1))
    note = "The same place at each reading, standing still, until the coordinator calls it made. Everyone else ashore."
    return (Table(people_counted(len(plan.people)), columns, rows, note),)


def lines_blocks(plan: Plan) -> tuple[Block, ...]:
    """Lines and who tends them, services off and what stands in, the time table."""
    blocks: list[Block] = []
    if plan.moorings:
        rows = tuple((m.name, f"{m.kind} {m.side}".strip(), m.tended_by or "________") for m in plan.moorings)
        columns = (Column("line or fender", weight=1), Column("kind", weight=1), Column("tended by", weight=1))
        blocks.append(Table("Lines: extra long, slack to the water for each reading", columns, rows))
    services = [(s.name, s.stands_in or "________") for s in plan.services]
    services = services or [(s, "________") for s in ("fresh water", "food", "toilets", "shore power, heating")]
    service_columns = (Column("off during the test", weight=1), Column("what stands in for it", weight=2))
    blocks.append(Table("Services", service_columns, tuple(services)))
    if plan.schedule:
        times = tuple((s.at.strftime("%H:%M"), s.what, s.who or "–") for s in plan.schedule)
        time_columns = (Column("at", "right"), Column("what", weight=2), Column("who", weight=1))
        blocks.append(Table("Time table", time_columns, times))
    return tuple(blocks)


def weights_note(plan: Plan) -> tuple[Block, ...]:
    """How much is carried aboard for the test."""
    weights = sum(w.mass_t for w in plan.weights)
    if not weights:
        return ()
    return (Paragraph(f"Test weights aboard: {len(plan.weights)}, together {significant(weights)} t.", "note"),)
