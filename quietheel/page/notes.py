"""What the logger writes beside the record: messages that were no reading, clock steps, sources lost and back."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from logger.clock import Anchor, SystemClock
from logger.hosttime import DAMAGED, anchor_of, clock_of
from quietheel.page.source import StationCount


class Notes:
    """Follows ``notes.jsonl`` of a run; costs as much as there is new."""

    def __init__(self) -> None:
        self._path: Path | None = None
        self._offset = 0
        self._garbage: dict[str, int] = {}
        self._said: dict[str, str] = {}
        self.anchor: Anchor | None = None
        """The run's latest anchor."""
        self.clock_says = ""
        self.clock_well = True

    def look(self, run_folder: Path) -> None:
        """Take in what is new; a new run begins anew."""
        path = run_folder / "notes.jsonl"
        if path != self._path:
            self.__init__()  # type: ignore[misc]
            self._path = path
        try:
            with path.open("rb") as file:
                file.seek(self._offset)
                data = file.read()
        except FileNotFoundError:
            return
        whole = data.rfind(b"\n") + 1
        self._offset += whole
        for line in data[:whole].splitlines():
            try:
                entry = json.loads(line)
                self._take(str(entry["kind"]), dict(entry["data"]))
            except DAMAGED:
                continue  # `quietheel verify` says that this line is damaged; the view goes on

    def counts(self) -> dict[str, StationCount]:
        """What was counted and said, station by station."""
        names = self._garbage.keys() | self._said.keys()
        return {name: StationCount(self._garbage.get(name), self._said.get(name, "")) for name in names}

    def run_clock(self) -> SystemClock:
        """The run's host time, so that a mark made here falls where the readings of that moment are."""
        return clock_of(self.anchor)

    def _take(self, kind: str, data: dict[str, Any]) -> None:
        station = str(data.get("station", ""))
        if kind == "no reading":
            self._garbage[station] = int(data["count"])
        elif kind == "clock":
            self.anchor = anchor_of(data) or self.anchor
            self.clock_says = self.clock_says or "no step since the run began"
        elif kind == "clock step":
            self.clock_says, self.clock_well = str(data["text"]), False
        elif "text" in data and station:
            self._said[station] = str(data["text"])
