"""Annex on the spectrum of the day, and her natural roll by three ways of looking."""

from __future__ import annotations

import math

from dsp.types import RollComparison, RollMotion
from reduction.report.document import Block, Cell, Column, Figure, Paragraph, Section, Table
from reduction.report.numbers import fixed, quantity, shown
from reduction.types import Answer, Quantified

PER_CENT = 100.0
METHODS = {
    "likelihood": (
        "period by period",
        "how swings turn and fade from one period to the next, all windows together; the one carried on",
    ),
    "decaying cosine": (
        "decaying cosine",
        "one dying swing fitted to each window that shows one; what pushes her meanwhile keeps it up, so that its "
        "damping reads low, by half on simulated days, and is told without an interval",
    ),
    "spectrum": (
        "spectrum",
        "highest point of the day's spectrum near that period; half its width is the uncertainty",
    ),
}
"""Each ``method`` of `dsp.types.RollMethod`: its name on paper, and what it is."""
SURE = ("likelihood",)
"""Methods whose damping has an interval that holds (`tests/statistics/test_roll_statistics.py`)."""
COLUMNS = (
    Column("method"),
    Column("period, s", "right"),
    Column("damping, % of critical", "right"),
    Column("in words", weight=1),
)
NOTE = "±: half width of the interval by the normal law. Methods are held against each other by their periods."


def spectrum_section(answer: Answer) -> Section | None:
    """The spectrum of the day; None where there is none."""
    if answer.day is None or answer.day.spectrum.get("frequency") is None or answer.day.spectrum["frequency"].size < 3:
        return None
    caption = (
        "Spectrum of heel over the day and the fitted model. What lies to the left of one window cannot be averaged "
        "out inside it: it sets the interval of each window."
    )
    words = roll_in_words(answer.day.roll, answer.confidence)
    blocks: list[Block] = [
        Figure("heel-spectrum", caption, f"Spectrum falling with frequency, with a peak at the roll. {words}"),
        Paragraph(words),
    ]
    compared = answer.day.roll_comparison
    if compared is not None:
        blocks.append(roll_table(compared, answer.confidence))
        blocks.append(Paragraph(f"{compared.says} {change_in_words(compared, answer.confidence)}"))
    return Section("spectrum", "Annex C. Spectrum of the day", tuple(blocks))


def roll_in_words(roll: RollMotion, confidence: float) -> str:
    """Natural period and damping of the day with their intervals, in a sentence.

    >>> roll_in_words(RollMotion(8.49, 0.1, 0.044, 0.008, 0.003), 0.95).replace("\\N{NO-BREAK SPACE}", " ")
    'Natural roll period 8.49 ± 0.20 s, damping 4.4 ± 1.6 % of critical, as moored, over the day.'
    """
    if not math.isfinite(roll.period):
        return "No roll made out."
    period = quantity(Quantified(roll.period, roll.period_u), "s", confidence=confidence)
    damping = quantity(Quantified(roll.damping, roll.damping_u), "%", PER_CENT, confidence)
    return f"Natural roll period {period}, damping {damping} of critical, as moored, over the day."


def roll_table(compared: RollComparison, confidence: float) -> Table:
    """Period and damping by each method, and what each method is."""
    rows: list[tuple[Cell, ...]] = []
    for m in compared.methods:
        name, words = METHODS[m.method]
        period = quantity(Quantified(m.period, m.period_u), "", 1.0, confidence)
        half = Quantified(m.damping, m.damping_u).u95(confidence)
        damping = str(shown(m.damping, half, "", PER_CENT)) if m.method in SURE else fixed(PER_CENT * m.damping, 1)
        rows.append((name, str(period), damping, words))
    return Table("Natural roll of the day by three methods", COLUMNS, tuple(rows), NOTE, small=True)


def change_in_words(compared: RollComparison, confidence: float) -> str:
    """How the period changes through the day, with its interval."""
    change = Quantified(compared.drift, compared.drift_u)
    if not math.isfinite(change.value) or not math.isfinite(change.u):
        return "Whether the period changes through the day cannot be told."
    sign = "+" if change.value > 0 else ""
    said = f"Change of the period through the day: {sign}{quantity(change, 's', 1.0, confidence)} per hour"
    return f"{said}; that may be none." if abs(change.value) <= change.u95(confidence) else f"{said}."
