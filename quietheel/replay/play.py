"""Play a recorded day again: on the live page, in the terminal, or through the view alone."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

from rich.console import Console

from config.folder import TestFolder
from quietheel.page.view import DayView
from quietheel.page.words import clock_of, heel_words, interval_words
from quietheel.replay.source import ReplaySource

PICTURES_A_SECOND = 2.0
"""A day that runs fast is drawn more often than one that happens now."""


def replay(
    folder: Path | str,
    speed: float = 60.0,
    *,
    page: bool = True,
    host: str = "127.0.0.1",
    port: int = 8730,
    token: str | None = None,
    runs: list[str] | None = None,
    rehearse_in: Path | None = None,
    ready: Callable[[str], None] | None = None,
    console: Console | None = None,
) -> None:
    """Play a recorded day through the same view, page and code as the day itself.

    Parameters
    ----------
    folder : the test folder.
    speed : seconds of the day for each second of the wall.
    page : True serves the live page until interrupted; False shows the day in the terminal until it is over. Where the
        output is no terminal nothing is waited for: every window and what the day came to, one a line.
    host, port, token, ready : see `quietheel.page.server.serve_page`; the token lets the page hold and speed the play.
    runs : only these runs; None for all.
    rehearse_in : a folder for new marks; None plays the marks of the record.

    Raises
    ------
    BadInput where nothing is recorded.
    """
    place = TestFolder(Path(folder))
    source = ReplaySource(place, speed, runs=runs, rehearse_in=rehearse_in)
    if page:
        from quietheel.page.server import serve_page

        serve_page(
            folder, host=host, port=port, token=token, source=source, period_s=1.0 / PICTURES_A_SECOND, ready=ready
        )
        return
    from quietheel.terminal import watch_terminal

    console = console or Console()
    if rehearse_in is None and not console.is_terminal:
        for line in day_in_lines(place, source):
            console.print(line, markup=False, highlight=False, soft_wrap=True)
        return
    watch_terminal(
        folder, source=source, period_s=1.0 / PICTURES_A_SECOND, console=console, until=lambda: source.clock.over
    )


def day_in_lines(place: TestFolder, source: ReplaySource) -> list[str]:
    """What a played day came to at its end, as lines: every window worked out, GM, time, people."""
    source.clock.finish()
    view = DayView(place, source)
    try:
        view.step()
        view.wait()
        view.step()
        whole = view.whole()
    finally:
        view.close()
    hours, day, gm = whole["day"]["utc_offset_h"], whole["day"], whole["gm"]
    lines = [" · ".join(part for part in (day["vessel"], day["test"], day["place"]) if part)]
    for one in reversed(whole["windows"]):
        kind = "void" if one["void"] else one["verdict"] or "open"
        u95 = f" ± {one['u95_deg']:.4f}" if one["u95_deg"] is not None else ""
        at = clock_of(one["start_ms"], hours)
        lines.append(
            f"{at}  window {one['label']}: {heel_words(one['heel_deg'], 4)}{u95}, {kind}. {one['words']}".rstrip()
        )
    if gm["value_m"] is not None:
        lines.append(f"GM {interval_words(gm['value_m'], gm['u95_m'])} m")
    return [*lines, *(text for text in (gm["says"], whole["time"]["says"], whole["people"]["says"]) if text)]


def play_through(folder: Path | str, *, step_s: float = 1.0, look: Callable[[DayView], None] | None = None) -> float:
    """Play a whole day through the view as fast as this machine can; give seconds of the day for each of the wall.

    Parameters
    ----------
    step_s : seconds of the day between two pictures.
    look : called after every picture.
    """
    place = TestFolder(Path(folder))
    wall = [0]
    source = ReplaySource(place, 1.0, monotonic_ns=lambda: wall[0])
    view = DayView(place, source)
    began = time.perf_counter()
    try:
        while not source.clock.over:
            wall[0] += round(step_s * 1e9)
            view.step()
            if look is not None:
                look(view)
        view.wait()
        view.step()
        if look is not None:
            look(view)
    finally:
        view.close()
    return (source.clock.stop_ns - source.clock.start_ns) * 1e-9 / (time.perf_counter() - began)
