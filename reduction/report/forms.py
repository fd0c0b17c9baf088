"""Forms to print and write on: deadweight survey by space, pendulum readings, roll call."""

from __future__ import annotations

from collections.abc import Sequence

from config.plan import Plan
from config.sequence import spell
from config.stations import Station
from reduction.report.document import Bullets, Cell, Column, Document, Facts, Paragraph, Section, Table
from reduction.report.plan_part import sequence

USUAL_SPACES = (
    "Forecastle and boatswain's store",
    "Chain locker and fore peak",
    "Main deck",
    "Holds and cargo deck",
    "Accommodation, cabins",
    "Galley, mess, provisions",
    "Wheelhouse and top",
    "Engine room",
    "Workshop, spares and tools",
    "Steering gear and aft peak",
    "Void spaces and cofferdams",
    "Funnel, casing, masts, cranes",
)
"""Where deadweight usually hides, for a plan that names no spaces (common practice)."""
LINES_ON_A_FORM = 30
LINES_ON_THE_FIRST = 22
"""What fills a Letter sheet, the shorter of the two, without running over; the first one carries the heading too."""
SWINGS = 5
"""Swings read at a pendulum in each window: both ends of each, so that the mean is of whole swings."""
CALLS = ("lines slack and drooping", "fenders or tug clear", "crane stowed", "all mustered", "decks quiet")
ABANDON = "An unsafe space stays shut: write why. Nobody enters a tank or void that is not ventilated and tested."


def survey_form(plan: Plan, spaces: Sequence[str] = ()) -> Document:
    """Compose the deadweight survey form, one page for each space.

    Parameters
    ----------
    plan : names vessel and people.
    spaces : in the order of the walk; empty takes the usual ones.
    """
    columns = (
        Column("item", weight=2.4),
        Column("off, on, move", weight=0.9),
        Column("mass, t", weight=0.8),
        Column("give or take, t", weight=0.8),
        Column("x, m", weight=0.7),
        Column("y, m", weight=0.7),
        Column("z, m", weight=0.7),
        Column("moved to x, y, z, or remark", weight=1.8),
    )
    pages = tuple(
        Section(
            f"space-{number}",
            f"{number}. {space}",
            (
                Facts((("opened by, with key", ""), ("surveyed by, two people", ""), ("time", ""))),
                Table(
                    "Everything here that is not lightship, and everything missing that is",
                    columns,
                    blank(columns, LINES_ON_A_FORM if number > 1 else LINES_ON_THE_FIRST),
                    tall=True,
                ),
                Bullets(("nothing found in this space", "not opened, because:"), "boxes"),
            ),
            new_page=number > 1,
        )
        for number, space in enumerate(spaces or USUAL_SPACES, start=1)
    )
    where = (
        "Masses in tonnes, as in survey.csv: 12.5 kg is 0.0125 t. x forward of the aft perpendicular, y to starboard "
        "(port is minus), z above the baseline; a frame number or a deck height may be written instead and worked out "
        "later."
    )
    return _form(plan, "Deadweight survey", (Paragraph(where, "note"), Paragraph(ABANDON, "note")), pages)


def pendulum_form(plan: Plan) -> Document:
    """Compose the sheet for readings by hand, one page for each pendulum or U-tube; a blank one without any."""
    stations = [s for s in plan.stations if s.kind in ("pendulum", "u_tube")]
    labels = [step.label for step in sequence(plan)] or [str(n) for n in range(9)]
    pages = [_readings_page(s, n, labels) for n, s in enumerate(stations)] or [_readings_page(None, 0, labels)]
    how = (
        f"Read both ends of {SWINGS} whole swings, to the nearest half millimetre, when the coordinator calls the "
        "window open. Do not copy from another station. Mean: of all ten. To starboard is larger."
    )
    return _form(plan, "Readings by hand", (Paragraph(how, "note"),), tuple(pages))


def _readings_page(station: Station | None, number: int, labels: Sequence[str]) -> Section:
    tube = station is not None and station.kind == "u_tube"
    name = "________" if station is None else station.name
    length = "" if station is None or station.length_m is None else f"{station.length_m:.3f} m"
    facts = (
        ("legs apart" if tube else "length, pivot to scale", length),
        ("reading at rest, before the test, mm", ""),
        ("read by", ""),
    )
    swings = tuple(Column(f"{end}{n}", "right", weight=1) for n in range(1, SWINGS + 1) for end in ("P", "S"))
    columns = (Column("window"), Column("time", weight=1.4), *swings, Column("mean, mm", "right", weight=1.3))
    rows = tuple((label, *[""] * (len(columns) - 1)) for label in labels)
    caption = "Ends of the swings, mm: P to port, S to starboard"
    kind = "U-tube" if tube else "Pendulum"
    title = name.capitalize() if name.lower().startswith(kind.lower()) else f"{kind} {name}"
    return Section(
        f"readings-{number}",
        title,
        (Facts(facts), Table(caption, columns, rows, tall=True)),
        new_page=number > 0,
    )


def roll_call(plan: Plan) -> Document:
    """Compose the roll-call sheet: who stands where, and what is called and answered before each window."""
    steps = sequence(plan)
    labels = [step.label for step in steps] or [str(n) for n in range(9)]
    ticks = tuple(Column(label, weight=0.6) for label in labels)
    people: list[tuple[Cell, ...]] = [
        (p.name, p.muster_station, f"{p.mass_kg:.0f}", *[""] * len(labels)) for p in plan.people
    ]
    people += [("", "", "", *[""] * len(labels)) for _ in range(3 if people else 10)]
    who = (Column("name", weight=3), Column("stands at", weight=2.4), Column("kg", "right"), *ticks)
    calls: list[tuple[Cell, ...]] = [(call, *[""] * len(labels)) for call in (*CALLS, "opened at", "closed at")]
    moves = tuple(spell(step)[0].upper() + spell(step)[1:] for step in steps[1:])
    page = Section(
        "roll-call",
        "Before every window",
        (
            Table("Everyone at the same place: tick by window", who, tuple(people), tall=True),
            Table("Called and answered: tick by window", (Column("", weight=5), *ticks), tuple(calls), tall=True),
        ),
    )
    moved = (Section("moves", "Sequence", (Bullets(moves),)),) if moves else ()
    how = (
        "Anyone who stood elsewhere: write where. A change of place makes a moment, which can be allowed for if known."
    )
    return _form(plan, "Roll call", (Paragraph(how, "note"),), (page, *moved))


def blank(columns: tuple[Column, ...], lines: int) -> tuple[tuple[Cell, ...], ...]:
    """Empty lines to write on."""
    return tuple(("",) * len(columns) for _ in range(lines))


def _form(plan: Plan, kind: str, front: tuple[Paragraph, ...], sections: tuple[Section, ...]) -> Document:
    name = plan.vessel.name if plan.vessel.name != "unnamed" else plan.test.name
    date = plan.test.date.isoformat() if plan.test.date else "________"
    return Document(
        title=name,
        kind=f"{kind}: stability test",
        standing="Write in ink; strike out, do not erase; sign each page",
        facts=(
            ("date", date),
            ("place", plan.test.place or "________"),
            ("sheet", "____ of ____"),
            ("signed", "________"),
        ),
        front=front,
        sections=sections,
        footer=f"{name}: {kind.lower()}, {date}",
        contents=False,
        dense=True,
    )
