"""``quietheel simulate``."""

from __future__ import annotations

import json
from pathlib import Path

import click

from quietheel.commands.common import json_option, print_json, talk, typed
from quietheel.jobs.simulate import simulate


@click.command(
    "simulate",
    epilog="Example:  quietheel simulate merrowby --out practice --seed 7 && quietheel reduce practice\n\n"
    "          quietheel simulate plan.toml --out practice",
)
@click.argument("scenario")
@click.option(
    "--out", "folder", required=True, type=click.Path(path_type=Path, file_okay=False), help="Test folder to make."
)
@click.option("--seed", type=click.IntRange(min=0), default=None, help="In place of the scenario's own.")
@json_option
def command(scenario: str, folder: Path, seed: int | None, as_json: bool) -> None:
    """Make a synthetic test day from SCENARIO, with known truth: a packaged one (merrowby, hard-day), a scenario file,
    or a plan.toml, of which it makes a quiet day on which the plan's estimates come true.

    The folder gets record, marks, plan and truth.json, and is reduced like a real one.
    """
    made = simulate(scenario, folder, seed=seed, tell=talk)
    if as_json:
        print_json(
            {
                "folder": made.folder,
                "run": made.run,
                "readings": made.readings,
                "truth": json.loads(made.truth.as_json()),
            }
        )
        return
    truth = made.truth
    click.echo(f"{made.folder}: {made.readings} readings, {made.windows} windows; true GM {truth.gm_m:.4f} m")
    for spoilt in truth.spoils:
        click.echo(f"  spoilt: {spoilt.what}")
    talk(f"Next: quietheel reduce {typed(made.folder)}; truth.json says what should come out")
