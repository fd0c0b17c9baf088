"""A page in a real Chromium, spoken to over a pair of pipes: no driver, no port, no library."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome")
CHROMIUM = os.environ.get("QUIETHEEL_CHROMIUM") or next(filter(None, map(shutil.which, NAMES)), "")
USABLE = bool(CHROMIUM) and os.name == "posix"
"""Descriptors 3 and 4 can be handed over on POSIX systems only."""


@contextmanager
def chromium() -> Iterator[Browser]:
    """Start a browser with a profile of its own; it is gone afterwards."""
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as profile:
        made = Browser(Path(profile))
        try:
            yield made
        finally:
            made.close()


class Browser:
    """Chromium with one page open."""

    def __init__(self, profile: Path) -> None:
        to_read, self._out = os.pipe()
        self._in, to_write = os.pipe()
        flags = ["--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--remote-debugging-pipe"]
        # The browser reads orders on descriptor 3 and writes answers on 4.
        shell = f'exec "$0" "$@" 3<&{to_read} 4>&{to_write}'
        self._process = subprocess.Popen(
            ["bash", "-c", shell, CHROMIUM, *flags, f"--user-data-dir={profile}"],
            pass_fds=(to_read, to_write),
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        os.close(to_read)
        os.close(to_write)
        self._buffer, self._number, self._session = b"", 0, ""
        self.events: list[dict] = []
        target = self.ask("Target.createTarget", url="about:blank")["targetId"]
        self._session = self.ask("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        for domain in ("Page", "Runtime", "Network", "Log"):
            self.ask(f"{domain}.enable")

    def ask(self, method: str, **params: object) -> dict:
        self._number += 1
        order = {"id": self._number, "method": method, "params": params}
        if self._session:
            order["sessionId"] = self._session
        os.write(self._out, json.dumps(order).encode() + b"\0")
        while True:
            message = self._next()
            if message.get("id") == self._number:
                assert "error" not in message, message
                return message["result"]
            self.events.append(message)

    def _next(self) -> dict:
        while b"\0" not in self._buffer:
            self._buffer += os.read(self._in, 65536)
        text, self._buffer = self._buffer.split(b"\0", 1)
        return json.loads(text)

    def open(self, page: Path) -> None:
        """Go to a page and wait until it is there; ``events`` are then those of this page."""
        self.events.clear()
        self.ask("Page.navigate", url=page.as_uri())
        while not any(e.get("method") == "Page.loadEventFired" for e in self.events):
            self.events.append(self._next())

    def run(self, script: str) -> object:
        answer = self.ask("Runtime.evaluate", expression=script, returnByValue=True)
        assert "exceptionDetails" not in answer, answer
        return answer["result"].get("value")

    def close(self) -> None:
        self._process.terminate()
        self._process.wait(10)
        os.close(self._out)
        os.close(self._in)
