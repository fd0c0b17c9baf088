"""``quietheel survey``: totals, forms, import."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from typing import Literal

import click

from quietheel.cli import NEEDS_A_PERSON
from quietheel.commands.common import counted, folder_argument, folder_option, json_option, print_json, talk
from quietheel.commands.plan import paper_option
from quietheel.jobs.surveying import import_survey, other_masses, survey


@click.group(
    "survey", epilog="Example:  quietheel survey forms; quietheel survey import tablet.csv; quietheel survey totals"
)
def command() -> None:
    """Deadweight survey: every space aboard, what comes off, goes on, is moved."""


@command.command("totals", epilog="Example:  quietheel survey totals")
@folder_argument
@json_option
def totals(folder: Path, as_json: bool) -> int:
    """Totals as they come, against 2 % missing and 4 % surplus of lightship; spaces not yet seen.

    Ends with 1 where more is missing or surplus than that, or one item alone weighs more.
    """
    state = survey(folder)
    beyond = NEEDS_A_PERSON if state.heavy or any(share > limit for _, share, limit in state.shares()) else 0
    if as_json:
        print_json(dataclasses.asdict(state) | {"shares": state.shares()})
        return beyond
    sums = state.totals
    for what, kilograms in (
        ("to come off", sums.off),
        ("to go on", sums.on),
        ("to be moved", sums.moved),
        ("liquid ballast to come off", sums.ballast),
    ):
        click.echo(f"{what:<28} {kilograms / 1000:9.3f} t")
    for what, share, limit in state.shares():
        colour = "green" if share <= limit else "yellow"
        verdict = "within" if share <= limit else "beyond"
        source = "IACS Recommendation 31; more may be allowed on small vessels"
        click.secho(f"{what}: {share:.2%} of lightship, {verdict} {limit:.0%} ({source})", fg=colour)
    if not state.shares():
        talk("not held against 2 % missing and 4 % surplus: the plan gives no [vessel.lightship] to compare with")
    for space, lines in sorted(state.by_space.items()):
        click.echo(f"  {space}: {lines} line{'s' if lines > 1 else ''}")
    for space in state.not_surveyed:
        click.secho(f"not yet surveyed: {space}", fg="yellow")
    for space in state.seen_since:
        talk(f"{space} has other lines too: once all of it is seen, take its line 'not surveyed' out of survey.csv")
    for item in state.heavy:
        click.secho(f"one item alone is much: {item}; masses are in tonnes: look at it again", fg="yellow")
    for item in state.unconfirmed:
        click.secho(f"not confirmed by a second person: {item}", fg="yellow")
    for note in state.notes:
        talk(f"assumed: {note}")
    return beyond


@command.command("import", epilog="Example:  quietheel survey import tablet.csv")
@click.argument("form", type=click.Path(path_type=Path, dir_okay=False))
@folder_option
def import_form(form: Path, folder: Path) -> None:
    """Add the lines of a filled-in form (CSV) to survey.csv; what is there already stays."""
    others = other_masses(folder, form)
    added, there = import_survey(folder, form)
    click.echo(f"survey.csv: {counted(added, 'line')} added, {there} there already")
    for item in others:
        talk(f"there with another mass: {item}; both count: take out the one that is wrong")


@command.command("forms", epilog="Example:  quietheel survey forms --paper letter")
@folder_argument
@paper_option
def forms(folder: Path, paper: Literal["a4", "letter"]) -> None:
    """Forms to print, and survey.html to fill in on a tablet without any network."""
    from quietheel.jobs.brief import forms as write

    for path in write(folder, paper=paper):
        click.echo(path)
