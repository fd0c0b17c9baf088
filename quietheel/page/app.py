"""The web application of the live page: the page, its stream, the windows' evidence, the marks."""

from __future__ import annotations

import asyncio
import contextlib
import html
import json
from collections.abc import AsyncIterator, Callable
from importlib.resources import files
from pathlib import Path
from typing import Any

from starlette.applications import Starlette
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, PlainTextResponse, Response, StreamingResponse
from starlette.routing import Route

from config.errors import BadInput
from quietheel.page.broadcast import Broadcast, as_text
from quietheel.page.guard import LARGEST_BODY, Guard
from quietheel.page.source import SteeredSource
from quietheel.page.view import DayView

MOST_WATCHERS = 48
"""Pages open at the same time; one more is turned away."""

_TYPES = {".js": "text/javascript", ".css": "text/css", ".svg": "image/svg+xml"}
_ASSETS = ("page.js", "dom.js", "paper.js", "curve.js", "marks.js", "page.css", "icon.svg")


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
        "@CAUTION@": following["caution"],
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
