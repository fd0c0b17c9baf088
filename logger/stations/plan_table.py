"""Write a calibration into ``plan.toml``, leaving everything else as the person typed it: comments, order, spacing."""

from __future__ import annotations

import datetime as dt
import json
import re
from collections.abc import Mapping
from pathlib import Path

from config.errors import bad
from config.load import parse_settings, read_text
from config.plan import Plan
from logger.archive.durable import write_whole

Value = str | float | int | dt.date
_HEADER = re.compile(r"^\s*\[{1,2}\s*([^\[\]]+?)\s*\]{1,2}\s*(#.*)?$")
_ARRAY = re.compile(r"^\s*\[\[\s*stations\s*\]\]\s*(#.*)?$")
_INLINE = re.compile(r"^(\s*)calibration\s*=\s*\{(.*)\}\s*(#.*)?$")


def write_calibration(plan_file: Path, station: str, values: Mapping[str, Value]) -> Plan:
    """Put calibration values of one station into the plan; what else stands in its table stays.

    Parameters
    ----------
    plan_file : ``plan.toml``.
    station : name of the station.
    values : keys of ``[stations.calibration]``.

    Returns
    -------
    The plan as it reads afterwards.

    Raises
    ------
    BadInput for an unknown station or values that the plan would not take; the file is not touched then.
    """
    text = read_text(plan_file)
    changed = with_calibration(text, station, values, plan_file.name)
    plan = parse_settings(changed, Plan, plan_file.name)
    write_whole(plan_file, changed.encode("utf-8"))
    return plan


def with_calibration(text: str, station: str, values: Mapping[str, Value], file: str = "plan.toml") -> str:
    """Return the text of a plan with a station's calibration set.

    >>> print(with_calibration('[[stations]]\\nname = "aft"  # by the skeg\\n', "aft", {"zero_deg": 0.02}), end="")
    [[stations]]
    name = "aft"  # by the skeg
      [stations.calibration]
      zero_deg = 0.02
    """
    newline = "\r\n" if "\r\n" in text else "\n"
    plan = parse_settings(text, Plan, file)
    names = [one.name for one in plan.stations]
    if station not in names:
        raise bad(file, "stations", station, f"one of {', '.join(names) or 'none: the plan has no stations'}")
    lines = text.splitlines()
    starts = [number for number, line in enumerate(lines) if _ARRAY.match(line)]
    if len(starts) != len(names):
        raise bad(file, "stations", None, "stations written as [[stations]] tables, one each, to be edited here")
    first = starts[names.index(station)]
    last = _end(lines, first)
    lines[first:last] = _edited(lines[first:last], values)
    return newline.join(lines) + newline


def _end(lines: list[str], first: int) -> int:
    """Line after the last one that belongs to the station: comments above the next table are that table's."""
    end = len(lines)
    for number in range(first + 1, len(lines)):
        header = _HEADER.match(lines[number])
        if header and not header[1].replace(" ", "").startswith("stations."):
            end = number
            break
    while end > first + 1 and (not lines[end - 1].strip() or lines[end - 1].lstrip().startswith("#")):
        end -= 1
    return end


def _edited(lines: list[str], values: Mapping[str, Value]) -> list[str]:
    for number, line in enumerate(lines):
        inline = _INLINE.match(line)
        if inline:
            kept = [part for part in _parts(inline[2]) if part.split("=")[0].strip() not in values]
            both = ", ".join([*kept, *(f"{key} = {_toml(value)}" for key, value in values.items())])
            comment = f"  {inline[3]}" if inline[3] else ""
            return [*lines[:number], f"{inline[1]}calibration = {{ {both} }}{comment}", *lines[number + 1 :]]
    head = next((n for n, line in enumerate(lines) if _is_calibration(line)), None)
    if head is None:
        return [*lines, "  [stations.calibration]", *(f"  {key} = {_toml(value)}" for key, value in values.items())]
    end = next((n for n in range(head + 1, len(lines)) if _HEADER.match(lines[n])), len(lines))
    table = lines[head + 1 : end]
    indent = re.match(r"\s*", lines[head])[0]  # type: ignore[index]
    added = []
    for key, value in values.items():
        place = next((n for n, line in enumerate(table) if re.match(rf"\s*{re.escape(key)}\s*=", line)), None)
        if place is None:
            added.append(f"{indent}{key} = {_toml(value)}")
        else:
            table[place] = _replaced(table[place], value)
    return [*lines[: head + 1], *table, *added, *lines[end:]]


def _is_calibration(line: str) -> bool:
    header = _HEADER.match(line)
    return header is not None and header[1].replace(" ", "") == "stations.calibration"


def _replaced(line: str, value: Value) -> str:
    """The same line with another value; a comment behind it keeps its column where there is room."""
    before, _, rest = line.partition("=")
    comment = _comment(rest)
    made = f"{before.rstrip()} = {_toml(value)}"
    if not comment:
        return made
    column = len(line) - len(comment)
    return f"{made.ljust(column - 1)} {comment}" if len(made) < column else f"{made}  {comment}"


def _comment(rest: str) -> str:
    quoted = re.match(r"""\s*("(?:[^"\\]|\\.)*"|'[^']*'|[^#"']*)""", rest)
    place = rest.find("#", quoted.end() if quoted else 0)
    return rest[place:] if place >= 0 else ""


def _parts(inside: str) -> list[str]:
    found = re.findall(r"""[\w-]+\s*=\s*(?:"(?:[^"\\]|\\.)*"|'[^']*'|[^,]+)""", inside)
    return [part.strip() for part in found]


def _toml(value: Value) -> str:
    if isinstance(value, dt.date):
        return value.isoformat()
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, float):
        text = f"{value:.6g}"
        return text if any(mark in text for mark in ".e") else f"{text}.0"
    return str(value)
