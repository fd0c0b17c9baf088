"""``quietheel windows``."""

from __future__ import annotations

import math
from pathlib import Path

import click

from config.units import COVERAGE_95
from dsp.types import DayHeel
from quietheel.cli import NEEDS_A_PERSON
from quietheel.commands.common import folder_argument, json_option, print_json, talk
from quietheel.jobs.windows import half_width_deg, roll_json, wind_json, window_json, windows
from quietheel.jobs.windows import suggest as suggest_day
from quietheel.page.words import clock_of

_COLOUR = {"fine": "green", "caution": "yellow", "rejected": "red"}


@click.command(
    "windows",
    epilog="Example:  quietheel windows        quietheel windows demo-day --json\n\n"
    "          quietheel windows --suggest         where the record itself shows settled heel",
)
@folder_argument
@click.option("--why", is_flag=True, help="Every check of every window, with its figure and threshold.")
@click.option("--suggest", is_flag=True, help="Settled stretches found in the record, with the interval of each.")
@json_option
def command(folder: Path, why: bool, suggest: bool, as_json: bool) -> int:
    """Mean heel of each window, its interval, and whether the window is evidence.

    Each window is judged by itself here; `quietheel reduce` also holds them against each other. Ends with 1 where no
    window is evidence: every one is rejected, or none is closed yet.
    """
    if suggest:
        _suggested(folder, as_json)
        return 0
    day = windows(folder)
    code = 0 if any(window.verdict != "rejected" for window in day.heel.windows) else NEEDS_A_PERSON
    if as_json:
        told = [window_json(day, window) for window in day.heel.windows]
        print_json({"windows": told, "roll": roll_json(day.heel), "wind": wind_json(day.heel)})
        return code
    if not day.heel.windows:
        talk("no closed window yet that is not void; `quietheel mark open` and `quietheel mark close` make one")
        return code
    click.echo(f"{'window':<10} {'length':>7} {'heel':>10}  {'95 % interval':<14} {'roll':>7}  verdict")
    for window in day.heel.windows:
        span = window.span
        period = f"{window.roll.period:.2f} s" if math.isfinite(window.roll.period) else "-"
        heel = f"{math.degrees(window.heel):+9.4f}°" if math.isfinite(window.heel) else "none"
        wide = f"± {half_width_deg(window):.4f}°" if math.isfinite(window.u) else "-"
        verdict = click.style(window.verdict, fg=_COLOUR[window.verdict], bold=window.verdict == "rejected")
        reasons = f" ({', '.join(window.reasons)})" if window.reasons else ""
        click.echo(
            f"{span.label:<10} {span.stop - span.start:6.0f}s {heel:>10}  {wide:<14} {period:>7}  {verdict}{reasons}"
        )
        for check in window.checks:
            if why or check.verdict != "fine":
                click.echo(f"    {check.code}: {check.says}")
    for marked in day.recorded.windows:
        if marked.voided:
            click.echo(f"{marked.label:<10} voided by {marked.voided_by}: {marked.reason}")
        for remark in () if marked.voided else marked.remarks:
            talk(f"note: window {marked.label}: {remark}")
    _say_roll(day.heel)
    for sentence in day.heel.assumptions:
        talk(f"assumed: {sentence}")
    return code


def _say_roll(day: DayHeel) -> None:
    """Natural roll of the day with 95 % intervals, and what else the other methods say."""
    roll, compared = day.roll, day.roll_comparison
    if not math.isfinite(roll.period):
        return
    period = f"{roll.period:.2f} ± {COVERAGE_95 * roll.period_u:.2f} s"
    damping = f"{100.0 * roll.damping:.1f} ± {100.0 * COVERAGE_95 * roll.damping_u:.1f} %"
    click.echo(f"natural roll of the day: period {period}, damping {damping} of critical")
    if compared is not None and not compared.agree:
        click.echo(f"    {compared.says}")


def _suggested(folder: Path, as_json: bool) -> None:
    """Stretches of settled heel in the record, marked or not."""
    day = suggest_day(folder)
    if as_json:
        print_json({"suggested": [window_json(day, window) for window in day.heel.windows]})
        return
    if not day.heel.windows:
        talk("no settled stretch of a minute in the record")
        return
    epoch_ns, hours = day.heel.epoch_ns, day.recorded.plan.test.utc_offset_h
    click.echo(f"{'from':<9} {'to':<9} {'length':>7} {'heel':>10}  {'95 % interval':<14} marked")
    for window in day.heel.windows:
        span = window.span
        start, stop = epoch_ns + round(span.start * 1e9), epoch_ns + round(span.stop * 1e9)
        marked = [
            one.label
            for one in day.recorded.standing
            if one.start_ns < stop and one.stop_ns is not None and one.stop_ns > start
        ]
        heel = f"{math.degrees(window.heel):+9.4f}°" if math.isfinite(window.heel) else "none"
        wide = f"± {half_width_deg(window):.4f}°" if math.isfinite(window.u) else "-"
        times = f"{clock_of(start / 1e6, hours):<9} {clock_of(stop / 1e6, hours):<9}"
        click.echo(f"{times} {span.stop - span.start:6.0f}s {heel:>10}  {wide:<14} {', '.join(marked) or '-'}")
    talk("found in the record alone: whether weights, people and lines were as they should be, the marks must say")
