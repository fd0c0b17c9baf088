"""``quietheel plan``: check, brief, forms."""

from __future__ import annotations

import dataclasses
import math
from pathlib import Path
from typing import Literal

import click

from quietheel.cli import NEEDS_A_PERSON
from quietheel.commands.common import folder_argument, json_option, print_json, talk
from quietheel.jobs.plan import PlanCheck, check_plan

paper_option = click.option(
    "--paper", type=click.Choice(["a4", "letter"]), default="a4", show_default=True, help="Size of the sheet."
)


@click.group("plan", epilog="Example:  quietheel plan check        quietheel plan brief")
def command() -> None:
    """Weeks before: check the plan; print the brief for the vessel's master and the forms of the day."""


@command.command("check", epilog="Example:  quietheel plan check merrowby")
@folder_argument
@json_option
def check(folder: Path, as_json: bool) -> int:
    """Expected heel of each movement, interval to expect on GM, crane reach, what is missing.

    Ends with 1 where something is needed before the day.
    """
    found = check_plan(folder)
    if as_json:
        print_json(dataclasses.asdict(found) | {"ready": found.ready})
    else:
        _print(found)
    return 0 if found.ready else NEEDS_A_PERSON


def _print(found: PlanCheck) -> None:
    click.secho(found.name, bold=True)
    displacement, gm = found.wanted
    if found.movements:
        if math.isfinite(displacement * gm):
            click.echo(f"expected heel, from {displacement / 1000:.0f} t and GM {gm:g} m (estimates):")
        for movement in found.movements:
            heel = "" if math.isnan(movement.heel_deg) else f"{movement.heel_deg:+7.2f}°"
            click.echo(f"  {movement.moment_tm:+9.2f} t m {heel}   {movement.call}")
        low, high = found.weight_for_range_t
        if math.isfinite(low):
            click.echo(f"  weights alike: {low:.2f} to {high:.2f} t each keep the heel in the range wanted")
    if found.forecasts:
        click.echo("interval to expect on GM (95 %):")
        for one in found.forecasts:
            if math.isfinite(one.gm_u):
                click.echo(
                    f"  windows of {one.window_s:4.0f} s: ± {1.96 * one.gm_u:.4f} m ({196 * one.gm_u / gm:.2f} %), "
                    f"heel of each ± {math.degrees(1.96 * one.heel_u):.4f}°"
                )
    if found.day_s:
        click.echo(f"the windows and movements take about {found.day_s / 3600:.1f} h")
    for line in found.advice:
        click.secho(f"think about: {line}", fg="yellow")
    for line in found.missing:
        needed = line.startswith("needed")
        click.secho(line if needed else f"missing: {line}", fg="red" if needed else None)


@command.command("brief", epilog="Example:  quietheel plan brief --paper letter")
@folder_argument
@paper_option
def brief(folder: Path, paper: Literal["a4", "letter"]) -> None:
    """Two pages for the vessel's master: what happens when, what has to be ready, where people can get hurt."""
    from quietheel.jobs.brief import brief as write

    for path in write(folder, paper=paper):
        click.echo(path)
    talk("hand it over a month before; the master's judgement and the ship's own safety rules come first")


@command.command("forms", epilog="Example:  quietheel plan forms")
@folder_argument
@paper_option
def forms(folder: Path, paper: Literal["a4", "letter"]) -> None:
    """Forms of the survey and of the day: to print, and survey.html to fill in on a tablet."""
    from quietheel.jobs.brief import forms as write

    for path in write(folder, paper=paper):
        click.echo(path)
