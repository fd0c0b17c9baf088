"""Append-only JSON Lines in which every line carries the SHA-256 of the line before: nothing can be changed unseen.

Several processes may append to one file; a torn last line is kept, closed with a line feed and reported.
"""

from __future__ import annotations

import errno
import hashlib
import json
import os
from collections.abc import Callable
from dataclasses import dataclass
from io import FileIO
from pathlib import Path

from filelock import FileLock

from logger.archive.durable import sync_file, sync_folder

BEGINNING = "0" * 64
"""What the first line carries as digest of the line before."""
LONGEST_LINE = 1_000_000
"""Bytes. A longer entry is refused."""
TAIL = 8192
"""Bytes looked at first for the last line."""


@dataclass(frozen=True)
class Line:
    """One line of a chained file."""

    number: int
    """From 1."""
    data: dict[str, object] | None
    """The entry, or None where the line is no JSON object."""
    intact: bool
    """True where it carries the digest of the line before."""
    problem: str = ""
    """What is wrong with it, in words; empty if nothing."""


def append_line(path: Path, make: Callable[[int], dict[str, object]]) -> tuple[int, dict[str, object]]:
    """Append one entry and make it durable.

    Parameters
    ----------
    path : the file; made where it does not exist.
    make : called under the lock with the number (from 1) of the line to be written; gives the entry, to which the
        keys ``number`` and ``before`` are added.

    Returns
    -------
    Line number and the entry as written. Raises OSError where the disk refuses; nothing is left half written then.
    """
    with FileLock(path.with_name("." + path.name + ".lock")), path.open("a+b", buffering=0) as file:
        size = file.seek(0, os.SEEK_END)
        count, last, torn = _last_line(file, size)
        number = count + 1
        entry = {"number": number, **make(number), "before": BEGINNING if last is None else _sha256(last)}
        text = json.dumps(entry, ensure_ascii=False, separators=(", ", ": "), allow_nan=False)
        data = text.encode("utf-8", "replace") + b"\n"
        if len(data) > LONGEST_LINE:
            raise ValueError(f"an entry of {len(data)} bytes is too long for {path.name}")
        try:
            data = (b"\n" if torn else b"") + data
            if file.write(data) != len(data):
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
            sync_file(file.fileno())
            if not size:
                # A new file's name is not on the disk with its bytes.
                sync_folder(path.parent)
        except OSError:
            file.truncate(size)
            raise
    return number, entry


def read_lines(path: Path) -> list[Line]:
    """Read every line and check the chain; an empty list where there is no file.

    A line that is torn or changed is reported in its ``problem``; the lines after it are still read.
    """
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        return []
    *whole, rest = data.split(b"\n")
    lines = []
    before: bytes | None = None
    for number, raw in enumerate([*whole, *([rest] if rest else [])], start=1):
        lines.append(_line(number, raw, before, torn=number > len(whole)))
        before = raw
    return lines


def _line(number: int, raw: bytes, before: bytes | None, *, torn: bool) -> Line:
    try:
        entry = json.loads(raw)
    except (ValueError, RecursionError):
        return Line(number, None, False, f"line {number} is {'torn' if torn else 'no JSON'}: {_shown(raw)}")
    if not isinstance(entry, dict):
        return Line(number, None, False, f"line {number} is no JSON object: {_shown(raw)}")
    expected = BEGINNING if before is None else _sha256(before)
    if entry.get("before") != expected:
        return Line(number, entry, False, f"line {number} does not carry the digest of line {number - 1}")
    return Line(number, entry, True)


def _last_line(file: FileIO, size: int) -> tuple[int, bytes | None, bool]:
    """Number of lines, the last one, and whether it lacks its line feed.

    A whole last line says its own number, so that a long file need not be read through for every entry.
    """
    if not size:
        return 0, None, False
    back = TAIL
    while True:
        file.seek(max(0, size - back))
        data = file.read()
        if back >= size or data[:-1].count(b"\n"):
            break
        back *= 8
    torn = not data.endswith(b"\n")
    body = data if torn else data[:-1]
    last = body[body.rfind(b"\n") + 1 :]
    try:
        number = None if torn else json.loads(last).get("number")
    except (ValueError, RecursionError, AttributeError):
        number = None
    if isinstance(number, int) and number > 0:
        return number, last, torn
    file.seek(0)
    return sum(1 for _ in file), last, torn


def _sha256(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def _shown(raw: bytes) -> str:
    text = raw[:60].decode("utf-8", "replace")
    return repr(text + ("..." if len(raw) > 60 else ""))
