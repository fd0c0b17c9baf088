"""``quietheel reduce``."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import click

from quietheel.cli import NEEDS_A_PERSON
from quietheel.commands.common import folder_argument, json_option, talk
from quietheel.jobs.reduce import check_name, parse_settings, reduce_folder, write_result
from reduction.types import Answer


@click.command(
    "reduce",
    epilog="Example:  quietheel reduce demo-day --json\n\n"
    "          quietheel reduce --set gm_carried=line --as line && quietheel compare reduction line",
)
@folder_argument
@click.option("--set", "changes", multiple=True, metavar="KEY=VALUE", help="Change a key of [settings]; repeatable.")
@click.option(
    "--as",
    "name",
    default="reduction",
    show_default=True,
    help="Name of the result under results/; with --set, changed if left out.",
)
@json_option
def command(folder: Path, changes: tuple[str, ...], name: str, as_json: bool) -> int:
    """Turn the folder into GM, KG, lightship and an answer, with intervals; writes results/reduction.json.

    An older result that differs is kept beside it. Ends with 1 where a person has to decide: no GM, a figure that no
    vessel has, or a limit that is exceeded, too close to call, not judged for want of an input, or kept only with
    reservations; also where marks or readings are not as they were written.
    """
    import json

    settings = parse_settings(changes)
    if settings and name == "reduction":
        name = "changed"
    check_name(name)
    reduced = reduce_folder(folder, settings)
    result = reduced.as_json()
    if as_json:
        click.echo(json.dumps(result, ensure_ascii=False, indent=2, allow_nan=False))
    else:
        from reduction.report.text import render_text

        click.echo(render_text(reduced.answer, reduced.plan, events=reduced.recorded.events))
    # Last, so that nobody goes without the answer where the folder cannot be written to.
    written, kept = write_result(reduced.recorded.folder, result, name)
    talk(f"written: {written}" + (f"; the older one is now {kept.name}" if kept else ""))
    for says in reduced.altered:
        talk(f"warning: {says}; `quietheel verify` tells more")
    return exit_code(reduced.answer, reduced.altered)


def exit_code(answer: Answer, altered: Sequence[str] = ()) -> int:
    """0, or 1 where the answer needs a person; ``altered`` is what of its marks and record is not as it was written."""
    passed = answer.gm.value is not None and answer.outlook in ("clear", "no limit given")
    return 0 if passed and not altered and not answer.doubts else NEEDS_A_PERSON
