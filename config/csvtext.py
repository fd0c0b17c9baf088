"""Read tables that people keep in a spreadsheet, name every fault with its line and column, write them back unharmed.

What spreadsheets do to a file is taken as it comes: a byte-order mark, UTF-16, semicolons or tabs with decimal commas,
quoted cells, ``sep=`` lines, blank lines, trailing empty columns. Lines starting with ``#`` are remarks.
"""

from __future__ import annotations

import csv
import difflib
import io
import math
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal, TypeVar

from config.errors import BadInput, Fault, bad
from config.words import shortened

LARGEST_TABLE = 20_000_000
"""Bytes. A larger file is no table of a test folder."""
LARGEST_NUMBER = 1e9
"""A number beyond this is a slip of the keyboard in any unit used here."""
LEAST_NUMBER = 1e-9
"""A number closer to 0 than this, but not 0, likewise."""
FAULTS_NAMED = 50
"""More faults than these are counted, not listed."""

Cell = str | float | bool | None
T = TypeVar("T")


@dataclass(frozen=True)
class Column:
    """One column: its name with the unit, what may stand in it and whether it may be left blank."""

    name: str
    kind: Literal["number", "text", "yes_no"] = "number"
    needed: bool = True
    """A needed column must be there and filled in every row."""
    low: float = -LARGEST_NUMBER
    high: float = LARGEST_NUMBER
    choices: tuple[str, ...] = ()
    wanted: str = ""
    """Words for what would be right; empty: made from kind, bounds and choices."""

    def describe(self) -> str:
        """Say what would be right in this column."""
        if self.wanted:
            return self.wanted
        if self.choices:
            return "one of " + ", ".join(self.choices)
        if self.kind == "yes_no":
            return "yes or no"
        if self.kind == "text":
            return "some text"
        if self.low > -LARGEST_NUMBER and self.high < LARGEST_NUMBER:
            return f"a number from {self.low:g} to {self.high:g}"
        if self.low == 0:
            return "a number, 0 or more"
        return "a number above 0" if self.low > 0 else "a number, without thousands separators or unit"


@dataclass(frozen=True)
class Row:
    """One line of a table; blank cells are None."""

    line: int
    cells: Mapping[str, Cell]

    def number(self, name: str, default: float = math.nan) -> float:
        """Give the number in a column; ``default`` where it is blank."""
        value = self.cells.get(name)
        return float(value) if isinstance(value, (int, float)) else default

    def text(self, name: str) -> str:
        """Give the text in a column; empty where it is blank."""
        value = self.cells.get(name)
        return value if isinstance(value, str) else ""

    def yes(self, name: str) -> bool:
        """Whether a yes/no column says yes; blank is no."""
        return self.cells.get(name) is True


@dataclass
class Table:
    """A table as read, with a place to collect further faults under its own name."""

    file: str
    rows: list[Row]
    faults: list[Fault] = field(default_factory=list)

    def fault(self, row: Row | None, column: str, value: object, wanted: str) -> None:
        """Note one fault of a row (None: of the whole file)."""
        where = f"line {row.line}, {column}" if row else column
        text = "" if value is None else shortened(str(value))
        self.faults.append(Fault(self.file, where, text, wanted))

    def check(self) -> None:
        """Raise BadInput if any fault was noted."""
        if self.faults:
            kept = self.faults[:FAULTS_NAMED]
            more = len(self.faults) - len(kept)
            if more:
                kept.append(Fault(self.file, "further lines", f"{more} more faults", "mend those above first"))
            raise BadInput(kept)

    def each(self, make: Callable[[Table, Row], T]) -> tuple[T, ...]:
        """Make something of every row; raises BadInput with all faults that were noted meanwhile."""
        made = tuple(make(self, row) for row in self.rows)
        self.check()
        return made


def read_table(path: Path, columns: Sequence[Column], name: str = "") -> Table:
    """Read and check a file; see `parse_table`."""
    return parse_table(read_spreadsheet_text(path, name or path.name), columns, name or path.name)


def parse_table(text: str, columns: Sequence[Column], file: str) -> Table:
    """Check the text of a table against its columns.

    Parameters
    ----------
    text : whole file, decoded.
    columns : every column there may be; headings are compared without regard to case and outer blanks.
    file : name used in faults.

    Returns
    -------
    Table; call its ``check()`` after adding further faults. Faults of headings are raised at once.

    Example
    -------
    >>> table = parse_table("mark;reading_m\\naft;3,25\\n", (Column("mark", "text"), Column("reading_m")), "w.csv")
    >>> table.rows[0].line, table.rows[0].number("reading_m")
    (2, 3.25)
    """
    delimiter, lines = _delimiter(text)
    records = _records(lines, delimiter, file)
    if not records:
        wanted = "a first line with the columns " + ",".join(c.name for c in columns)
        raise bad(file, "whole file", "no heading", wanted)
    heading_line, heading = records[0]
    names = _headings(heading, columns, file, heading_line)
    by_name = {c.name: c for c in columns}
    table = Table(file, [])
    commas = delimiter != ","
    points = "" if commas else "; with commas between the cells, decimals are written with a point"
    styles: dict[str, int] = {}
    for line, cells in records[1:]:
        if len(cells) > len(names) and any(c.strip() for c in cells[len(names) :]):
            extra = next(c for c in cells[len(names) :] if c.strip())
            table.faults.append(
                Fault(
                    file,
                    f"line {line}",
                    shortened(extra),
                    f"{len(names)} cells as in the heading; put quotes round a cell that holds the delimiter" + points,
                )
            )
            continue
        found: dict[str, Cell] = {}
        row = Row(line, found)
        for column, raw in zip(names, [*cells, *[""] * (len(names) - len(cells))], strict=False):
            if column:
                found[column] = _cell(raw.strip(), by_name[column], table, row, commas, styles)
        table.rows.append(row)
    if "comma" in styles and "point" in styles:
        line = max(styles.values())
        where = f"line {line}"
        wanted = "decimal commas or decimal points in the whole file, not both"
        table.faults.append(Fault(file, where, "both 1,5 and 1.5", wanted))
    return table


def remarks(text: str) -> list[str]:
    """Lines of a table that are remarks, in order.

    >>> remarks("# one line an item\\nitem,mass_t\\n")
    ['# one line an item']
    """
    return [line for line in re.split(r"\r\n|\n|\r", text) if line.lstrip().startswith("#")]


def write_table(columns: Sequence[Column], rows: Iterable[Mapping[str, Cell]], *, blank: bool = False) -> str:
    """Write rows as comma-separated text that `parse_table` reads back to the same cells.

    Columns that may be left out are written only where some row fills them, or with ``blank``.

    >>> write_table((Column("item", "text"), Column("mass_t")), [{"item": "chain, old", "mass_t": 1.5}])
    'item,mass_t\\n"chain, old",1.5\\n'
    """
    kept = list(rows)
    used = [c for c in columns if blank or c.needed or any(row.get(c.name) is not None for row in kept)]
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([c.name for c in used])
    for row in kept:
        writer.writerow([_spell(row.get(c.name)) for c in used])
    return out.getvalue()


def read_spreadsheet_text(path: Path, name: str) -> str:
    """Read UTF-8 (with or without byte-order mark) or UTF-16 text."""
    try:
        if path.stat().st_size > LARGEST_TABLE:
            raise bad(name, "whole file", f"{path.stat().st_size} bytes", "a table under 20 MB")
        raw = path.read_bytes()
    except FileNotFoundError:
        raise bad(name, "whole file", None, "this file should exist") from None
    except OSError as error:
        raise bad(name, "whole file", None, f"a readable file ({error.strerror})") from None
    return decode(raw, name)


def decode(raw: bytes, name: str) -> str:
    """Decode the bytes of a table; BadInput naming the line that is not text."""
    coding = "utf-16" if raw[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig"
    try:
        text = raw.decode(coding)
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise bad(name, f"line {line}", None, "text in UTF-8; save the sheet as CSV UTF-8") from None
    if "\x00" in text:
        line = text[: text.index("\x00")].count("\n") + 1
        raise bad(name, f"line {line}", "a null character", "plain text")
    return text


def _delimiter(text: str) -> tuple[str, list[str]]:
    # Lines are cut at CR and LF only: other Unicode line ends may stand inside a cell.
    lines = re.split(r"\r\n|\n|\r", text)
    for number, line in enumerate(lines):
        said = re.fullmatch(r'\s*"?sep=(.)"?\s*', line, flags=re.IGNORECASE)
        if said:
            return said[1], ["#"] * (number + 1) + lines[number + 1 :]
        if line.strip() and not line.lstrip().startswith("#"):
            counts = {d: line.count(d) for d in (";", "\t", ",")}
            best = max(counts, key=lambda d: counts[d])
            return (best if counts[best] else ","), lines
    return ",", lines


def _records(lines: list[str], delimiter: str, file: str) -> list[tuple[int, list[str]]]:
    kept: list[tuple[int, list[str]]] = []
    start = 0
    reader_lines = (line + "\n" for line in lines)
    reader = csv.reader(reader_lines, delimiter=delimiter, strict=True)
    while True:
        try:
            cells = next(reader)
        except StopIteration:
            return kept
        except csv.Error as error:
            words = str(error)
            wanted = "quotes that close" if "end of data" in words or "expected after" in words else words
            raise bad(file, f"line {max(start + 1, 1)}", None, f"a table of cells: {wanted}") from None
        first = start + 1
        start = reader.line_num
        blank = not any(c.strip() for c in cells)
        if blank or cells[0].lstrip().startswith("#"):
            continue
        kept.append((first, [c[:-1] if c.endswith("\n") else c for c in cells]))


def _headings(heading: list[str], columns: Sequence[Column], file: str, line: int) -> list[str]:
    known = [c.name for c in columns]
    names: list[str] = []
    faults: list[Fault] = []
    while heading and not heading[-1].strip():
        heading = heading[:-1]
    for raw in heading:
        name = re.sub(r"\s+", "_", raw.strip().lower())
        if not name:
            names.append("")
            continue
        if name not in known:
            near = difflib.get_close_matches(name, known, n=1, cutoff=0.6)
            hint = f"; did you mean {near[0]}?" if near else f"; known here: {', '.join(known)}"
            faults.append(Fault(file, f"line {line}, heading", shortened(raw.strip()), "no such column here" + hint))
        elif name in names:
            faults.append(Fault(file, f"line {line}, heading", name, "each column once"))
        names.append(name)
    for column in columns:
        if column.needed and column.name not in names:
            faults.append(Fault(file, f"line {line}, heading", "", f"the column {column.name} is needed and not there"))
    if faults:
        raise BadInput(faults[:FAULTS_NAMED])
    return names


def _cell(raw: str, column: Column, table: Table, row: Row, commas: bool, styles: dict[str, int]) -> Cell:
    if not raw:
        if column.needed:
            table.fault(row, column.name, None, f"nothing here; {column.describe()}")
        return None
    if column.kind == "text":
        if column.choices:
            choice = raw.lower()
            if choice not in column.choices:
                table.fault(row, column.name, raw, column.describe())
                return None
            return choice
        if raw[0] in "=@":
            table.fault(row, column.name, raw, "text that a spreadsheet will not take for a formula")
            return None
        return raw
    if column.kind == "yes_no":
        word = {"yes": True, "y": True, "true": True, "1": True, "no": False, "n": False, "false": False, "0": False}
        if raw.lower() not in word:
            table.fault(row, column.name, raw, column.describe())
            return None
        return word[raw.lower()]
    value = _number(raw, commas)
    if value is None:
        point = " with a decimal point" if not commas and "," in raw else ""
        table.fault(row, column.name, raw, column.describe() + point)
        return None
    if "," in raw or "." in raw:
        styles.setdefault("comma" if "," in raw else "point", row.line)
    if not column.low <= value <= column.high or abs(value) >= LARGEST_NUMBER or 0.0 < abs(value) < LEAST_NUMBER:
        table.fault(row, column.name, raw, column.describe())
        return None
    return value


def _number(raw: str, commas: bool) -> float | None:
    text = raw.replace("\u2212", "-")
    if commas:
        text = text.replace(",", ".")
    if not re.fullmatch(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d{1,3})?", text, flags=re.ASCII):
        return None
    return float(text)


def _spell(value: Cell) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, (int, float)):
        return repr(float(value)).removesuffix(".0")
    return value
