"""Print a document as PDF for A4 or Letter: typeset by typst with the typefaces it brings, nothing to fetch.

Every text reaches the typesetter inside JSON, so that nothing a person typed can be taken for markup.
"""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from config.plan import Plan
from config.tables import Tables
from reduction.report.compose import report
from reduction.report.document import Document, plain
from reduction.report.extras import need
from reduction.report.figures.canvas import for_print
from reduction.report.html import template_text
from reduction.report.traces import Traces
from reduction.report.words import Form
from reduction.types import Answer

if TYPE_CHECKING:
    from logger.events import Event

Paper = Literal["a4", "letter"]
TYPEFACE = "Libertinus Serif"
"""Comes with typst; the SIL Open Font License."""
LONGEST_WORD = 24
"""Letters after which a word without a break may be broken."""


def render_pdf(
    answer: Answer,
    traces: Traces,
    plan: Plan | None = None,
    *,
    form: Form = "preliminary",
    paper: Paper = "a4",
    events: Sequence[Event] = (),
    tables: Tables | None = None,
) -> bytes:
    """Compose and print the report as PDF; see `report` for the arguments."""
    return print_pdf(report(answer, traces, plan, form=form, events=events, tables=tables), paper=paper)


def print_pdf(document: Document, *, paper: Paper = "a4") -> bytes:
    """Print a document as PDF. The same document gives the same bytes: no date is written."""
    typst: Any = need("typst")
    text = json.dumps(breakable(plain_for_print(document)), ensure_ascii=False)
    sources = {"main.typ": template_text("document.typ").encode(), "document.json": text.encode()}
    for name, picture in document.pictures.items():
        sources[f"pictures/{name}.svg"] = for_print(picture.wide, TYPEFACE).encode()
    pdf: bytes = typst.compile(
        sources, format="pdf", font_paths=_fonts(needs_other_fonts(text)), sys_inputs={"paper": paper}
    )
    return pdf


def plain_for_print(document: Document) -> dict[str, object]:
    """Turn a document into what the template reads: pictures by name only."""
    made = plain(document)
    assert isinstance(made, dict)
    return {**made, "pictures": dict.fromkeys(document.pictures, True)}


def breakable(value: object) -> object:
    """Let very long words (digests, file names) break at the end of a line.

    >>> breakable("ab" * 13).count(chr(0x200b))
    1
    """
    if isinstance(value, str):
        word = re.compile(rf"\S{{{LONGEST_WORD}}}(?=\S)")
        return word.sub(lambda found: found[0] + "\N{ZERO WIDTH SPACE}", value)
    if isinstance(value, list):
        return [breakable(item) for item in value]
    if isinstance(value, dict):
        return {key: breakable(item) if key not in ("name", "type") else item for key, item in value.items()}
    return value


def needs_other_fonts(text: str) -> bool:
    """Whether some letter is in none of the typefaces brought along (Chinese, Thai, Devanagari and others).

    Only then the machine's own typefaces are looked at, and the pages may differ from one machine to another.
    """
    known = _letters_brought()
    return any(ord(letter) not in known for letter in set(text) if letter.isprintable())


@cache
def _letters_brought() -> frozenset[int]:
    manager: Any = need("matplotlib.font_manager")
    return frozenset(manager.get_font(str(_brought() / "DejaVuSans.ttf")).get_charmap())


def _brought() -> Path:
    matplotlib: Any = need("matplotlib")
    return Path(matplotlib.get_data_path()) / "fonts" / "ttf"


@cache
def _fonts(machine: bool) -> Any:
    """Typefaces that come with the two libraries; those of the machine only where they are needed."""
    typst: Any = need("typst")
    return typst.Fonts(include_system_fonts=machine, include_embedded_fonts=True, font_paths=[str(_brought())])
