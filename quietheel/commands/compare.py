"""``quietheel compare``."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from pathlib import Path

import click

from quietheel.commands.common import folder_option, json_option, print_json
from quietheel.jobs.compare import Change, compare


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
    _print("results", found.results)
    _print("windows", found.windows)
    _print("settings", found.settings)
    _print("inputs", found.inputs)


def _print(title: str, changes: Sequence[Change]) -> None:
    if not changes:
        return
    click.echo(f"\n{title}")
    for change in changes:
        share = f"   ({change.share:.0%} of its 95 % interval)" if change.share == change.share else ""
        click.echo(f"  {change.what}: {_say(change.before)} -> {_say(change.after)}{share}")


def _say(value: object) -> str:
    if value is None:
        return "nothing"
    if isinstance(value, float):
        return f"{value:.6g}"
    text = str(value)
    return text if len(text) <= 60 else text[:57] + "..."
