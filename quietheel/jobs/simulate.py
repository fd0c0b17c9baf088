"""Make a test folder of a synthetic day: record, marks, plan, and the truth beside them."""

from __future__ import annotations

import contextlib
import shutil
import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from importlib import resources
from itertools import islice
from pathlib import Path

from config.errors import bad
from config.files import digest
from config.folder import TestFolder
from config.load import load_plan, read_text
from config.tables import read_tables
from logger.archive.writer import RunWriter
from logger.clock import StoppedClock
from logger.events import EventLog
from logger.records import CANONICAL_UNIT, Channel
from quietheel.jobs.rehearsal import is_plan, scenario_of, take_along
from sim.day import SimulatedDay
from sim.day import simulate as make_day
from sim.scenario import Scenario, load_scenario, packaged_scenarios
from sim.truth import Truth

_AT_ONCE = 50_000
"""Readings handed to the writer at a time."""


@dataclass(frozen=True)
class Simulated:
    """What was made."""

    folder: Path
    run: str
    readings: int
    windows: int
    truth: Truth


def simulate(
    scenario: Path | str,
    folder: Path | str,
    *,
    seed: int | None = None,
    tell: Callable[[str], None] = lambda text: None,
) -> Simulated:
    """Make a synthetic day as a test folder, straight to disk.

    Parameters
    ----------
    scenario : a scenario file, the name of a packaged one (``merrowby``), or a plan, whose estimates then come true.
    folder : where to; must not hold a record yet. A plan that is there already is kept; else one is written from the
        scenario (or, for a packaged scenario, its whole prepared folder).
    seed : in place of the scenario's own.
    tell : called with what is going on.

    Raises
    ------
    BadInput naming what is wrong with the scenario or the folder.

    Example
    -------
    >>> import quietheel
    >>> made = quietheel.simulate("merrowby", "practice", seed=7)  # doctest: +SKIP
    >>> made.truth.gm_m  # doctest: +SKIP
    1.065
    """
    place = TestFolder(Path(folder))
    day = prepare(scenario, place, seed, tell)
    tell("writing the record")
    run, count = _write(day, place)
    log = EventLog(place.path, StoppedClock(day.end_ns))
    for mark in day.marks:
        log.append(mark.kind, "simulator", mark.data, at_ns=mark.time_ns)
    return Simulated(place.path, run, count, len(day.truth.windows), day.truth)


def prepare(scenario: Path | str, place: TestFolder, seed: int | None, tell: Callable[[str], None]) -> SimulatedDay:
    """Make the day and its folder, without record and marks; the truth lies beside."""
    known = packaged_scenarios()
    path = Path(scenario)
    if not path.is_file() and str(scenario) not in known:
        raise bad("command line", "SCENARIO", str(scenario), f"a scenario file, a plan, or one of: {', '.join(known)}")
    place.check_name()
    if place.record.is_dir() and any(place.record.glob("*/start.json")):
        raise bad("command line", "--out", place.path.name, "a folder without a record; nothing was written")
    if seed is not None and seed < 0:
        raise bad("command line", "--seed", seed, "a whole number, 0 or more")
    tell("working out the day")
    loaded, planned = _load(path)
    day = make_day(loaded, seed)
    if planned:
        take_along(path.parent, place)
    place.path.mkdir(parents=True, exist_ok=True)
    if not place.plan_file.exists():
        prepared = Path(str(resources.files("quietheel") / "demo" / str(scenario)))
        if prepared.is_dir():
            shutil.copytree(prepared, place.path, dirs_exist_ok=True, ignore=shutil.ignore_patterns("__pycache__"))
        else:
            from quietheel.jobs.planned import plan_text

            place.plan_file.write_text(plan_text(day), encoding="utf-8", newline="\n")
    day.truth.write(place.path / "truth.json")
    return day


def _load(path: Path) -> tuple[Scenario, bool]:
    """The scenario of a file, and whether the file is a plan of which one was made."""
    if path.is_file():
        text = read_text(path)
        with contextlib.suppress(tomllib.TOMLDecodeError):
            if is_plan(tomllib.loads(text)):
                plan = load_plan(path)
                return scenario_of(plan, path.name, read_tables(TestFolder(path.parent), plan)), True
    scenario = load_scenario(path)
    if not scenario.devices:
        wanted = "one [[devices]] or more: without a sensor there is nothing to record"
        raise bad(path.name, "devices", None, wanted)
    return scenario, False


def _write(day: SimulatedDay, place: TestFolder) -> tuple[str, int]:
    channels = [Channel(s.station, s.quantity, CANONICAL_UNIT[s.quantity], "simulator") for s in day.signals]
    writer = RunWriter(place.record, channels, digest(place.plan_file), StoppedClock(day.epoch_ns))
    run = writer.start().name
    readings = day.readings()
    count = 0
    while part := list(islice(readings, _AT_ONCE)):
        writer.append(part)
        writer.flush(sync=False)
        count += len(part)
    writer.stop("end of the synthetic day")
    return run, count
