"""``quietheel verify``."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import click

from quietheel.cli import NEEDS_A_PERSON
from quietheel.commands.common import folder_argument, json_option, print_json, talk
from quietheel.jobs.verify import verify

SHOWN = 40
"""Findings shown unless all are asked for, worst first."""
_COLOUR = {"damage": "red", "loss": "yellow", "remark": "white"}


@click.command("verify", epilog="Example:  quietheel verify demo-day")
@folder_argument
@click.option("--gap", "gap_s", type=click.FloatRange(min=0.01), default=2.0, help="Shortest silence that counts, s.")
@click.option("--all", "everything", is_flag=True, help="Every finding, however many.")
@json_option
def command(folder: Path, gap_s: float, everything: bool, as_json: bool) -> int:
    """Check digests, the chain of marks, gaps and losses of a folder; says what is missing, to the millisecond.

    Ends with 1 where what is there is not what was written, and where nothing is recorded.
    """
    report = verify(folder, gap_s=gap_s)
    if as_json:
        print_json(dataclasses.asdict(report) | {"sound": report.sound, "empty": report.empty})
    else:
        head, *lines = report.lines()
        click.secho(head, bold=True)
        for line in lines if everything else lines[:SHOWN]:
            click.secho(line, fg=_COLOUR.get(line.partition(":")[0]))
        if len(lines) > SHOWN and not everything:
            talk(f"and {len(lines) - SHOWN} more; --all shows them")
    return 0 if report.sound and not report.empty else NEEDS_A_PERSON
