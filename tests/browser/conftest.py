"""A real Chromium and a day that happens at the test's own pace, for the live page."""

from __future__ import annotations

import os
import shutil
import socket
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import page_day
import pytest

from config.folder import TestFolder
from logger.events import EventLog
from quietheel.page.app import build_app
from quietheel.page.guard import Guard
from quietheel.page.server import make_server
from quietheel.page.view import DayView
from quietheel.replay.source import ReplaySource

TOKEN = "token-of-this-start"


def find_chromium() -> str | None:
    """Path of a Chromium or Chrome on this machine."""
    named = os.environ.get("QUIETHEEL_CHROMIUM")
    names = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome", "msedge")
    return named or next((found for name in names if (found := shutil.which(name))), None)


@dataclass
class LiveDay:
    """A rehearsal: recorded readings come in as the test moves the wall clock, marks are the test's own."""

    url: str
    port: int
    view: DayView
    folder: Path
    """Where the marks go."""
    start_ns: int
    wall: list[int]
    log: EventLog
    server: Any
    states_s: float = page_day.STATE_S

    def move_to(self, seconds: float) -> None:
        """Let the day go on to so many seconds after its start."""
        self.wall[0] = round(seconds * 1e9)


@pytest.fixture(scope="session")
def recorded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("page") / "merrowby"
    page_day.make_day(folder)
    return folder


@pytest.fixture
def live_day(recorded: Path, tmp_path: Path) -> Iterator[LiveDay]:
    wall = [0]
    source = ReplaySource(TestFolder(recorded), 1.0, rehearse_in=tmp_path, monotonic_ns=lambda: wall[0])
    view = DayView(TestFolder(recorded), source)
    view.step()
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    server = make_server(build_app(view, Guard("127.0.0.1", TOKEN), 0.15), "127.0.0.1", port)
    thread = threading.Thread(target=server.run, name="page")
    thread.start()
    until(lambda: server.started, 20.0)
    log = EventLog(tmp_path)
    yield LiveDay(f"http://127.0.0.1:{port}/", port, view, tmp_path, page_day.START_NS, wall, log, server)
    server.should_exit = True
    thread.join(20.0)
    assert not thread.is_alive(), "the server did not end when asked to"


def until(true: Callable[[], bool], seconds: float) -> None:
    """Wait for something, looking again and again."""
    end = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end, "waited in vain"
        time.sleep(0.02)


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    path = find_chromium()
    if path is None:
        pytest.skip("no Chromium on this machine; set QUIETHEEL_CHROMIUM to its path")
    api = pytest.importorskip(
        "playwright.sync_api", reason="playwright drives the browser: pip install 'quietheel[test]'"
    )
    with api.sync_playwright() as driver:
        chromium = driver.chromium.launch(
            executable_path=path, args=["--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"]
        )
        yield chromium
        chromium.close()
