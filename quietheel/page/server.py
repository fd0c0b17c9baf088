"""Serve the live page from this machine: one process, one worker, loopback unless told otherwise."""

from __future__ import annotations

import os
import socket
from collections.abc import Callable
from pathlib import Path
from typing import Any

import uvicorn

from config.folder import TestFolder
from logger.clock import UtcClock
from quietheel.page.app import build_app
from quietheel.page.guard import Guard
from quietheel.page.source import LiveSource
from quietheel.page.view import DayView


class _Server(uvicorn.Server):
    """Ends the streams when asked to stop, so that leaving takes no time-out."""

    def __init__(self, config: uvicorn.Config, end: Callable[[], None]) -> None:
        super().__init__(config)
        self._end = end

    async def shutdown(self, sockets: list[Any] | None = None) -> None:
        self._end()
        await super().shutdown(sockets)


def make_server(app: Callable[..., Any], host: str, port: int) -> uvicorn.Server:
    """Make the server without starting it; ``run()`` serves until interrupted, ``should_exit = True`` ends it."""
    config = uvicorn.Config(
        app,
        host=host,
        port=port,
        log_level="warning",
        access_log=False,
        ws="none",
        server_header=False,
        date_header=False,
        timeout_graceful_shutdown=3,
        limit_concurrency=200,
        h11_max_incomplete_event_size=32_768,
    )
    return _Server(config, getattr(app, "end", lambda: None))


def serve_page(
    folder: Path | str,
    *,
    host: str = "127.0.0.1",
    port: int = 8730,
    token: str | None = None,
    source: LiveSource | None = None,
    period_s: float = 1.0,
    clock: UtcClock | None = None,
    ready: Callable[[str], None] | None = None,
) -> None:
    """Show the day of a test folder as a page until interrupted.

    Parameters
    ----------
    folder : the test folder.
    host, port : where to listen; loopback unless told otherwise. Bound beyond loopback everybody on the network can
        look.
    token : secret for marks (`quietheel.page.guard.new_token`); None makes the page read-only.
    source : where the day comes from; None follows the folder's record as it grows.
    period_s : wall seconds between two pictures.
    clock : gives UTC now, for the record that grows; None takes the run's own host time.
    ready : called with the address, token included, just before serving.

    Raises
    ------
    BadInput where the plan cannot be used; OSError where the port is taken.
    """
    from quietheel.page.tail import TailSource

    place = TestFolder(Path(folder))
    view = DayView(place, source or TailSource(place, clock=clock))
    view.step()
    server = make_server(build_app(view, Guard(host, token), period_s), host, port)
    _refuse_taken_port(host, port)
    if ready is not None:
        ready(address(host, port, token))
    server.run()


def address(host: str, port: int, token: str | None) -> str:
    """Address to open; the token stands after ``#``, which browsers never send.

    >>> address("127.0.0.1", 8730, "abc")
    'http://127.0.0.1:8730/#token=abc'
    """
    shown = f"[{host}]" if ":" in host else host
    return f"http://{shown}:{port}/" + (f"#token={token}" if token else "")


def _refuse_taken_port(host: str, port: int) -> None:
    """Raise OSError now rather than let the server exit the process on a taken port."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM) as probe:
        if os.name == "posix":  # elsewhere this option would let two programs share the port
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError as error:
            raise OSError(f"port {port} on {host} cannot be used ({error.strerror or error}); choose another") from None
