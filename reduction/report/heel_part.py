"""Sections on the heel: moment-tangent plot, traces, windows with reasons."""

from __future__ import annotations

import math
from collections.abc import Sequence

from config.plan import Plan
from reduction.report.alone_part import alone_table
from reduction.report.document import Block, Cell, Column, Figure, Mark, Paragraph, Section, Table
from reduction.report.first_page import degrees, displacement_of, window_sentence
from reduction.report.numbers import DEGREES, METRES, TONNE_METRES, fixed, quantity, shown
from reduction.report.traces import Traces
from reduction.report.wind_part import wind_in_words
from reduction.report.words import WORDS, clock, reason_words, zone_words
from reduction.types import Answer, GmResult, Quantified, WindowPoint
from reduction.window_points import moment95, points_of


def gm_section(answer: Answer) -> Section:
    """The plot and both values of GM beside each other."""
    result = answer.gm.value
    if result is None:
        return Section("gm", "Moment and heel", (Paragraph(f"GM was not computed: {answer.gm.reason}"),))
    blocks: list[Block] = [Figure("moment-tangent", PLOT_CAPTION, plot_in_words(result))]
    blocks.append(Table("GM by both methods, fluid, as inclined", METHOD_COLUMNS, method_rows(answer, result)))
    if result.difference:
        blocks.append(Paragraph(result.difference))
    displacement = displacement_of(answer)
    alone = alone_table(answer, displacement.value) if displacement is not None else None
    blocks += [alone] if alone is not None else []
    said = f"Heel with no test moment: {degrees(result.list_upright, answer.confidence)}, starboard down positive."
    if math.isfinite(result.heel_scatter):
        scatter = fixed(1e3 * result.heel_scatter * DEGREES, 1)
        said += f" Scatter of the windows about the carried fit: {scatter} thousandths of a degree."
    blocks.append(Paragraph(said))
    return Section("gm", "Moment and heel", tuple(blocks))


PLOT_CAPTION = (
    "Tangent of heel against moment to starboard, and below it what each window is off the carried fit, with its 95 % "
    "bar; dashed: the other fit. Filled: used. Hollow: not used. ● fine, ▲ caution, ✕ rejected."
)
METHOD_COLUMNS = (
    Column("method", weight=1),
    Column("GM, m", "right"),
    Column("carried on", "left"),
)


def plot_in_words(result: GmResult) -> str:
    """Say what the plot shows, for a person who cannot see it."""
    rejected = [p.label for p in result.points if not p.used]
    return (
        f"{len(result.points)} windows of heel against moment lie along a straight line; GM by the line is "
        f"{result.line.value:.3f} m. Not used: {', '.join(rejected) or 'none'}. The table of windows has every figure."
    )


def method_rows(answer: Answer, result: GmResult) -> tuple[tuple[Cell, ...], ...]:
    """Every GM there is, with and without the windows that were not used."""
    rows: list[tuple[str, Quantified | None, str, str]] = [
        ("true curve", result.curve.value, result.curve.reason, "curve"),
        ("straight line", result.line, "", "line"),
        ("true curve, every window kept", result.curve_all.value, result.curve_all.reason, ""),
        ("straight line, every window kept", result.line_all, "", ""),
    ]
    made: list[tuple[Cell, ...]] = []
    for name, value, reason, key in rows:
        text = str(quantity(value, "", METRES, answer.confidence)) if value is not None else f"– ({reason})"
        made.append((name, text, "to KG and lightship" if key == result.carried else ""))
    return tuple(made)


def windows_section(answer: Answer, traces: Traces, plan: Plan, voided: Sequence[str] = ()) -> Section:
    """The day's traces with the windows marked, and the table of windows."""
    blocks: list[Block] = []
    if traces.heel:
        blocks.append(Figure("day-traces", TRACES_CAPTION, traces_in_words(answer, traces)))
    points = points_of(answer)
    if points:
        blocks.append(windows_table(answer, points, traces, plan))
        shown = answer.gm.value.wind if answer.gm.value is not None else None
        wind = wind_in_words(answer.day, answer.confidence, shown) if answer.day is not None else ""
        blocks += [Paragraph(wind, "note")] if wind else []
        spoken = [window_sentence(p, plan) for p in points if p.reasons or p.overruled or p.verdict != "fine"]
        blocks += [Paragraph(sentence) for sentence in (*spoken, *voided)]
    if traces.tension:
        blocks.append(Paragraph("Line tension is drawn below the heel traces, one row for each load cell.", "note"))
    if not blocks:
        blocks.append(Paragraph("No windows are on record."))
    return Section("windows", "The day, and its windows", tuple(blocks))


TRACES_CAPTION = (
    "Heel of every station over the day, lowest to highest reading of each stretch; windows shaded and named. "
    "▲ caution, ✕ rejected. Breaks are gaps in the record."
)


def traces_in_words(answer: Answer, traces: Traces) -> str:
    """Say what the traces show."""
    names = ", ".join(e.station for e in traces.heel)
    count = len(points_of(answer))
    extra = " Wind speed is drawn below." if traces.wind is not None else ""
    return f"Heel against time of day from {len(traces.heel)} stations ({names}) with {count} windows marked.{extra}"


def windows_table(answer: Answer, points: tuple[WindowPoint, ...], traces: Traces, plan: Plan) -> Table:
    """Every window with what it is worth."""
    offset = plan.test.utc_offset_h
    wind = bool(traces.wind_in_window)
    curve = answer.gm.value is not None and answer.gm.value.carried == "curve"
    columns = (
        Column("window"),
        Column(f"from, {zone_words(offset)}", "right"),
        Column("to", "right"),
        Column("moment, t m", "right"),
        Column("heel, deg", "right"),
        Column("off the fit, 0.001 deg", "right"),
        *((Column("wind mean / most, m/s", "right"),) if wind else ()),
        Column("verdict"),
        Column("reasons", weight=1),
    )
    rows: list[tuple[Cell, ...]] = []
    for point in points:
        tone, word = WORDS.get(point.verdict, ("open", point.verdict))
        residual = point.residual_curve if curve else point.residual_line
        heel = shown(point.heel, point.u95(), "", DEGREES)
        moment = shown(point.moment, moment95(answer, point), "", TONNE_METRES)
        rows.append(
            (
                point.label,
                clock(point.start_ns, offset),
                clock(point.stop_ns, offset),
                str(moment) if moment.interval else fixed(point.moment * TONNE_METRES, 3),
                str(heel) if heel.interval else "–",
                fixed(1e3 * residual * DEGREES, 1),
                *((wind_words(traces, point.label),) if wind else ()),
                Mark(word + ("" if point.used or point.verdict == "rejected" else ", not used"), tone),
                "; ".join(reason_words(code) for code in point.reasons),
            )
        )
    note = "Moment: total of weights, people, crane and tanks, to starboard, with the half width of its interval where "
    note += "masses and places have one. Heel: starboard down, all used stations combined, with the half width of its "
    note += "interval. Both are for the window by itself."
    return Table("Windows in order", columns, tuple(rows), note)


def wind_words(traces: Traces, label: str) -> str:
    """Mean and strongest wind of a window."""
    mean, most = traces.wind_in_window.get(label, (math.nan, math.nan))
    return f"{fixed(mean, 1)} / {fixed(most, 1)}"
