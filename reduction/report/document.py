"""What is on paper, apart from how it looks: a document of sections of blocks. HTML and PDF print the same one.

Every string in here is plain text. The two printers treat it as such (HTML escapes it, the PDF reads it from JSON), so
that nothing a person typed can become markup.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields, is_dataclass
from typing import ClassVar, Literal

from reduction.report.words import SHAPE, Tone


@dataclass(frozen=True)
class Mark:
    """A verdict in a table: a word with a shape and a colour, never a colour alone."""

    word: str
    tone: Tone
    type: ClassVar[str] = "mark"

    @property
    def shape(self) -> str:
        """Shape printed before the word."""
        return SHAPE[self.tone]


Cell = str | Mark


@dataclass(frozen=True)
class Column:
    """One column of a table."""

    title: str
    align: Literal["left", "right"] = "left"
    weight: float = 0.0
    """Share of the width left over in the PDF; 0 takes as little as the content needs."""


@dataclass(frozen=True)
class Table:
    """A table with a caption that says what it is."""

    caption: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]
    note: str = ""
    total: tuple[Cell, ...] = ()
    """A last line set apart."""
    small: bool = False
    tall: bool = False
    """Rows high enough to write in by hand, with lines between the columns."""
    type: ClassVar[str] = "table"


@dataclass(frozen=True)
class Paragraph:
    """Plain text."""

    text: str
    kind: Literal["body", "lead", "note"] = "body"
    type: ClassVar[str] = "paragraph"


@dataclass(frozen=True)
class Bullets:
    """A list, numbered or not, or with boxes to tick."""

    items: tuple[str, ...]
    kind: Literal["plain", "numbered", "boxes"] = "plain"
    title: str = ""
    type: ClassVar[str] = "bullets"


@dataclass(frozen=True)
class Facts:
    """Short pairs of what and how much."""

    pairs: tuple[tuple[str, str], ...]
    type: ClassVar[str] = "facts"


@dataclass(frozen=True)
class Figure:
    """A picture, by its name in the document's pictures."""

    name: str
    caption: str
    alt: str
    """What it shows, for a person who cannot see it."""
    type: ClassVar[str] = "figure"


@dataclass(frozen=True)
class Headline:
    """The verdict: one sentence that can be read out."""

    tone: Tone
    word: str
    sentence: str
    type: ClassVar[str] = "headline"

    @property
    def shape(self) -> str:
        """Shape printed before the word."""
        return SHAPE[self.tone]


@dataclass(frozen=True)
class Result:
    """One of the day's results, large."""

    name: str
    value: str
    interval: str
    unit: str
    span: str
    basis: str
    """What it refers to."""


@dataclass(frozen=True)
class Results:
    """The day's results side by side."""

    items: tuple[Result, ...]
    title: str = ""
    type: ClassVar[str] = "results"


@dataclass(frozen=True)
class Caution:
    """Something that can hurt a person or the result."""

    title: str
    items: tuple[str, ...]
    type: ClassVar[str] = "caution"


@dataclass(frozen=True)
class Signatures:
    """Lines to sign on."""

    people: tuple[tuple[str, str], ...]
    """(role, name)."""
    type: ClassVar[str] = "signatures"


Block = Table | Paragraph | Bullets | Facts | Figure | Headline | Results | Caution | Signatures


@dataclass(frozen=True)
class Section:
    """A part with a heading."""

    key: str
    """Short name for links: letters and hyphens."""
    title: str
    blocks: tuple[Block, ...]
    new_page: bool = False
    columns: int = 1
    """Side by side on paper and wide screens."""


@dataclass(frozen=True)
class Picture:
    """One figure as SVG, drawn twice: for a page and for a phone."""

    wide: str
    narrow: str


@dataclass(frozen=True)
class Document:
    """Everything that is printed."""

    title: str
    kind: str
    """What sort of paper: stability test report, preliminary."""
    standing: str
    """One line under the title that never comes off: what these figures are worth until somebody accepts them."""
    facts: tuple[tuple[str, str], ...]
    front: tuple[Block, ...]
    sections: tuple[Section, ...]
    footer: str
    pictures: Mapping[str, Picture] = field(default_factory=dict)
    contents: bool = True
    """Whether a list of sections is printed."""
    dense: bool = False
    """Smaller type, for papers that must fit a given number of pages."""


def plain(value: object) -> object:
    """Turn a document, or any part of it, into what JSON can hold; each block keeps the name of its type.

    >>> plain(Mark("fine", "fine"))
    {'type': 'mark', 'word': 'fine', 'tone': 'fine', 'shape': '●'}
    """
    if is_dataclass(value) and not isinstance(value, type):
        kind = {"type": value.type} if hasattr(value, "type") else {}
        shape = {"shape": value.shape} if isinstance(value, (Mark, Headline)) else {}
        return {**kind, **{f.name: plain(getattr(value, f.name)) for f in fields(value)}, **shape}
    if isinstance(value, (tuple, list)):
        return [plain(item) for item in value]
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    return value
