"""``quietheel compare``."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from pathlib import Path

import click

from quietheel.commands.common import counted, folder_option, json_option, print_json
from quietheel.jobs.compare import Change, compare
from reduction.verdict.criteria import chance

WORTH_SAYING = 0.1
"""Of the largest part of a budget: what changed by less is behind the scenes."""
LEAST_WIDER = 0.01
"""Of an interval: as much as its second digit can show."""
LEAST_SHARE = 0.005
"""Of the interval of a result: what moved by less prints as 0 %."""
CHANCE = ".probability_over"
"""Last part of the keys of chances, which are told as the answer tells them."""
_UNITS = {"tm": "t m", "deg": "deg", "m": "m", "t": "t", "s": "s", "m3": "m3"}
"""Last part of a key -> unit."""
_BEHIND = ("budget.", "monte_carlo.", "as_inclined.gm_m.", "gm_all.", "day_checks[", "difference", "headline")
"""Results that no person reads first: draws, and what the other results say already."""


@click.command(
    "compare",
    epilog="Example:  quietheel reduce --set gm_carried=line --as line && quietheel compare reduction line",
)
@click.argument("first")
@click.argument("second")
@folder_option
@json_option
def command(first: str, second: str, folder: Path, as_json: bool) -> None:
    """Say what changed between two reductions, FIRST and SECOND, and by how much.

    Each is a file, a test folder, or the name of a result in the current folder.
    """
    found = compare(first, second, folder)
    if as_json:
        print_json(dataclasses.asdict(found) | {"same": found.same})
        return
    click.echo(f"{found.first}  ->  {found.second}")
    if found.same:
        click.echo("the same to the last digit")
    _print("settings", found.settings)
    _print("inputs", found.inputs)
    results, why, rest = _sorted_out(found.results)
    _print("results", results)
    _print("where the intervals changed (standard uncertainties)", why)
    _print("windows", found.windows)
    if rest:
        click.echo(f"\n{counted(rest, 'further figure')} behind these changed as well; --json has all of them")


def _sorted_out(changes: Sequence[Change]) -> tuple[list[Change], list[Change], int]:
    """Results a person reads, the parts of the budget that changed for more than a little, and how many others."""
    parts = [c for c in changes if c.what.startswith("budget.") and c.what.endswith("].u")]
    largest: dict[str, float] = {}
    for part in parts:
        of = part.what.partition("[")[0]
        largest[of] = max(largest.get(of, 0.0), _u(part.before), _u(part.after))
    why = [p for p in parts if abs(_u(p.after) - _u(p.before)) > WORTH_SAYING * largest[p.what.partition("[")[0]]]
    results = [c for c in changes if not _behind(c) and not _little(c)]
    return results, why, len(changes) - len(results) - len(why)


def _behind(change: Change) -> bool:
    """Whether no person reads it first; of a deviation the sentence tells value and unit."""
    return change.what.startswith(_BEHIND) or (change.what.startswith("deviations[") and change.what.endswith(".value"))


def _little(change: Change) -> bool:
    """Whether a result moved by next to nothing of its interval, or an interval by next to nothing of itself."""
    if "u95" in change.what.rpartition(".")[2]:
        wider = max(_u(change.before), _u(change.after))
        return 0.0 < abs(_u(change.after) - _u(change.before)) < LEAST_WIDER * wider
    if change.what.endswith(CHANCE):
        return _told(change.what, change.before) == _told(change.what, change.after)
    return change.share < LEAST_SHARE


def _u(value: object) -> float:
    return value if isinstance(value, float) else 0.0


def _print(title: str, changes: Sequence[Change]) -> None:
    if not changes:
        return
    click.echo(f"\n{title}")
    for change in changes:
        listed = change.what.partition("[")[0]
        if change.what in (f"{listed}[{change.before}]", f"{listed}[{change.after}]"):  # a sentence that came or went
            click.echo(f"  {listed}, {'no longer' if change.after is None else 'now'}: {change.after or change.before}")
            continue
        share = f"   ({change.share:.0%} of its 95 % interval)" if change.share == change.share else ""
        before, after = _told(change.what, change.before), _told(change.what, change.after)
        click.echo(f"  {change.what}: {before} -> {after}{_unit(change)}{share}")


def _told(what: str, value: object) -> str:
    return chance(value) if what.endswith(CHANCE) and isinstance(value, float) else _say(value)


def _unit(change: Change) -> str:
    """Unit of a figure whose key names it before its last part, as ``kg_m.value`` does; else empty."""
    stem, _, last = change.what.rpartition(".")
    figures = isinstance(change.before, float) and isinstance(change.after, float)
    unit = _UNITS.get(stem.rpartition("_")[2], "") if last in ("value", "u95") and figures else ""
    return f" {unit}" if unit else ""


def _say(value: object) -> str:
    if value is None:
        return "nothing"
    if isinstance(value, float):
        return f"{value:.6g}"
    text = str(value)
    return text if len(text) <= 60 else text[:57] + "..."
