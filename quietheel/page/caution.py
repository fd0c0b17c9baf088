"""What must be known before the next step: recording that stands still, silent stations, windows to be taken again."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

from config.words import listed
from logger.daystate import DayState
from quietheel.page.source import LoggerState
from quietheel.page.still import Still

Entries = Sequence[Mapping[str, Any]]
_SILENT = ("silent", "no reading", "stuck")
"""How a station's trouble begins that leaves the day without it."""


def caution_of(state: DayState, windows: Entries, stations: Entries, logger: LoggerState, still: Still) -> str:
    """Say what speaks against going on as the day stands; empty if nothing does.

    Parameters
    ----------
    windows, stations : as `windows_section` and `stations_section` give them.

    Returns
    -------
    Sentences for a person who sees only the top of the page, without figures that change each second.
    """
    if state.imported:
        return ""
    return " ".join(filter(None, (_recording(state, logger), _silent(state, stations), _window(state, windows, still))))


def _going_on(state: DayState) -> bool:
    return state.open_window is not None or (state.gangway == "pulled" and bool(state.to_come))


def _recording(state: DayState, logger: LoggerState) -> str:
    if logger.recording or not _going_on(state):
        return ""
    again = "" if "quietheel log" in logger.says else "; `quietheel log` goes on in a new run"
    return f"Nothing is being recorded: {logger.says}{again}."


def _silent(state: DayState, stations: Entries) -> str:
    names = [str(one["name"]) for one in stations if one["ill"] and str(one["says"]).startswith(_SILENT)]
    return f"No fresh readings from {listed(names)}." if names and _going_on(state) else ""


def _window(state: DayState, windows: Entries, still: Still) -> str:
    if state.open_window is not None:
        if not still.warning:
            return ""
        says = f"Against window {state.open_window.label} so far: {still.warning}"
        return f"{says} It can be voided and taken again while the weights stand."
    spoilt = spoilt_states(state, windows)
    here = spoilt.get(state.movement)
    if here is not None and state.gangway != "back":
        reason = re.sub(r" And \d+ more\.$", "", str(here["words"]))
        says = f"Window {here['label']} is rejected: {reason}"
        return f"{says} Take it again before a weight moves: Marks, “Window {state.movement} again”."
    if spoilt and not state.to_come:
        named = listed(list(spoilt))
        return f"No window that counts in movement{'s' if len(spoilt) > 1 else ''} {named}: rejected."
    return ""


def spoilt_states(state: DayState, windows: Entries) -> dict[str, Mapping[str, Any]]:
    """States of the weights of which every closed window that stands is rejected, each with its last window."""
    entries = {entry["id"]: entry for entry in windows}
    found: dict[str, Mapping[str, Any]] = {}
    sound: set[str] = set()
    for window in state.windows:
        if window.voided or window.stop_ns is None:
            continue
        entry = entries[window.number]
        if entry["verdict"] == "rejected":
            found[window.movement] = entry
        else:
            sound.add(window.movement)
    return {movement: entry for movement, entry in found.items() if movement not in sound}
