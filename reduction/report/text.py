"""The last screen in words: what a coordinator reads to the owner on the pier."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import TYPE_CHECKING

from config.plan import Plan
from reduction.report.first_page import results, standing_in_words, windows_in_words
from reduction.report.marks_part import voided_in_words
from reduction.report.numbers import confidence_words
from reduction.report.words import OUTLOOK, Form, missing_in_words
from reduction.types import Answer

if TYPE_CHECKING:
    from logger.events import Event

WIDTH = 78
"""Letters in a line."""
PLAIN = str.maketrans({"\N{MINUS SIGN}": "-", "\N{NO-BREAK SPACE}": " ", "\N{EN DASH}": "-", "×": "x", "³": "3"})
"""Letters that some terminals cannot show, and what stands in for them; the plus-minus sign is shown everywhere."""


def render_text(
    answer: Answer,
    plan: Plan | None = None,
    *,
    form: Form = "preliminary",
    width: int = WIDTH,
    events: Sequence[Event] = (),
) -> str:
    """Say the answer in words and figures, for a terminal.

    Parameters
    ----------
    answer : what the day came to.
    plan : names the body that decides and the local time; None says "the authority or class" and UTC.
    form : ``preliminary`` or ``final``.
    width : letters in a line.
    events : marks of the day, for the windows that a person voided.

    Returns
    -------
    Plain text without colour or control characters, ending with a newline.
    """
    plan = plan or Plan()
    word = OUTLOOK.get(answer.outlook, ("open", answer.outlook))[1]
    found = results(answer)
    wide = max((len(r.name) for r in found), default=0)
    value = max((len(r.value) for r in found), default=0)
    half = max((len(r.interval) for r in found), default=0)
    lines = [f"{answer.name}: {word.upper()}", "", *wrapped(answer.headline, width), ""]
    for r in found:
        interval = f"± {r.interval:<{half}}" if r.interval else f"  {'?':<{half}}"
        lines.append(f"  {r.name:<{wide}}  {r.value:>{value}} {interval} {r.unit:<2} {r.basis}".rstrip())
    if found:
        lines += [f"  (± is the half width of the {confidence_words(answer.confidence)} interval)", ""]
    lines += part("Windows", windows_in_words(answer, plan, voided_in_words(events, plan)), width)
    if answer.missing:
        missing = tuple(f"{what}: {reason}" for what, reason in missing_in_words(answer.missing))
        lines += part("Not computed", missing, width)
    lines += part("What this is worth, and who decides", standing_in_words(answer, plan, form), width)
    if answer.next_step:
        lines += part("Next", (answer.next_step,), width)
    text = "\n".join(lines).rstrip().translate(PLAIN)
    return "".join(letter for letter in text if letter == "\n" or letter.isprintable()) + "\n"


def part(title: str, items: tuple[str, ...], width: int) -> list[str]:
    """One titled list, wrapped."""
    lines = [title]
    for item in items:
        lines += textwrap.wrap(item, width, initial_indent="  - ", subsequent_indent="    ")
    return [*lines, ""]


def wrapped(text: str, width: int) -> list[str]:
    """Wrap one paragraph."""
    return textwrap.wrap(text, width)
