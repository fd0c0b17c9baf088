"""Annexes: what each station sent in each window, and the evidence of every check that spoke."""

from __future__ import annotations

import math
from collections.abc import Sequence

from config.plan import Plan
from config.units import COVERAGE_95
from dsp.types import Check, DayHeel, WindowHeel
from reduction.report.document import Block, Cell, Column, Figure, Mark, Paragraph, Section, Table
from reduction.report.figures import drawable
from reduction.report.numbers import DEGREES, fixed, shown, significant
from reduction.report.traces import Traces
from reduction.report.wind_part import correction
from reduction.report.words import CONFIRMATIONS, WORDS, clock, reason_words
from reduction.types import Answer, WindowPoint
from reduction.window_points import points_of

MOST_PICTURES = 3
"""Checks of one window that get a picture; all of them are in its table."""


def evidence_of(answer: Answer) -> tuple[tuple[str, WindowPoint, Check], ...]:
    """Every check that spoke and brought something to draw: (name of the picture, window, check)."""
    points = points_of(answer)
    found: list[tuple[WindowPoint, Check]] = []
    for point in points:
        spoke = [c for c in point.checks if c.verdict != "fine" and drawable(c)]
        spoke.sort(key=lambda c: c.verdict != "rejected")  # what decided comes first
        found += [(point, check) for check in spoke[:MOST_PICTURES]]
    return tuple((f"evidence-{number}", p, c) for number, (p, c) in enumerate(found))


def evidence_section(answer: Answer) -> Section:
    """All checks of the windows that are not plainly fine, with pictures."""
    blocks: list[Block] = []
    pictures = evidence_of(answer)
    points = points_of(answer)
    for point in points:
        spoke = [c for c in point.checks if c.verdict != "fine"]
        if spoke:
            blocks.append(checks_table(point, spoke))
    # Pictures last: what cannot be broken would leave holes between the tables.
    for name, point, check in pictures:
        caption = f"Window {point.label}, {reason_words(check.code)}. {check.says}"
        blocks.append(Figure(name, caption, f"Curves over the window behind this finding: {check.says}"))
    title = "Annex A. Evidence of the checks"
    if not blocks:
        return Section("evidence", title, (Paragraph("No check spoke against any window."),))
    return Section("evidence", title, tuple(blocks))


ALARM_NOTE = (
    "False alarm: of so many windows with nothing wrong one would be found here, by the share that the check has "
    "of all false alarms; the threshold follows from it, from the number of windows and from their scatter."
)


def checks_table(point: WindowPoint, checks: list[Check]) -> Table:
    """What spoke against one window."""
    rows: list[tuple[Cell, ...]] = []
    for c in checks:
        tone, word = WORDS.get(c.verdict, ("open", c.verdict))
        threshold = "not checked" if math.isnan(c.threshold) else f"{significant(c.threshold, 3)} {c.unit}"
        alarm = "–" if math.isnan(c.false_alarm) else f"1 in {round(1.0 / c.false_alarm)}" if c.false_alarm > 0 else "–"
        rows.append((Mark(word, tone), f"{significant(c.value, 3)} {c.unit}", threshold, alarm, c.says))
    columns = (
        Column("verdict"),
        Column("found", "right", weight=1.2),
        Column("threshold", "right", weight=1.2),
        Column("false alarm", "right", weight=0.8),
        Column("in words", weight=4),
    )
    return Table(f"Window {point.label}: what spoke against it", columns, tuple(rows), ALARM_NOTE, small=True)


def readings_section(answer: Answer, traces: Traces, plan: Plan) -> Section:
    """What each station sent and what it gives alone, window by window, with hand readings and confirmations."""
    blocks: list[Block] = []
    if traces.raw:
        rows: list[tuple[Cell, ...]] = [
            (
                r.window,
                r.station,
                str(r.samples),
                clock(int(traces.epoch_ns + r.first * 1e9), plan.test.utc_offset_h),
                clock(int(traces.epoch_ns + r.last * 1e9), plan.test.utc_offset_h),
                *(fixed(v * DEGREES, 4) for v in (r.mean, r.deviation, r.low, r.high)),
            )
            for r in traces.raw
        ]
        columns = (
            Column("window"),
            Column("station", weight=1),
            *(Column(t, "right") for t in ("readings", "first", "last", "mean, deg", "deviation, deg", "lowest, deg")),
            Column("highest, deg", "right"),
        )
        note = "As recorded, signs and scale corrected, nothing left out. The readings themselves are under record/."
        blocks.append(Table("Raw readings in each window", columns, tuple(rows), note, small=True))
    if any(traces.windows.values()):
        caption = (
            "Readings of every window less their mean, one line a window, stations over one another, all on one scale; "
            "beside it each further station less the first one, on a scale of its own."
        )
        alt = "One line for each window: the heel of each station about its mean against seconds."
        blocks.append(Figure("windows-close-up", caption, alt))
    windows = answer.day.windows if answer.day is not None else ()
    if answer.day is not None and windows:
        blocks.append(stations_table(windows))
        blocks.append(confirmations_table(answer.day, points_of(answer)))
        hand = [(w.span.label, s, h, u) for w in windows for s, h, u in w.span.hand_readings]
        if hand:
            blocks.append(hand_table(hand))
    if not blocks:
        blocks.append(Paragraph("No readings are in this folder; only their results."))
    return Section("readings", "Annex B. Readings window by window", tuple(blocks))


def stations_table(windows: tuple[WindowHeel, ...]) -> Table:
    """Mean heel as each station alone gives it."""
    rows: list[tuple[Cell, ...]] = []
    for w in windows:
        for s in w.stations:
            rows.append(
                (
                    w.span.label,
                    s.station,
                    str(shown(s.heel, COVERAGE_95 * s.u, "", DEGREES)),
                    fixed(s.offset * DEGREES, 4),
                    fixed(s.rate, 2),
                    Mark("used", "fine") if s.used else Mark("not used", "open"),
                    s.reason,
                )
            )
    columns = (
        Column("window"),
        Column("station", weight=1),
        Column("mean heel, deg", "right"),
        Column("day's offset, deg", "right"),
        Column("true rate, Hz", "right"),
        Column(""),
        Column("reason", weight=1),
    )
    return Table("Mean heel by each station alone", columns, tuple(rows), small=True)


def confirmations_table(day: DayHeel, points: Sequence[WindowPoint] = ()) -> Table:
    """What was confirmed aloud before each window, the roll in it, and what was taken off for measured wind.

    ``points`` are the day's windows as the answer has them, wind as windows and moments showed it taken off.
    """
    windy = math.isfinite(day.wind_coefficient)
    taken_off = {point.label: point.wind_correction for point in points}
    rows: list[tuple[Cell, ...]] = []
    for w in day.windows:
        cells = [
            "yes" if key in w.span.confirmed else "NO" if key in w.span.expected_confirmations else "–"
            for key in CONFIRMATIONS
        ]
        roll = "–" if math.isnan(w.roll.period) else fixed(w.roll.period, 2)
        wind = (correction(day, taken_off.get(w.span.label, w.wind_correction)),) if windy else ()
        rows.append((w.span.label, *cells, roll, fixed(w.roll.amplitude * DEGREES, 3), *wind))
    columns = (
        Column("window"),
        *(Column(words) for words in CONFIRMATIONS.values()),
        Column("roll period, s", "right"),
        Column("roll, deg", "right"),
        *((Column("wind, 0.001 deg", "right"),) if windy else ()),
    )
    title, note = "Confirmations and roll", "Confirmations: – where nobody was asked."
    if windy:
        title = "Confirmations, roll and wind"
        push = fixed(day.reference_wind, 1)
        note += f" Wind: taken off the heel, against the mean of the windows, which pushes as {push} m/s from abeam."
    return Table(title, columns, tuple(rows), note, small=True)


def hand_table(hand: list[tuple[str, str, float, float]]) -> Table:
    """Readings by hand: pendulums and U-tubes."""
    rows = tuple((w, s, str(shown(h, COVERAGE_95 * u, "", DEGREES))) for w, s, h, u in hand)
    columns = (Column("window"), Column("read at", weight=1), Column("heel, deg", "right"))
    note = "From the zero that was given with the reading, else from the first reading of the day."
    return Table("Read by hand", columns, rows, note, small=True)
