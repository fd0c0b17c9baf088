"""The day in a terminal: the same view as the page, for a laptop without a browser in reach."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from rich.console import Console, Group, RenderableType
from rich.live import Live
from rich.table import Table
from rich.text import Text

from config.folder import TestFolder
from logger.clock import UtcClock
from quietheel.page.source import LiveSource
from quietheel.page.view import DayView
from quietheel.page.words import clock_of, heel_words, interval_words

WIDE = 110
"""Columns from which windows stand beside the stations rather than below."""
WIDEST = 150
"""Columns from which a station beside the windows has room for a longer trace."""
GUTTER, LEFT, RIGHT = 3, 9, 11
"""Columns between stations and windows, and how they share the rest."""
TRACE, LONG_TRACE, LEAST_TRACE = 12, 20, 4
"""Columns of a trace; where fewer than the last are left, it is not drawn."""
LONGEST_LABEL = 8
"""Letters of a window's label that are kept whatever else has to give way."""
_STYLE = {"fine": "green", "caution": "yellow", "rejected": "bold red", "open": "cyan", "void": "dim", "at work": "dim"}
_LEVELS = "▁▂▃▄▅▆▇█"


def watch_terminal(
    folder: Path | str,
    *,
    source: LiveSource | None = None,
    clock: UtcClock | None = None,
    period_s: float = 1.0,
    once: bool = False,
    console: Console | None = None,
    sleep: Callable[[float], None] = time.sleep,
    until: Callable[[], bool] = lambda: False,
) -> None:
    """Show the day until interrupted (Ctrl-C), or once.

    Parameters
    ----------
    folder : the test folder.
    source : where the day comes from; None follows the folder's record as it grows.
    clock : gives UTC now, for the record that grows; None takes the run's own host time.
    period_s : seconds between two pictures.
    once : print one picture, windows worked out, and return (also where the output is no terminal).
    until : asked after every picture; true ends the view, as at the end of a day played again.

    Raises
    ------
    BadInput where the plan cannot be used.
    """
    from quietheel.page.tail import TailSource

    console = console or Console()
    place = TestFolder(Path(folder))
    view = DayView(place, source or TailSource(place, clock=clock))
    try:
        view.step()
        if once or not console.is_terminal:
            view.wait()
            view.step()
            console.print(picture(view.whole(), console.width))
            return
        with Live(console=console, screen=True, auto_refresh=False, vertical_overflow="crop") as live:
            while not until():
                live.update(picture(view.whole(), console.width, console.height), refresh=True)
                sleep(period_s)
                view.step()
        view.wait()  # a day played to its end stays on the screen, its last windows worked out
        view.step()
        console.print(picture(view.whole(), console.width))
    except KeyboardInterrupt:
        return
    finally:
        view.close()


def picture(whole: dict[str, Any], width: int, height: int | None = None) -> RenderableType:
    """Draw one picture of the day, as `DayView.whole` gives it, for a terminal of ``width`` columns."""
    hours = whole["day"]["utc_offset_h"]
    head = _head(whole, width)
    room = width if width < WIDE else width * LEFT // (LEFT + RIGHT) - GUTTER
    trace = TRACE if width < WIDEST else LONG_TRACE
    left = Group(_still(whole, min(room, 60)), _stations(whole, room, trace), _kit(whole))
    windows, answer = _windows(whole, brief=height is not None), _answer(whole)
    marks = _marks(whole, hours, 5 if height is not None else 50)
    if width < WIDE:
        return Group(head, left, answer, Text(), windows, Text(), _people(whole), marks)
    columns = Table.grid(padding=(0, GUTTER), expand=True)
    columns.add_column(ratio=LEFT)
    columns.add_column(ratio=RIGHT)
    columns.add_row(Group(left, Text(), answer), Group(windows, Text(), _people(whole), marks))
    return Group(head, columns)


def _head(whole: dict[str, Any], width: int) -> RenderableType:
    day, following, now = whole["day"], whole["next"], whole["now"]
    bar = Table.grid(expand=True)
    bar.add_column(ratio=1)
    bar.add_column(justify="right")
    title = " · ".join(part for part in (day["vessel"], day["test"], day["place"]) if part)
    bar.add_row(Text(f" {title}", style="reverse"), Text(f"{now['words']} ", style="reverse"), style="reverse")
    lines: list[RenderableType] = [bar, Text(f" {following['sentence']}", style="bold")]
    if following["then"]:
        lines.append(Text(f" {following['then']}", style="dim"))
    if following["caution"]:
        lines.append(Text(f" {following['caution']}", style="bold yellow"))
    return Group(*lines, Text("─" * width, style="dim"))


def _still(whole: dict[str, Any], width: int) -> RenderableType:
    still = whole["still"]
    filled = round(max(0.0, min(still["part"], 1.0)) * (width - 2))
    done = still["part"] >= 1.0
    bar = Text("█" * filled, style="green" if done else "")
    bar.append("░" * (width - 2 - filled), style="dim")
    return Group(Text(still["words"], style="bold green" if done else "bold"), bar, Text())


def _stations(whole: dict[str, Any], room: int, trace: int) -> RenderableType:
    """Name, reading, trace and what is said, each to its end: the trace gives way first, then lines break."""
    stations = whole["stations"]
    wide = [max((len(one[key]) for one in stations), default=0) for key in ("name", "reads")]
    traced = {lane["station"] for lane in whole["strip"]["lanes"] if lane["quantity"] == "heel"}
    said = max((len(one["says"]) for one in stations if one["name"] in traced), default=0)
    trace = min(trace, room - sum(wide) - said - 6)
    traces = _traces(whole["strip"], trace) if trace >= LEAST_TRACE else {}
    longest = max((len(text) for text in traces.values()), default=0)
    table = Table.grid(padding=(0, 2))
    for size in wide:
        table.add_column(no_wrap=True, min_width=min(20, size))
    table.add_column()
    for one in stations:
        style = "bold yellow" if one["ill"] else ""
        says = Text(one["says"], style=style or "dim")
        if one["name"] in traces:
            says = Text(f"{traces[one['name']]:<{longest}}  ", style="cyan").append_text(says)
        table.add_row(Text(one["name"], style=style or "bold"), Text(one["reads"], style="bold"), says)
    return table


def _traces(strip: dict[str, Any], columns: int) -> dict[str, str]:
    """Ten minutes of each heel lane as one line of blocks, port low, starboard high; blank where silent."""
    traces = {}
    for number, lane in enumerate(strip["lanes"]):
        if lane["quantity"] != "heel" or not strip["rows"]:
            continue
        middles = [
            None if row[2 * number] is None else (row[2 * number] + row[2 * number + 1]) / 2 for row in strip["rows"]
        ]
        size = max(1, -(-len(middles) // columns))
        groups = [[v for v in middles[i : i + size] if v is not None] for i in range(0, len(middles), size)]
        means = [sum(g) / len(g) if g else None for g in groups]
        known = [m for m in means if m is not None]
        if not known:
            continue
        low, span = min(known), max(max(known) - min(known), 1.0)
        traces[lane["station"]] = "".join(
            " " if m is None else _LEVELS[round((m - low) / span * (len(_LEVELS) - 1))] for m in means
        )
    return traces


def _windows(whole: dict[str, Any], brief: bool) -> RenderableType:
    if not whole["windows"]:
        return Text("No window yet.", style="dim")
    table = Table.grid(padding=(0, 2), expand=True)
    rows = []
    for one in whole["windows"]:
        kind = "void" if one["void"] else "open" if one["stop_ms"] is None else one["verdict"] or "at work"
        u95 = f" ± {one['u95_deg']:.4f}°" if one["u95_deg"] is not None else ""
        rows.append((one["label"], heel_words(one["heel_deg"], 4) + u95, kind, one["words"]))
    # What a window is worth keeps its place; where the terminal is narrow the reason is cut.
    label, heel, verdict = (max(len(row[n]) for row in rows) for n in range(3))
    table.add_column(justify="right", no_wrap=True, min_width=min(label, LONGEST_LABEL))
    table.add_column(no_wrap=True, justify="right", min_width=heel)
    table.add_column(no_wrap=True, min_width=verdict)
    table.add_column(no_wrap=brief, overflow="ellipsis", ratio=1)
    for name, figures, kind, words in rows:
        table.add_row(Text(name, style="bold"), figures, Text(kind, style=_STYLE[kind]), Text(words, style="dim"))
    return table


def _answer(whole: dict[str, Any]) -> RenderableType:
    gm = whole["gm"]
    lines = [Text()]
    if gm["value_m"] is not None:
        lines.append(Text(f"GM {interval_words(gm['value_m'], gm['u95_m'])} m", style="bold"))
    lines.append(Text(gm["says"], style="dim"))
    lines.append(Text(whole["time"]["says"]))
    return Group(*lines)


def _people(whole: dict[str, Any]) -> RenderableType:
    people = whole["people"]
    lines = [Text(people["says"])] + [Text(change, style="yellow") for change in people["changes"]]
    for post in people["posts"]:
        names = ", ".join(one["name"] for one in post["people"]) or "nobody"
        lines.append(Text(f"  {post['name']}: {names}", style="dim"))
    return Group(*lines)


def _marks(whole: dict[str, Any], hours: float, most: int) -> RenderableType:
    table = Table.grid(padding=(0, 2))
    for mark in whole["marks"][:most]:
        words = mark["says"] + (f" · void: {mark['void']}" if mark["void"] else "")
        style = "dim strike" if mark["void"] else "dim"
        table.add_row(Text(clock_of(mark["at_ms"], hours), style="dim"), Text(words, style=style))
    return table


def _kit(whole: dict[str, Any]) -> RenderableType:
    table = Table.grid(padding=(0, 2))
    for fact in whole["kit"]:
        table.add_row(Text(fact["what"], style="dim"), Text(fact["says"], style="bold yellow" if fact["ill"] else ""))
    return Group(Text(), table)
