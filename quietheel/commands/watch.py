"""``quietheel watch``."""

from __future__ import annotations

from pathlib import Path

import click

from quietheel.commands.common import folder_argument, page_ready, talk


@click.command(
    "watch",
    epilog="Example:  quietheel watch                      in this terminal\n\n"
    "          quietheel watch --page               on a page; prints its address with the token for marks",
)
@folder_argument
@click.option("--page", is_flag=True, help="Serve the live page.")
@click.option("--host", default="127.0.0.1", help="Where to listen; 0.0.0.0 lets phones on the pier look.")
@click.option("--port", type=click.IntRange(1, 65535), default=8730, show_default=True, help="Of the page.")
@click.option("--read-only", is_flag=True, help="No marks from the page.")
@click.option("--once", is_flag=True, help="One picture of the terminal view, then end.")
def command(folder: Path, page: bool, host: str, port: int, read_only: bool, once: bool) -> None:
    """Live view of the day: heel now, settled or how long still, windows, the plot, GM so far, what comes next."""
    if not page:
        from quietheel.terminal import watch_terminal

        watch_terminal(folder, once=once)
        return
    from quietheel.page.guard import new_token
    from quietheel.page.server import serve_page

    if host not in ("127.0.0.1", "localhost", "::1"):
        talk("everybody on this network can look at the page; marks need the token in its address")
    serve_page(folder, host=host, port=port, token=None if read_only else new_token(), ready=page_ready)
