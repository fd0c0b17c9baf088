"""``quietheel replay``."""

from __future__ import annotations

from pathlib import Path

import click

from quietheel.commands.common import folder_argument, page_ready


@click.command("replay", epilog="Example:  quietheel replay demo-day --speed 120 --page")
@folder_argument
@click.option(
    "--speed",
    type=click.FloatRange(min=0.1, max=10_000),
    default=60.0,
    show_default=True,
    help="How many times as fast.",
)
@click.option("--page", is_flag=True, help="On the live page rather than in this terminal.")
@click.option("--host", default="127.0.0.1", help="Where to listen; 0.0.0.0 lets phones look.")
@click.option("--port", type=click.IntRange(1, 65535), default=8730, show_default=True, help="Of the page.")
@click.option("--run", "runs", multiple=True, help="Only this run; repeatable.")
@click.option(
    "--rehearse",
    "rehearse_in",
    type=click.Path(path_type=Path, file_okay=False),
    default=None,
    help="Make the marks yourself, into this folder, instead of playing those of the day.",
)
def command(
    folder: Path, speed: float, page: bool, host: str, port: int, runs: tuple[str, ...], rehearse_in: Path | None
) -> None:
    """Play a recorded day again, at any speed, through the same view and page as the day itself."""
    from quietheel.replay.play import replay

    token = None
    if page:
        from quietheel.page.guard import new_token

        token = new_token()

    replay(
        folder,
        speed,
        page=page,
        host=host,
        port=port,
        token=token,
        runs=list(runs) or None,
        rehearse_in=rehearse_in,
        ready=page_ready,
    )
