"""Where everything of a record lies: ``record/RUN/`` with start record, segments, journal, notes and stop record."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from logger.archive.durable import write_whole
from logger.records import Channel, Quantity

RUN_NAME = re.compile(r"^\d{8}T\d{6}Z-\d+$")
SEGMENT_NAME = re.compile(r"^readings-(\d{4,})\.parquet$")
JOURNAL_NAME = re.compile(r"^journal-(\d{4,})\.arrows$")


@dataclass(frozen=True)
class RunInfo:
    """One run as its start and stop records tell it."""

    name: str
    """Folder name; names sort by start."""
    folder: Path
    started_ns: int
    """UTC ns; 0 where the start record cannot be read."""
    stopped_ns: int | None
    """UTC ns, or None: no stop record, so the run was cut off or is still being written."""
    stop_reason: str = ""
    plan_digest: str = ""
    """SHA-256 of plan.toml when the run started."""
    channels: tuple[Channel, ...] = ()
    problem: str = ""
    """What is wrong with the start or stop record; empty if nothing."""
    segments: tuple[tuple[str, int, str], ...] = field(default=())
    """(file, rows, SHA-256) of every sealed segment, from the stop record."""
    digests: tuple[tuple[str, str], ...] = ()
    """(file, SHA-256) of start record and notes, from the stop record."""

    @property
    def cut_off(self) -> bool:
        """True where there is no stop record."""
        return self.stopped_ns is None


def run_name(start_ns: int, number: int) -> str:
    """Name of a run folder.

    >>> run_name(1_778_743_800_000_000_000, 1)
    '20260514T073000Z-1'
    """
    return f"{datetime.fromtimestamp(start_ns // 1_000_000_000, UTC):%Y%m%dT%H%M%SZ}-{number}"


def segment_path(folder: Path, number: int) -> Path:
    """Sealed segment ``number`` of a run."""
    return folder / f"readings-{number:04d}.parquet"


def journal_path(folder: Path, number: int) -> Path:
    """Journal of the segment ``number`` while it is open or waits to be sealed."""
    return folder / f"journal-{number:04d}.arrows"


def numbered(folder: Path, pattern: re.Pattern[str]) -> dict[int, Path]:
    """Files of a run whose names match ``pattern``, by their number, in order."""
    found = [(pattern.match(path.name), path) for path in folder.iterdir()]
    return dict(sorted((int(match[1]), path) for match, path in found if match))


def list_runs(record_dir: Path) -> list[RunInfo]:
    """All runs of a record in the order in which they started; an empty list where there is none.

    Parameters
    ----------
    record_dir : ``record/`` of a test folder.
    """
    if not record_dir.is_dir():
        return []
    folders = [path for path in record_dir.iterdir() if path.is_dir() and RUN_NAME.match(path.name)]
    return [run_info(path) for path in sorted(folders, key=_order)]


def _order(folder: Path) -> tuple[str, int]:
    stamp, _, number = folder.name.partition("-")
    return stamp, int(number)


def run_info(folder: Path) -> RunInfo:
    """Read the start and stop records of one run; what is wrong with them is said in ``problem``."""
    start, start_problem = _read_json(folder / "start.json")
    stop, stop_problem = _read_json(folder / "stop.json") if (folder / "stop.json").exists() else (None, "")
    try:
        channels = tuple(channel_from_json(item) for item in _list((start or {}).get("channels")))
    except (KeyError, TypeError, ValueError, AttributeError):
        channels, start_problem = (), "start.json: its channels cannot be read"
    start, stop = start or {}, stop or {}
    return RunInfo(
        name=folder.name,
        folder=folder,
        started_ns=_integer(start.get("started_ns")) or 0,
        stopped_ns=_integer(stop.get("stopped_ns")),
        stop_reason=str(stop.get("reason", "")),
        plan_digest=str(start.get("plan_digest", "")),
        channels=channels,
        problem="; ".join(text for text in (start_problem, stop_problem) if text),
        segments=_segments(stop.get("segments")),
        digests=_digests(stop.get("sha256")),
    )


def _segments(listed: object) -> tuple[tuple[str, int, str], ...]:
    if not isinstance(listed, list):
        return ()
    kept = [item for item in listed if isinstance(item, dict) and {"file", "rows", "sha256"} <= item.keys()]
    return tuple((str(item["file"]), _integer(item["rows"]) or 0, str(item["sha256"])) for item in kept)


def _digests(listed: object) -> tuple[tuple[str, str], ...]:
    if not isinstance(listed, dict):
        return ()
    # A name with a folder in it is none of ours; it must not lead a reader elsewhere.
    return tuple((name, str(value)) for name, value in sorted(listed.items()) if Path(name).name == name)


def _list(value: object) -> list[dict[str, object]]:
    return value if isinstance(value, list) else []


def _integer(value: object) -> int | None:
    return value if isinstance(value, int) and not isinstance(value, bool) else None


def _read_json(path: Path) -> tuple[dict[str, object] | None, str]:
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return None, f"{path.name} is not there"
    except (OSError, ValueError, RecursionError) as error:
        return None, f"{path.name} cannot be read: {error}"
    return (data, "") if isinstance(data, dict) else (None, f"{path.name} holds no JSON object")


def channel_to_json(channel: Channel) -> dict[str, object]:
    """Channel as it stands in start.json and in schema metadata."""
    return {
        "station": channel.station,
        "quantity": str(channel.quantity),
        "unit": channel.unit,
        "source": channel.source,
        "calibration": channel.calibration,
    }


def channel_from_json(item: dict[str, object]) -> Channel:
    """Inverse of `channel_to_json`."""
    calibration = item.get("calibration")
    return Channel(
        station=str(item["station"]),
        quantity=Quantity(str(item["quantity"])),
        unit=str(item["unit"]),
        source=str(item.get("source", "")),
        calibration=dict(calibration) if isinstance(calibration, dict) else {},
    )


def write_json(path: Path, data: object) -> None:
    """Write JSON so that after a crash there is either the whole file or none."""
    write_whole(path, (json.dumps(data, indent=1, ensure_ascii=False, default=str) + "\n").encode())
