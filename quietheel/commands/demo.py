"""``quietheel demo``."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path

import click

from logger.live import Notice, Now
from quietheel.commands.common import talk, typed
from quietheel.jobs.demo import demo


@click.command("demo", epilog="Example:  quietheel demo --out demo-day && quietheel replay demo-day --page")
@click.option(
    "--out", "folder", required=True, type=click.Path(path_type=Path, file_okay=False), help="Test folder to make."
)
@click.option("--seed", type=click.IntRange(min=0), default=None, help="Another day of the same vessel.")
@click.option(
    "--seconds",
    type=click.FloatRange(min=10, max=20_000),
    default=30.0,
    show_default=True,
    help="Time on the wall for the recorded part of the day.",
)
def command(folder: Path, seed: int | None, seconds: float) -> None:
    """Play a whole test day on a synthetic vessel: serial lines, a broker, the logger, marks, reduction, report.

    Merrowby is invented, and so is everything about her. One window is spoilt by a person who walks, one by a line
    that goes taut; the screen at the end says what was found of that.
    """
    with _Progress() as (show, marked, say):
        done = demo(folder, seed=seed, seconds=seconds, tell=talk, show=show, marked=marked, say=say)
    click.echo(done.text)
    click.echo()
    click.echo(done.against_truth)
    talk()
    for path in (done.report.html, done.report.pdf, done.report.reduction):
        talk(f"  {path}")
    talk(f"Next: quietheel replay {typed(folder)} --page, or open {typed(done.report.html)}")


class _Progress:
    """A line that moves where there is a terminal, and one every few seconds where there is none."""

    def __init__(self) -> None:
        self._last = 0.0
        self._mark = ""
        self._moving = sys.stderr.isatty()

    def __enter__(self) -> tuple[Callable[[Now, float], None], Callable[[str], None], Callable[[Notice], None]]:
        return self._show, self._marked, lambda notice: None

    def __exit__(self, *raised: object) -> None:
        if self._moving:
            click.echo("\r\x1b[K", nl=False, err=True)

    def _marked(self, text: str) -> None:
        self._mark = text

    def _show(self, now: Now, share: float) -> None:
        clock = time.strftime("%H:%M:%S", time.gmtime(now.host_ns / 1e9))
        stations = sum(station.state == "reading" for station in now.stations)
        line = f"{share:4.0%}  {clock} UTC  {stations} stations  {now.rows_safe:>7} readings on disk  {self._mark}"
        if self._moving:
            click.echo(f"\r\x1b[K{line[:110]}", nl=False, err=True)
        elif time.monotonic() - self._last >= 3.0:
            self._last = time.monotonic()
            talk(line)
