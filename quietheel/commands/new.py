"""``quietheel new``."""

from __future__ import annotations

import click

from quietheel.commands.common import typed
from quietheel.jobs.new import new


@click.command(
    "new",
    epilog="Example:  quietheel new merrowby && cd merrowby && quietheel plan check",
)
@click.argument("name")
def command(name: str) -> None:
    """Make the folder NAME with every file of a stability test, commented, ready to fill in."""
    folder = new(name)
    click.echo(f"{folder}: made")
    for file in sorted(path for path in folder.rglob("*") if path.is_file()):
        click.echo(f"  {file.relative_to(folder)}", err=True)
    click.echo(f"Next: cd {typed(folder)}, fill in plan.toml, then: quietheel plan check", err=True)
