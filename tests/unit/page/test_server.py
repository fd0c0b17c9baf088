from __future__ import annotations

import asyncio
import json
import socket
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import httpx
import page_day
import pytest

from config.folder import TestFolder
from quietheel.page.app import build_app
from quietheel.page.broadcast import QUEUE, Broadcast
from quietheel.page.guard import Guard
from quietheel.page.server import address, make_server, serve_page
from quietheel.page.view import DayView
from quietheel.replay.source import ReplaySource

GOOD = {"x-quietheel-token": "secret", "content-type": "application/json"}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("server") / "merrowby"
    page_day.make_day(place, states=1)
    return place


@pytest.fixture
def client(folder: Path, tmp_path: Path) -> Iterator[httpx.Client]:
    source = ReplaySource(TestFolder(folder), 1.0, rehearse_in=tmp_path, monotonic_ns=lambda: 0)
    view = DayView(TestFolder(folder), source)
    view.step()
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    server = make_server(build_app(view, Guard("127.0.0.1", "secret"), 0.05), "127.0.0.1", port)
    thread = threading.Thread(target=server.run)
    thread.start()
    while not server.started:
        time.sleep(0.01)
    with httpx.Client(base_url=f"http://127.0.0.1:{port}", trust_env=False) as client:
        yield client
    server.should_exit = True
    thread.join(10.0)
    assert not thread.is_alive()


def test_the_page_comes_whole_and_bound_to_itself(client: httpx.Client) -> None:
    answer = client.get("/")
    assert answer.status_code == 200
    policy = answer.headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert "http" not in policy.replace("'self'", "")
    assert "Pull the gangway" in answer.text
    assert "://" not in answer.text.split('id="whole"')[0], "nothing in the page points elsewhere"


@pytest.mark.parametrize("name", ["page.js", "dom.js", "paper.js", "curve.js", "marks.js", "page.css", "icon.svg"])
def test_assets_are_there_and_point_nowhere_else(client: httpx.Client, name: str) -> None:
    answer = client.get(f"/assets/{name}")
    assert answer.status_code == 200
    assert answer.headers["x-content-type-options"] == "nosniff"
    foreign = answer.text.replace("http://www.w3.org/2000/svg", "")
    assert "://" not in foreign
    assert "innerHTML" not in foreign
    assert "eval(" not in foreign


def test_other_paths_lead_nowhere(client: httpx.Client) -> None:
    assert client.get("/assets/../server.py").status_code == 404
    assert client.get("/assets/page.html").status_code == 404
    assert client.get("/window/1").text == "no such window"
    assert client.get("/plan.toml").status_code == 404


def test_the_state_for_programs(client: httpx.Client) -> None:
    state = client.get("/state.json").json()
    assert state["day"]["vessel"] == "Merrowby"
    assert {"next", "still", "stations", "windows", "gm", "plot", "time", "people", "marks", "kit"} <= state.keys()


def test_marks_by_post(client: httpx.Client) -> None:
    good = client.post("/mark", json={"kind": "note", "text": "x", "by": "mate"}, headers=GOOD)
    assert good.json() == {"number": 1}
    assert client.post("/mark", content=b"[1]", headers=GOOD).status_code == 400
    assert client.post("/mark", content=b"{", headers=GOOD).status_code == 400
    wrong = client.post("/mark", json={"kind": "note", "text": "", "by": "mate"}, headers=GOOD)
    assert wrong.status_code == 400
    assert client.post("/mark", json={"kind": "note", "text": "x"}).status_code == 403
    assert client.get("/mark").status_code == 405


def test_a_played_day_is_steered_with_the_token_only(client: httpx.Client) -> None:
    assert client.post("/play", json={"paused": True}).status_code == 403
    assert client.post("/play", json={"paused": True}, headers=GOOD).status_code == 200


def test_the_stream_begins_with_the_whole_day_and_ends_with_the_server(client: httpx.Client) -> None:
    with client.stream("GET", "/stream") as answer:
        assert answer.headers["content-type"].startswith("text/event-stream")
        lines = answer.iter_lines()
        assert next(lines) == "event: delta"
        whole = json.loads(next(lines).removeprefix("data: "))
        assert len(whole["strip"]["lanes"]) == 5
        assert next(lines) == ""
        assert next(lines) == "event: delta"


def test_a_slow_page_is_given_the_whole_day_anew(folder: Path) -> None:
    view = DayView(TestFolder(folder), ReplaySource(TestFolder(folder), 1.0, monotonic_ns=lambda: 0))
    view.step()

    async def slow() -> list[str | None]:
        broadcast = Broadcast(view, 1.0)
        queue: asyncio.Queue[str | None] = asyncio.Queue(QUEUE)
        broadcast.watchers.add(queue)
        for number in range(QUEUE + 1):
            broadcast.tell(f"delta {number}")
        return [queue.get_nowait() for _ in range(queue.qsize())]

    left = asyncio.run(slow())
    view.close()
    assert len(left) == 1
    assert json.loads(str(left[0]))["strip"]["anew"] is True


def test_a_step_that_fails_is_said_on_the_page_and_does_not_end_the_day(folder: Path) -> None:
    view = DayView(TestFolder(folder), ReplaySource(TestFolder(folder), 1.0, monotonic_ns=lambda: 0))
    view.step()

    def refuse() -> dict[str, object]:
        raise OSError("the disk is gone")

    async def watch() -> str:
        broadcast = Broadcast(view, 0.01)
        queue: asyncio.Queue[str | None] = asyncio.Queue(QUEUE)
        broadcast.watchers.add(queue)
        view.step = refuse  # type: ignore[method-assign]
        task = asyncio.create_task(broadcast.run())
        first = await queue.get()
        await queue.get()
        task.cancel()
        return str(first)

    assert "the disk is gone" in asyncio.run(watch())
    view.close()


def test_a_page_that_is_stopped_while_it_is_woken_stops(folder: Path) -> None:
    view = DayView(TestFolder(folder), ReplaySource(TestFolder(folder), 1.0, monotonic_ns=lambda: 0))

    async def stopped() -> bool:
        broadcast = Broadcast(view, 60.0)
        queue: asyncio.Queue[str | None] = asyncio.Queue(QUEUE)
        broadcast.watchers.add(queue)
        task = asyncio.create_task(broadcast.run())
        await queue.get()
        for _ in range(3):
            await asyncio.sleep(0)  # it waits for its next second now
        broadcast.wake.set()
        await asyncio.sleep(0)
        task.cancel()
        done, _ = await asyncio.wait({task}, timeout=5.0)
        again = asyncio.create_task(broadcast.run())
        await queue.get()
        await asyncio.sleep(0.05)
        broadcast.wake.set()
        again.cancel()
        late, _ = await asyncio.wait({again}, timeout=5.0)
        return task in done and again in late

    assert asyncio.run(stopped())
    view.close()


def test_a_taken_port_is_said_plainly(folder: Path) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        with pytest.raises(OSError, match="choose another"):
            serve_page(folder, port=taken.getsockname()[1])


def test_an_ipv6_address_is_printed_in_brackets() -> None:
    assert address("::1", 8730, None) == "http://[::1]:8730/"
