"""The server of the live page: starlette on this machine, one worker, one stream for everybody who looks."""

from __future__ import annotations

import asyncio
import contextlib
import html
import json
import os
import socket
from collections.abc import AsyncIterator, Callable
from importlib.resources import files
from pathlib import Path
from typing import Any

import uvicorn
from starlette.applications import Starlette
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, PlainTextResponse, Response, StreamingResponse
from starlette.routing import Route

from config.errors import BadInput
from config.folder import TestFolder
from logger.archive.layout import Clock
from quietheel.page.guard import LARGEST_BODY, Guard
from quietheel.page.source import LiveSource, SteeredSource
from quietheel.page.view import DayView

MOST_WATCHERS = 48
"""Pages open at the same time; one more is turned away."""
QUEUE = 8
"""Deltas a slow page may be behind before it is given the whole day anew."""

_TYPES = {".js": "text/javascript", ".css": "text/css", ".svg": "image/svg+xml"}
_ASSETS = ("page.js", "dom.js", "paper.js", "curve.js", "marks.js", "page.css", "icon.svg")


class Broadcast:
    """Steps the view once each period and hands every page the same text."""

    def __init__(self, view: DayView, period_s: float) -> None:
        self.view = view
        self.period_s = period_s
        self.watchers: set[asyncio.Queue[str | None]] = set()
        self.wake = asyncio.Event()
        self.trouble = ""

    async def run(self) -> None:
        """Step until cancelled. A fault in one step is shown on the page and does not end the day."""
        while True:
            self.wake.clear()
            try:
                delta = await asyncio.to_thread(self.view.step)
                self.trouble = ""
            except (BadInput, OSError, ValueError) as error:
                # The record is written by another process; what cannot be read now may be readable in a second.
                self.trouble = str(error)
                delta = {
                    "next": {
                        "sentence": "The record cannot be read",
                        "then": self.trouble,
                        "action": None,
                        "others": [],
                    }
                }
            self.tell(as_text(delta))
            with contextlib.suppress(TimeoutError):
                await asyncio.wait_for(self.wake.wait(), self.period_s)

    def tell(self, text: str | None) -> None:
        """Put one message before every page; None ends the streams."""
        for queue in self.watchers:
            if queue.full():
                while not queue.empty():
                    queue.get_nowait()
                queue.put_nowait(as_text(self.view.whole()))
            else:
                queue.put_nowait(text)

    async def stream(self) -> AsyncIterator[bytes]:
        """Give one page the whole day, then every change."""
        queue: asyncio.Queue[str | None] = asyncio.Queue(QUEUE)
        self.watchers.add(queue)
        try:
            text: str | None = as_text(self.view.whole())
            while text is not None:
                yield f"event: delta\ndata: {text}\n\n".encode()
                text = await queue.get()
        finally:
            self.watchers.discard(queue)


def as_text(data: object) -> str:
    """JSON on one line, safe inside a page: no ``<`` can end the element it stands in.

    >>> as_text({"name": "</script>"})
    '{"name":"\\\\u003c/script>"}'
    """
    return json.dumps(data, separators=(",", ":"), ensure_ascii=False, allow_nan=False).replace("<", "\\u003c")


def build_app(view: DayView, guard: Guard, period_s: float = 1.0) -> Callable[..., Any]:
    """Build the ASGI application: the page, its stream, the windows' evidence and the marks."""
    broadcast = Broadcast(view, period_s)
    shell = files("quietheel.page").joinpath("assets/page.html").read_text(encoding="utf-8")
    assets = {name: files("quietheel.page").joinpath("assets", name).read_bytes() for name in _ASSETS}

    async def page(request: Request) -> Response:
        return Response(render(shell, view.whole()), media_type="text/html")

    async def asset(request: Request) -> Response:
        name = request.path_params["name"]
        if name not in assets:
            return PlainTextResponse("no such file", 404)
        return Response(assets[name], media_type=_TYPES[Path(name).suffix])

    async def stream(request: Request) -> Response:
        if len(broadcast.watchers) >= MOST_WATCHERS:
            return PlainTextResponse(f"{MOST_WATCHERS} pages look already; close one", 503)
        return StreamingResponse(broadcast.stream(), media_type="text/event-stream")

    async def state(request: Request) -> Response:
        return Response(as_text(view.whole()), media_type="application/json")

    async def window(request: Request) -> Response:
        detail = await asyncio.to_thread(view.window_detail, request.path_params["id"])
        if isinstance(detail, str):
            return PlainTextResponse(detail, 404)
        return Response(as_text(detail), media_type="application/json")

    async def mark(request: Request) -> Response:
        body = await _body(request)
        if isinstance(body, Response):
            return body
        try:
            made = await asyncio.to_thread(view.mark, body)
        except BadInput as error:
            return PlainTextResponse("; ".join(fault.wanted for fault in error.faults), 400)
        except OSError as error:
            return PlainTextResponse(f"the disk refused: {error}", 500)
        broadcast.wake.set()
        return JSONResponse(made)

    async def play(request: Request) -> Response:
        body = await _body(request)
        if isinstance(body, Response):
            return body
        if not isinstance(view.source, SteeredSource):
            return PlainTextResponse("the day happens now; it cannot be steered", 400)
        view.source.steer(paused=body.get("paused"), factor=body.get("factor"), again=bool(body.get("again")))
        broadcast.wake.set()
        return JSONResponse({})

    @contextlib.asynccontextmanager
    async def lifespan(app: Starlette) -> AsyncIterator[None]:
        task = asyncio.create_task(broadcast.run(), name="live page")
        try:
            yield
        finally:
            task.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await task
            await asyncio.to_thread(view.close)

    app = Starlette(
        routes=[
            Route("/", page),
            Route("/assets/{name}", asset),
            Route("/stream", stream),
            Route("/state.json", state),
            Route("/window/{id}", window),
            Route("/mark", mark, methods=["POST"]),
            Route("/play", play, methods=["POST"]),
        ],
        lifespan=lifespan,
    )
    app.state.broadcast = broadcast
    guarded = guard.around(app)
    guarded.end = lambda: broadcast.tell(None)  # type: ignore[attr-defined]
    return guarded


def render(shell: str, whole: dict[str, Any]) -> str:
    """Put the day's first picture into the page, every name escaped."""
    day, following = whole["day"], whole["next"]
    words = {
        "@TITLE@": f"{day['vessel']} · quietheel",
        "@WHO@": " · ".join(part for part in (day["vessel"], day["test"], day["place"]) if part),
        "@CLOCK@": whole["now"]["words"],
        "@SENTENCE@": following["sentence"],
        "@THEN@": following["then"],
    }
    text = shell
    for place, word in words.items():
        text = text.replace(place, html.escape(word).replace("@", "&#64;"))
    return text.replace("@WHOLE@", as_text(whole))


async def _body(request: Request) -> dict[str, Any] | Response:
    try:
        raw = await request.body()
        body = json.loads(raw) if len(raw) <= LARGEST_BODY else None
    except ClientDisconnect:
        return PlainTextResponse("cut off", 400)
    except (ValueError, RecursionError):
        body = None
    if not isinstance(body, dict):
        return PlainTextResponse("a mark is one JSON object", 400)
    return body


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
    clock: Clock | None = None,
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
