"""``quietheel report``."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

import click

from quietheel.commands.common import folder_argument, talk
from quietheel.commands.plan import paper_option
from quietheel.commands.reduce import exit_code
from quietheel.jobs.reduce import parse_settings, reduce_folder
from quietheel.jobs.report import report


@click.command("report", epilog="Example:  quietheel report            quietheel report --final --paper letter")
@folder_argument
@click.option("--final", is_flag=True, help="Final form, with signatures; the preliminary one if left out.")
@click.option("--set", "changes", multiple=True, metavar="KEY=VALUE", help="Change a key of [settings]; repeatable.")
@click.option("--open", "show", is_flag=True, help="Open the page afterwards.")
@paper_option
def command(folder: Path, final: bool, changes: tuple[str, ...], show: bool, paper: Literal["a4", "letter"]) -> int:
    """Reduce the folder and write the report: results/report.html, report.pdf and a data summary for the authority."""
    talk("reducing")
    reduced = reduce_folder(folder, parse_settings(changes))
    talk("writing the report")
    written = report(folder, form="final" if final else "preliminary", paper=paper, reduced=reduced)
    for path in (written.html, written.pdf, written.data_summary, written.reduction):
        click.echo(path)
    if show:
        click.launch(str(written.html))
    return exit_code(reduced.answer, reduced.altered)
