"""Read a TOML settings file into a closed model; name every fault with its line, key, value and what would be right."""

from __future__ import annotations

import difflib
import re
import tomllib
import typing
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import TypeVar

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from config.errors import BadInput, Fault, bad
from config.plan import Plan
from config.words import shortened

Model = TypeVar("Model", bound=BaseModel)
KeyPath = tuple[str | int, ...]

LARGEST_SETTINGS_FILE = 4_000_000
"""Bytes. A larger file is not a plan."""
KEYS_NAMED = 16
"""Where a key is not known, so many of those that are known are named."""


def load_plan(path: Path) -> Plan:
    """Read ``plan.toml``.

    Parameters
    ----------
    path : the file itself.

    Returns
    -------
    Plan, complete and frozen.

    Raises
    ------
    BadInput naming every fault of the file.
    """
    return load_settings(path, Plan)


def load_settings(path: Path, model: type[Model]) -> Model:
    """Read any TOML settings file into ``model``; see `load_plan`."""
    return parse_settings(read_text(path), model, path.name)


def parse_settings(text: str, model: type[Model], file: str = "plan.toml") -> Model:
    """Check TOML text against ``model``.

    >>> from config.plan import Plan
    >>> parse_settings("[vessel]\\nbreadth_m = -4", Plan)
    Traceback (most recent call last):
    ...
    config.errors.BadInput: plan.toml, line 2, vessel.breadth_m: found -4; input should be greater than 0
    """
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        found = re.search(r"\(at line (\d+), column (\d+)\)", str(error))
        where = f"line {found[1]}, column {found[2]}" if found else f"line {text.count(chr(10)) + 1}, its end"
        words = re.sub(r"\s*\(at .*\)$", "", str(error))
        hint = _slip(text, int(found[1])) if found else ""
        raise bad(file, where, None, f"not valid TOML: {words[:1].lower()}{words[1:]}{hint}") from None
    except RecursionError:
        raise bad(file, "whole file", None, "not valid TOML: brackets nested too deep") from None
    return validated(data, model, file, key_lines(text))


def _slip(text: str, number: int) -> str:
    """Say what was probably meant on a line that is no TOML: a decimal comma or a date of another country."""
    lines = text.split("\n")
    value = lines[number - 1].partition("=")[2].strip() if number <= len(lines) else ""
    if re.match(r"[+-]?\d+,\d", value):
        return f"; decimals are written with a point: {value.split()[0].replace(',', '.', 1)}"
    if re.match(r"\d{1,2}([-/.])\d{1,2}\1\d{2,4}", value):
        return "; a date is written year first: 2030-05-14"
    return ""


def validated(data: object, model: type[Model], file: str, lines: dict[KeyPath, int] | None = None) -> Model:
    """Check data that is no longer text against ``model``; ``lines`` says where each key stood, if anywhere."""
    try:
        return model.model_validate(data)
    except ValidationError as error:
        faults = [_fault(detail, lines or {}, file, model) for detail in error.errors(include_url=False)]
        raise BadInput(sorted(faults, key=_line_number)) from None


def read_text(path: Path) -> str:
    """Read a UTF-8 text file (a byte-order mark is dropped); say plainly what is wrong if that fails."""
    try:
        if path.stat().st_size > LARGEST_SETTINGS_FILE:
            raise bad(path.name, "whole file", f"{path.stat().st_size} bytes", "a file under 4 MB")
        return path.read_bytes().decode("utf-8-sig")
    except FileNotFoundError:
        raise bad(str(path), "whole file", None, "this file should exist; `quietheel new NAME` writes one") from None
    except UnicodeDecodeError as error:
        raise _not_utf8(path.name, error.object, error.start) from None
    except OSError as error:
        raise bad(str(path), "whole file", None, f"a readable file ({error.strerror})") from None


def _not_utf8(file: str, raw: bytes, start: int) -> BadInput:
    """Name the line of the first byte that is no UTF-8, and what stands before it there."""
    wanted = "text in UTF-8; save the file as UTF-8"
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return bad(file, "whole file", "UTF-16", wanted)
    line = raw[:start].count(b"\n") + 1
    before = raw[raw.rfind(b"\n", 0, start) + 1 : start].decode("utf-8", "replace").removeprefix("\ufeff")
    found = f"byte {raw[start]:#04x} after {before[-40:]!r}" if before.strip() else f"byte {raw[start]:#04x}"
    return bad(file, f"line {line}", found, wanted)


def key_lines(text: str) -> dict[KeyPath, int]:
    """Find the line (from 1) on which each table and key of a TOML text stands.

    Arrays of tables are counted from 0, as in Python. Keys inside inline tables are not looked into.

    >>> key_lines("[[weights]]\\nname = 'A'\\n[[weights]]\\nmass_t = 5")
    {('weights', 0): 1, ('weights', 0, 'name'): 2, ('weights', 1): 3, ('weights', 1, 'mass_t'): 4}
    """
    lines: dict[KeyPath, int] = {}
    counts: dict[KeyPath, int] = {}
    table: KeyPath = ()
    for number, raw in enumerate(text.splitlines(), start=1):
        line = raw.strip()
        header = re.match(r"^(\[\[?)\s*([^\[\]]+?)\s*(\]\]?)\s*(#.*)?$", line)
        if header:
            table = _absolute(tuple(_dotted(header[2])), counts, array=header[1] == "[[")
            lines.setdefault(table, number)
            continue
        key = re.match(r"""^((?:[\w-]+|"[^"]*"|'[^']*')(?:\s*\.\s*(?:[\w-]+|"[^"]*"|'[^']*'))*)\s*=""", line)
        if key:
            lines.setdefault((*table, *_dotted(key[1])), number)
    return lines


def _dotted(text: str) -> Iterator[str]:
    for part in re.findall(r"""[\w-]+|"[^"]*"|'[^']*'""", text):
        yield part.strip("\"'")


def _absolute(names: tuple[str, ...], counts: dict[KeyPath, int], *, array: bool) -> KeyPath:
    path: KeyPath = ()
    for position, name in enumerate(names):
        path = (*path, name)
        last = position == len(names) - 1
        if last and array:
            counts[path] = counts.get(path, -1) + 1
        if path in counts:
            path = (*path, counts[path])
    return path


def _fault(detail: ErrorDetails, lines: dict[KeyPath, int], file: str, model: type[BaseModel]) -> Fault:
    path = _without_tags(tuple(detail["loc"]), model)
    wanted = detail["msg"].removeprefix("Value error, ")
    wanted = wanted[:1].lower() + wanted[1:]
    value: object = detail.get("input")
    if detail["type"] == "missing":
        value, wanted = None, "this key is needed and not there"
    elif detail["type"] == "extra_forbidden":
        value, wanted = None, "no such key here" + _suggestion(detail["loc"], model)
    elif detail["type"] in ("union_tag_invalid", "union_tag_not_found"):
        value = value.get("type") if isinstance(value, dict) else None
        kinds = ", ".join(sorted(tag for kind in _models_at(model, detail["loc"]) for tag in _tags(kind)))
        path, wanted = (*path, "type"), f"one of {kinds}"
    elif detail["type"] == "float_parsing" and isinstance(value, str):
        wanted = "a number with a decimal point, without quotes or unit"
    elif detail["type"] == "int_parsing":
        wanted = "a whole number without quotes"
    elif detail["type"] == "bool_parsing":
        wanted = "true or false"
    elif detail["type"].startswith(("date_from", "date_parsing", "date_type")):
        wanted = "a date, year first and without quotes: 2030-05-14"
    elif isinstance(value, (dict, list, tuple)):
        value = None
    line = next((lines[path[:n]] for n in range(len(path), 0, -1) if path[:n] in lines), None)
    where = ", ".join(part for part in (f"line {line}" if line else "", _spell(path)) if part) or "whole file"
    return Fault(file, where, "" if value is None else _short(value), wanted)


def _without_tags(path: tuple[str | int, ...], model: type[BaseModel]) -> KeyPath:
    """Drop the name of the chosen kind that pydantic puts into the path of a table chosen by its ``type``."""
    kept: KeyPath = ()
    for position, part in enumerate(path):
        if isinstance(part, int) or not _is_tag(part, _models_at(model, path[:position])):
            kept = (*kept, part)
    return kept


def _spell(path: KeyPath) -> str:
    text = ""
    for part in path:
        text += f"[{part}]" if isinstance(part, int) else (f".{part}" if text else part)
    return text


def _short(value: object) -> str:
    return shortened(repr(value) if isinstance(value, str) else str(value))


def _suggestion(location: tuple[str | int, ...], model: type[BaseModel]) -> str:
    names = _fields_at(model, location[:-1])
    near = difflib.get_close_matches(str(location[-1]), names, n=1, cutoff=0.6)
    if near:
        return f"; did you mean {near[0]}?"
    shown = sorted(names)[:KEYS_NAMED]
    more = f" and {len(names) - len(shown)} more" if len(names) > len(shown) else ""
    return f"; known here: {', '.join(shown)}{more}" if names else ""


def _fields_at(model: type[BaseModel], path: tuple[str | int, ...]) -> list[str]:
    return list(dict.fromkeys(name for kind in _models_at(model, path) for name in kind.model_fields))


def _models_at(model: type[BaseModel], path: tuple[str | int, ...]) -> list[type[BaseModel]]:
    """Tables that may stand at a place: one, or all kinds that a ``type`` there chooses from."""
    current: list[type[BaseModel]] = [model]
    for part in path:
        if isinstance(part, int):
            continue
        if _is_tag(part, current):
            current = [kind for kind in current if part in _tags(kind)]
            continue
        inner = [kind.model_fields[part].annotation for kind in current if part in kind.model_fields]
        if inner:
            current = list(_models_in(inner))
    return current


def _is_tag(part: str | int, kinds: list[type[BaseModel]]) -> bool:
    """Whether a part of a path is no key but the ``type`` of one of several kinds of table."""
    return len(kinds) > 1 and any(part in _tags(kind) for kind in kinds)


def _tags(kind: type[BaseModel]) -> tuple[str, ...]:
    """Values of the ``type`` that chooses this kind of table."""
    chooser = kind.model_fields.get("type")
    return tuple(str(tag) for tag in typing.get_args(chooser.annotation)) if chooser else ()


def _models_in(annotations: Iterable[object]) -> Iterator[type[BaseModel]]:
    for annotation in annotations:
        if isinstance(annotation, type) and issubclass(annotation, BaseModel):
            yield annotation
        else:
            yield from _models_in(list(typing.get_args(annotation)))


def _line_number(fault: Fault) -> int:
    found = re.match(r"line (\d+)", fault.where)
    return int(found[1]) if found else 0
