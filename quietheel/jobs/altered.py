"""What of the marks and the record is not as it was written, at a glance; `quietheel verify` tells it all."""

from __future__ import annotations

from collections.abc import Mapping

from config.files import digest
from config.folder import TestFolder
from config.words import first_of
from logger.archive.layout import list_runs
from logger.events import EventLog

NAMED = 3
"""Lines or files named one by one in a sentence."""


def altered(place: TestFolder, digests: Mapping[str, str]) -> tuple[str, ...]:
    """Say which lines of the marks break the chain and which sealed files are not those of their stop record.

    Parameters
    ----------
    digests : file relative to the folder -> SHA-256, as far as it is known already.
    """
    said = []
    lines = [fault.removeprefix("events.jsonl: ") for fault in EventLog(place.path).verify().faults]
    if lines:
        said.append(f"marks are not as they were written: events.jsonl, {first_of(lines, NAMED)}")
    files = []
    for run in list_runs(place.record):
        for name, expected in (*run.digests, *((name, sha256) for name, _, sha256 in run.segments)):
            path = run.folder / name
            found = digests.get(path.relative_to(place.path).as_posix()) or (digest(path) if path.is_file() else "")
            if found != expected:
                files.append(f"record/{run.name}/{name}")
    if files:
        said.append(f"readings are not as they were recorded: {first_of(files, NAMED)}")
    return tuple(said)
