"""From a test folder to the answer: record and marks, heels, reduction, results on disk."""

from __future__ import annotations

import contextlib
import datetime as dt
import json
import tomllib
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from config.errors import bad
from config.files import digest, is_device, put_in_place
from config.folder import TestFolder
from config.load import validated
from config.plan import Plan
from config.tables import Tables, read_tables
from dsp.day import evaluate_day
from dsp.types import DayHeel
from logger.archive.durable import write_whole
from quietheel import __version__
from quietheel.jobs.altered import altered
from quietheel.jobs.day import RecordedDay, open_day
from quietheel.jobs.facts import marked_inputs, odd_marks, other_day, with_marked
from quietheel.jobs.plain import plain
from quietheel.jobs.told import as_told
from quietheel.jobs.wind_gaps import wind_gaps
from reduction.answer_json import answer_json
from reduction.day import reduce_day
from reduction.inputs import DayInputs
from reduction.types import Answer, Provenance


@dataclass(frozen=True)
class ReducedDay:
    """A recorded day with its answer."""

    recorded: RecordedDay
    plan: Plan
    """The plan as reduced, changed settings included."""
    heel: DayHeel
    answer: Answer
    altered: tuple[str, ...] = ()
    """What of the marks and the record is not as it was written, as sentences; also among the reservations."""

    def as_json(self) -> dict[str, Any]:
        """The answer in the units of the door, as it stands in ``results/reduction.json``."""
        found: dict[str, Any] = plain(answer_json(self.answer))
        return found


def reduce(folder: Path | str = ".", settings: Mapping[str, object] | None = None) -> Answer:
    """Reduce a test folder to GM, KG, lightship and the answer; nothing is written.

    Parameters
    ----------
    folder : the test folder.
    settings : keys of the plan's ``[settings]`` to change for this reduction.

    Raises
    ------
    BadInput naming every fault of plan, marks, tables or settings.

    Example
    -------
    >>> import quietheel
    >>> answer = quietheel.reduce("demo-day")  # doctest: +SKIP
    >>> answer.gm.value.gm.value, answer.gm.value.gm.u95()  # doctest: +SKIP
    (1.0641, 0.0042)
    """
    return reduce_folder(folder, settings).answer


def reduce_folder(folder: Path | str = ".", settings: Mapping[str, object] | None = None) -> ReducedDay:
    """Reduce a test folder and keep what led there, for reports and notebooks; see `reduce`."""
    # Hashing a long record takes as long as a glance at it; it goes on beside the reading, which leaves a core free.
    with ThreadPoolExecutor(max_workers=1) as pool:
        digests = pool.submit(_digests, TestFolder(Path(folder)))
        recorded = open_day(folder)
        return _reduced(recorded, settings or {}, digests.result)


def _reduced(
    recorded: RecordedDay, settings: Mapping[str, object], digests: Callable[[], list[tuple[str, str]]]
) -> ReducedDay:
    plan = with_settings(recorded.plan, settings)
    tables = read_tables(recorded.folder, plan)
    heel = evaluate_day(as_told(recorded.day, plan, recorded.standing, tables.shifts or ()))
    inputs = day_inputs(recorded, plan, tables, heel, digests())
    return ReducedDay(recorded, plan, heel, reduce_day(inputs), inputs.altered)


def day_inputs(
    recorded: RecordedDay, plan: Plan, tables: Tables, heel: DayHeel, digests: list[tuple[str, str]] | None = None
) -> DayInputs:
    """Gather what the reduction is handed; ``digests`` of plan, marks and record where they are known already."""
    standing = recorded.standing
    tables, said = with_marked(tables, recorded.events)
    known = _digests(recorded.folder) if digests is None else digests
    return replace(
        marked_inputs(plan, heel, tables, standing, recorded.events),
        said=(*other_day(plan, standing), *odd_marks(standing), *said, *wind_gaps(recorded.day)),
        altered=altered(recorded.folder, dict(known)),
        provenance=Provenance(
            version=__version__,
            made_at=f"{dt.datetime.now(dt.UTC):%Y-%m-%dT%H:%M:%SZ}",
            inputs=(*known, *tables.inputs),
            settings=plan.settings.model_dump(mode="json"),
        ),
    )


def with_settings(plan: Plan, changes: Mapping[str, object]) -> Plan:
    """Return the plan with some of its ``[settings]`` changed; raises BadInput for what they do not take."""
    if not changes:
        return plan
    data = plan.settings.model_dump() | dict(changes)
    return plan.model_copy(update={"settings": validated(data, type(plan.settings), "--set")})


def parse_settings(pairs: Sequence[str]) -> dict[str, object]:
    """Read ``key=value`` as TOML would, words without quotes included.

    A key is given once; ``leave_out`` may be given again for every further station.

    >>> parse_settings(["gm_carried=line", "seed=7", "confidence=0.9"])
    {'gm_carried': 'line', 'seed': 7, 'confidence': 0.9}
    >>> parse_settings(["leave_out=aft", "leave_out=hold"])
    {'leave_out': 'aft,hold'}

    Raises
    ------
    BadInput for what is no pair, and for a key that is given twice.
    """
    found: dict[str, object] = {}
    for pair in pairs:
        key, equals, text = pair.partition("=")
        if not equals or not key.strip():
            raise bad("command line", "--set", pair, "key=value, such as gm_carried=line")
        name = key.strip()
        try:
            value: object = tomllib.loads(f"value = {text}")["value"]
        except tomllib.TOMLDecodeError:
            value = text.strip()
        if name in found and name != "leave_out":
            raise bad("command line", "--set", pair, f"{name} once")
        found[name] = f"{_plainly(found[name])},{_plainly(value)}" if name in found else value
    return found


def _plainly(value: object) -> str:
    """Names of a list, or the one name, with commas between."""
    return ",".join(map(str, value)) if isinstance(value, list) else str(value).strip("[] ")


def check_name(name: str) -> None:
    """Refuse a name that a result cannot have on every system; raises BadInput."""
    if len(name) > 64 or not name.replace("-", "").replace("_", "").replace(".", "").isalnum() or is_device(name):
        raise bad("command line", "--as", name, "letters, digits, dots, minus, underscore, 64 at most")


def write_result(place: TestFolder, result: Mapping[str, Any], name: str = "reduction") -> tuple[Path, Path | None]:
    """Write a reduction under results/; an older one of that name that differs is kept beside it, by its time.

    Returns
    -------
    (the file written, the file the older one was kept as or None).
    """
    check_name(name)
    place.results.mkdir(exist_ok=True)
    target = place.results / f"{name}.json"
    kept = _keep(target, result) if target.is_file() else None
    text = json.dumps(result, ensure_ascii=False, indent=2, allow_nan=False) + "\n"
    write_whole(target, text.encode("utf-8"))
    return target, kept


def _keep(target: Path, result: Mapping[str, Any]) -> Path | None:
    try:
        before = json.loads(target.read_text(encoding="utf-8"))
        made_at = str(before["provenance"]["made_at"])
    except (ValueError, KeyError, TypeError):
        before, made_at = None, "unreadable"
    if before is not None and _without_time(before) == _without_time(result):
        return None
    stamp = "".join(character for character in made_at if character.isalnum())
    kept = target.with_name(f"{target.stem}-{stamp}.json")
    number = 1
    while kept.exists():
        number += 1
        kept = target.with_name(f"{target.stem}-{stamp}-{number}.json")
    put_in_place(target, kept)
    return kept


def _without_time(result: Mapping[str, Any]) -> dict[str, Any]:
    provenance = {k: v for k, v in dict(result.get("provenance") or {}).items() if k != "made_at"}
    return {**result, "provenance": provenance}


def _digests(place: TestFolder) -> list[tuple[str, str]]:
    """SHA-256 of plan, marks and every file of the record."""
    found = []
    for file in [place.plan_file, place.events, *sorted(place.record.rglob("*"))]:
        if file.is_file() and not file.name.startswith("."):
            # A journal of a run still being recorded may just have been sealed.
            with contextlib.suppress(FileNotFoundError):
                found.append((file.relative_to(place.path).as_posix(), digest(file)))
    return found
