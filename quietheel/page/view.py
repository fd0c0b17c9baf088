"""What is on the screen: record, marks and plan turned into sections, once a second.

`DayView.whole` gives all sections, `DayView.step` only those that changed; page and terminal draw the same ones.
"""

from __future__ import annotations

import math
import threading
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from config.errors import bad
from config.folder import TestFolder
from config.units import DEGREE
from dsp.types import WindowHeel
from logger.daystate import DayState, state_of_day
from logger.events import CONFIRMATIONS, Event
from logger.marks import MarkedWindow
from logger.records import Quantity
from quietheel.page.caution import caution_of, spoilt_states
from quietheel.page.evidence import window_detail
from quietheel.page.hours import time_section
from quietheel.page.marking import Marker, marks_section, next_section, rules_section
from quietheel.page.moments import expected_heel_deg, planned_moments
from quietheel.page.people import people_section, roll_call_of
from quietheel.page.plot import gm_section, plot_section
from quietheel.page.source import Beat, LiveSource
from quietheel.page.stations import kit_section, lanes, pulse_of, stations_section
from quietheel.page.still import Stillness
from quietheel.page.strip import BUCKET_NS, KEEP, STEP, Strip
from quietheel.page.windows import windows_section
from quietheel.page.words import clock_of
from quietheel.page.work import Worked, Worker
from quietheel.page.workout import work_out_for
from reduction.types import WindowPoint

LATE_NS = BUCKET_NS
"""A second is drawn once it has been over for so long; what comes later still counts for the result."""


class DayView:
    """One day on screen.

    `step` may be called from a worker thread; `whole`, `mark` and `window_detail` from any other.
    """

    def __init__(self, place: TestFolder, source: LiveSource) -> None:
        self.place = place
        self.source = source
        self.plan = source.plan
        self._pulses = {
            (station.name, Quantity(channel.quantity)): pulse_of(station, Quantity(channel.quantity))
            for station in self.plan.stations
            for channel in station.channels
        }
        self._strip = Strip(lanes(self.plan))
        self._drawn = 0
        self._moments = planned_moments(self.plan)
        self._stillness = Stillness(self.plan)
        self._worker = Worker(work_out_for(place, source))
        self._marker = Marker(source.marks, self.plan) if source.marks is not None else None
        self._lock = threading.RLock()
        self._sections: dict[str, Any] = {}
        self._windows: dict[int, MarkedWindow] = {}
        self._events: tuple[Event, ...] = ()

    def step(self) -> dict[str, Any]:
        """Take in what is new; give the sections that changed and the new part of the strip."""
        beat = self.source.beat()
        with self._lock:
            anew = beat.began_anew
            if anew:
                self._forget()
            for series in beat.readings:
                pulse = self._pulses.get((series.station, series.quantity))
                if pulse is not None:
                    pulse.add(series)
                    self._strip.add(replace(series, value=pulse.true(series.value)))
            before = self._sections
            self._sections = self._draw(beat)
            start, self._drawn = self._drawn, self._stop(beat.now_ns)
            start = max(start, self._drawn - KEEP)
            delta = {name: value for name, value in self._sections.items() if before.get(name) != value}
            delta["strip"] = {"first": start, "rows": self._strip.rows(start, self._drawn)}
            if anew:
                delta["strip"]["anew"] = True
            return delta

    def whole(self) -> dict[str, Any]:
        """Every section, and the strip from its beginning."""
        with self._lock:
            start = self._drawn - KEEP
            named = [
                {"station": lane.station, "quantity": str(lane.quantity), "step": STEP[lane.quantity]}
                for lane in self._strip.lanes
            ]
            strip = {"lanes": named, "keep": KEEP, "first": start, "rows": self._strip.rows(start, self._drawn)}
            return {**self._sections, "strip": {**strip, "anew": True}}

    def window_detail(self, number: str) -> dict[str, Any] | str:
        """Evidence of one window, by the line that opened it; a sentence where there is none yet."""
        worked = self._worker.latest
        if not number.isdigit() or int(number) not in self._windows:
            return "no such window"
        place, point = self._found(worked, int(number))
        window = self._windows[int(number)]
        if window.voided:
            return "a void window is not worked out"
        if place is None or worked.heel is None:
            return "not worked out yet" if self._worker.busy or window.stop_ns else "worked out once it is closed"
        checks = point.checks if point is not None else place.checks
        people = roll_call_of(self.plan, self._events, window.stop_ns or window.start_ns)
        return {**window_detail(place, checks, worked.heel.epoch_ns), "people": people}

    def mark(self, body: Mapping[str, Any]) -> dict[str, Any]:
        """Write a mark that came from the page. Raises BadInput, OSError."""
        if self._marker is None:
            raise bad("mark", "day", None, "a day that still happens; this one is played again and takes no marks")
        return self._marker.mark(dict(body))

    def wait(self) -> None:
        """Wait until the closed windows have been worked out."""
        self._worker.wait()

    def close(self) -> None:
        """End the worker and let go of the source."""
        self._worker.close()
        self.source.close()

    def _draw(self, beat: Beat) -> dict[str, Any]:
        state = state_of_day(beat.events, self.plan)
        self._events = beat.events
        self._worker.ask(state.windows, beat.events)
        worked = self._worker.latest
        self._windows = {window.number: window for window in state.windows}
        expected = self._expected(state, worked)
        still = self._stillness.look(self._pulses, state, worked, beat.now_ns)
        closed: dict[str, list[int]] = {}
        for window in _standing(state):
            if window.stop_ns is not None:
                closed.setdefault(window.movement, []).append(window.stop_ns)
        opened = [w.start_ns for w in _standing(state)]
        found = {number: self._found(worked, number) for number in self._windows}
        windows = windows_section(state.windows, found, still, beat.now_ns, self._worker.busy, beat.events)
        stations = stations_section(self.plan, self._pulses, beat.logger, state.windows, beat.now_ns)
        coming = sorted({round(self._moments[label], 4) for label in state.to_come if label in self._moments})
        return {
            "day": self._day(),
            "now": self._now(beat),
            "next": {
                **next_section(self.plan, state, expected, beat.events, by_plan=not _known(worked)),
                "caution": caution_of(state, windows, stations, beat.logger, still),
            },
            "still": {"words": still.words, "part": round(still.part, 3)},
            "stations": stations,
            "windows": windows,
            "gm": gm_section(worked),
            "plot": plot_section(worked, coming),
            "time": time_section(
                self.plan,
                closed,
                len(self._moments),
                min(opened, default=None),
                beat.now_ns,
                spoilt=len(spoilt_states(state, windows)),
            ),
            "people": people_section(self.plan, state.people, state.changes),
            "marks": marks_section(beat.events, state.windows),
            "rules": rules_section(beat.events),
            "kit": kit_section(self.plan, beat.logger),
            "expected_deg": None if expected is None else round(expected, 3),
        }

    def _day(self) -> dict[str, Any]:
        test, settings = self.plan.test, self.plan.settings
        return {
            "vessel": self.plan.vessel.name,
            "test": test.name,
            "place": test.place,
            "utc_offset_h": test.utc_offset_h,
            "writable": self.source.marks is not None,
            "steered": self.source.playing is not None,
            "wanted_deg": settings.wanted_heel_u95_deg,
            "confirmations": dict(CONFIRMATIONS),
        }

    def _now(self, beat: Beat) -> dict[str, Any]:
        playing = self.source.playing
        words = clock_of(beat.now_ns / 1e6, self.plan.test.utc_offset_h)
        words += "" if self.plan.test.utc_offset_h else " UTC"
        if playing is not None:
            words += ", replay held" if playing.paused else f", played ×{playing.speed:g}"
        return {"ms": beat.now_ns // 1_000_000, "words": words}

    def _expected(self, state: DayState, worked: Worked) -> float | None:
        coming = state.movement
        if state.open_window is None and state.movement in state.done and state.to_come:
            coming = state.to_come[0]
        if coming not in self._moments:
            return None
        gm = worked.gm
        if gm is not None and _known(worked):
            return expected_heel_deg(
                self._moments[coming], worked.displacement / 1000.0, gm.gm.value, gm.list_upright.value / DEGREE
            )
        vessel = self.plan.vessel
        return expected_heel_deg(self._moments[coming], vessel.displacement_t, vessel.estimated_gm_m)

    def _found(self, worked: Worked, number: int) -> tuple[WindowHeel | None, WindowPoint | None]:
        if worked.heel is None or number not in worked.numbers:
            return None, None
        place = worked.numbers.index(number)
        return worked.heel.windows[place], worked.gm.points[place] if worked.gm is not None else None

    def _stop(self, now_ns: int) -> int:
        return (now_ns - LATE_NS) // BUCKET_NS

    def _forget(self) -> None:
        self._strip.clear()
        self._drawn = 0
        for pulse in self._pulses.values():
            pulse.clear()
        self._stillness = Stillness(self.plan)


def _known(worked: Worked) -> bool:
    """Whether the day has given a GM so far."""
    return worked.gm is not None and math.isfinite(worked.gm.gm.value)


def _standing(state: DayState) -> list[MarkedWindow]:
    return [window for window in state.windows if not window.voided]
