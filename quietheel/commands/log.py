"""``quietheel log``."""

from __future__ import annotations

import datetime as dt
import json
import sys
from pathlib import Path

import click

from config.folder import TestFolder
from logger.events import rfc3339
from logger.live import Notice, Now
from quietheel.cli import NEEDS_A_PERSON
from quietheel.commands.common import folder_argument, talk
from quietheel.jobs.logging import log
from quietheel.jobs.plain import plain


@click.command(
    "log",
    epilog="Example:  quietheel log          (Ctrl-C stops and seals; `quietheel log` again goes on in a new run)",
)
@folder_argument
@click.option("--for", "for_s", type=click.FloatRange(min=0), default=None, metavar="SECONDS", help="Stop by itself.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object a second on stdout.")
def command(folder: Path, for_s: float | None, as_json: bool) -> int:
    """Record all stations of the plan until stopped. Start it when the gangway is pulled; leave it running.

    Readings are on disk within a second. After a crash or a flat battery nothing needs repairing: start it again.
    Ends with 1 where a station of the plan gave no reading at all.
    """
    test = TestFolder(folder).plan().test
    today = dt.datetime.now(dt.timezone(dt.timedelta(hours=test.utc_offset_h))).date()
    if test.date not in (None, today):
        talk(f"note: the plan is dated {test.date}, and today is {today}")
    if as_json:
        last = log(folder, for_s=for_s, show=lambda now: click.echo(json.dumps(plain(now.as_dict()))))
    elif sys.stderr.isatty():
        last = _with_a_table(folder, for_s)
    else:
        last = log(folder, for_s=for_s, say=_say, show=_line, every_s=10.0)
    if not as_json:
        click.echo(f"{last.run}: {last.rows_safe} readings on disk, sealed")
    for station in last.without_readings:
        said = f": {station.said}" if station.said else ""
        talk(f"warning: not one reading from {station.name} ({station.source}){said}")
    return NEEDS_A_PERSON if last.without_readings else 0


def _say(notice: Notice) -> None:
    click.echo(f"{rfc3339(notice.host_ns)}  {notice.text}", err=True)


def _line(now: Now) -> None:
    states = ", ".join(f"{s.name} {s.state}" for s in now.stations)
    left = "" if now.disk_hours_left is None else f"; disk for {_hours(now.disk_hours_left)}"
    click.echo(f"{rfc3339(now.host_ns)}  {now.rows_safe} readings safe; {states}{left}", err=True)


def _hours(hours: float) -> str:
    return f"{hours:.0f} h" if hours < 1000 else "weeks"


def _with_a_table(folder: Path, for_s: float | None) -> Now:
    """Show every station in place while it records."""
    from rich.console import Console
    from rich.live import Live
    from rich.table import Table
    from rich.text import Text

    console = Console(stderr=True)

    def table(now: Now) -> Table:
        left = "" if now.disk_hours_left is None else f", disk for {_hours(now.disk_hours_left)}"
        shown = Table(title=f"{now.run}   {now.rows_safe} readings safe{left}", title_justify="left", box=None)
        for heading in ("station", "source", "state", "last", "rate", "no reading"):
            shown.add_column(heading)
        for station in now.stations:
            colour = "green" if station.state == "reading" else "yellow" if station.state == "starting" else "red"
            last = "  ".join(f"{c.quantity} {c.value:.3f} {c.unit}" for c in station.channels)
            rate = " ".join(f"{c.rate_hz:.1f} Hz" for c in station.channels[:1])
            shown.add_row(
                Text(station.name),
                Text(station.source),
                Text(station.state, style=colour),
                Text(last),
                rate,
                str(station.no_readings or ""),
            )
        if now.disk_trouble:
            shown.caption = f"[bold red]DISK: {now.disk_trouble}; readings wait in memory[/]"
        return shown

    with Live(console=console, auto_refresh=False) as live:
        return log(
            folder,
            for_s=for_s,
            say=lambda notice: live.console.print(Text(f"{rfc3339(notice.host_ns)}  {notice.text}")),
            show=lambda now: live.update(table(now), refresh=True),
        )
