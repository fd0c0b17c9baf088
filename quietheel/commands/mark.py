"""``quietheel mark``: one short line a mark."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import click

from config.folder import TestFolder
from logger.events import CONFIRMATIONS, Event, rfc3339
from quietheel.commands.common import F, folder_option, json_option, print_json, talk
from quietheel.jobs.mark_notes import notes_on, window_of
from quietheel.jobs.marking import mark, moment_of, state

_KEPT = {
    "density": "it counts where density.csv holds no sample",
    "waterline": "it stays on record; the answer is that of waterline.csv, and a difference from it is said",
}


@click.group(
    "mark",
    epilog="Example:  quietheel mark gangway pulled; quietheel mark movement 1; quietheel mark open --all; "
    "quietheel mark close",
)
def command() -> None:
    """Mark what happens on the day. Nothing is ever deleted: a mistake is undone by `mark void`."""


def _common(function: F) -> F:
    """Options that every mark takes."""
    options: list[Callable[[F], F]] = [
        folder_option,
        click.option("--by", default="", metavar="NAME", help="Who says so; QUIETHEEL_BY or the account if left out."),
        click.option(
            "--at",
            default=None,
            metavar="TIME",
            help="When it happened: HH:MM[:SS] of today at the ship, or 2030-05-14T09:30:00Z; now if left out.",
        ),
        json_option,
    ]
    for option in reversed(options):
        function = option(function)
    return function


def _write(kind: str, data: dict[str, Any], folder: Path, by: str, at: str | None, as_json: bool) -> None:
    offset = TestFolder(folder).plan().test.utc_offset_h
    event = mark(
        folder, kind, {k: v for k, v in data.items() if v not in (None, "")}, by=by, at_ns=moment_of(at, offset)
    )
    _say(event, folder, notes_on(folder, event, timed=at is not None), as_json)


def _say(event: Event, folder: Path, notes: Sequence[str], as_json: bool) -> None:
    now = state(folder)
    if as_json:
        print_json(
            {
                "number": event.number,
                "at": rfc3339(event.at_ns),
                "kind": event.kind,
                "by": event.by,
                "data": dict(event.data),
                "notes": notes,
                "next": now.next,
            }
        )
        return
    what = ", ".join(f"{key} {_short(value)}" for key, value in event.data.items() if key != "opened")
    click.echo(f"{event.number}  {rfc3339(event.at_ns)}  {event.kind}{': ' + what if what else ''}  ({event.by})")
    if event.kind in _KEPT:
        talk(f"note: {_KEPT[event.kind]}")
    if event.kind == "reading" and not event.data.get("window") and window_of(event, now):
        talk(f"note: it counts in window {window_of(event, now)}; --window names another one")
    for remark in notes:
        talk(f"note: {remark}")
    talk(f"next: {now.next}")


def _short(value: object) -> str:
    return ", ".join(str(item) for item in value) if isinstance(value, list) else str(value)


@command.command("next", epilog="Example:  quietheel mark next")
@folder_option
@json_option
def next_step(folder: Path, as_json: bool) -> None:
    """Say where the day stands and what comes next; marks nothing."""
    now = state(folder)
    if as_json:
        print_json(
            {
                "next": now.next,
                "movement": now.movement,
                "gangway": now.gangway,
                "done": now.done,
                "to_come": now.to_come,
                "missing": now.missing,
                "remarks": now.remarks,
            }
        )
        return
    click.echo(now.next)
    for line in (*now.changes, *now.remarks):
        talk(line)


@command.command("gangway", epilog="Example:  quietheel mark gangway pulled")
@click.argument("what", type=click.Choice(["pulled", "back"]))
@_common
def gangway(what: str, folder: Path, by: str, at: str | None, as_json: bool) -> None:
    """Gangway pulled (she floats free, nobody comes or goes), or back."""
    _write("gangway", {"state": what}, folder, by, at, as_json)


@command.command("movement", epilog="Example:  quietheel mark movement 1        quietheel mark movement 1 --at 10:42")
@click.argument("label")
@_common
def movement(label: str, folder: Path, by: str, at: str | None, as_json: bool) -> None:
    """Movement LABEL made: its last weight has come to rest."""
    _write("movement", {"movement": label}, folder, by, at, as_json)


@command.command("open", epilog="Example:  quietheel mark open --all        quietheel mark open 5 -c lines -c muster")
@click.argument("label", required=False)
@click.option("--confirm", "-c", multiple=True, type=click.Choice(list(CONFIRMATIONS)), help="Confirmed; repeatable.")
@click.option("--all", "everything", is_flag=True, help="All five confirmed.")
@_common
def open_window(
    label: str | None, confirm: tuple[str, ...], everything: bool, folder: Path, by: str, at: str | None, as_json: bool
) -> None:
    """Open a window, named LABEL or after the movement the day is at.

    Confirmations: lines (slack and drooping), muster (everyone at their station), crane (stowed), clear (tug, fenders
    and small craft), quiet (decks quiet, services off).
    """
    given = list(CONFIRMATIONS) if everything else list(confirm)
    _write("window_open", {"window": label, "confirm": given or None}, folder, by, at, as_json)


@command.command("confirm", epilog="Example:  quietheel mark confirm lines muster")
@click.argument("what", nargs=-1, required=True, type=click.Choice([*CONFIRMATIONS, "all"]))
@click.option("--window", default=None, help="Which window; the open or next one if left out.")
@_common
def confirm(what: tuple[str, ...], window: str | None, folder: Path, by: str, at: str | None, as_json: bool) -> None:
    """Confirm for the open (or next) window: lines, muster, crane, clear, quiet, or all."""
    _write(
        "confirm",
        {"what": list(CONFIRMATIONS) if "all" in what else list(what), "window": window},
        folder,
        by,
        at,
        as_json,
    )


@command.command("close", epilog="Example:  quietheel mark close")
@click.argument("label", required=False)
@_common
def close_window(label: str | None, folder: Path, by: str, at: str | None, as_json: bool) -> None:
    """Close the open window, or the one named LABEL."""
    _write("window_close", {"window": label}, folder, by, at, as_json)


@command.command(
    "void",
    epilog='Example:  quietheel mark void "closed too soon" --window 5        quietheel mark void slip --event 12',
)
@click.argument("reason")
@click.option("--window", default=None, help="Label of a whole window.")
@click.option("--event", type=int, default=None, help="Number of a single mark.")
@_common
def void(
    reason: str, window: str | None, event: int | None, folder: Path, by: str, at: str | None, as_json: bool
) -> None:
    """Void a window or a mark, with a REASON. It stays in the file and in the report.

    A void can itself be voided by its number, with --event: then what it struck out stands again.
    """
    _write("void", {"window": window, "event": event, "reason": reason}, folder, by, at, as_json)


@command.command("note", epilog='Example:  quietheel mark note "tug came alongside"')
@click.argument("text")
@_common
def note(text: str, folder: Path, by: str, at: str | None, as_json: bool) -> None:
    """Write a note: TEXT."""
    _write("note", {"text": text}, folder, by, at, as_json)


@command.command(
    "people", epilog="Example:  quietheel mark people mate wheelhouse        quietheel mark people cook --ashore"
)
@click.argument("person")
@click.argument("place", required=False)
@click.option("--ashore", is_flag=True, help="Left the vessel.")
@_common
def people(person: str, place: str | None, ashore: bool, folder: Path, by: str, at: str | None, as_json: bool) -> None:
    """PERSON now stands at the muster station PLACE, or is ashore."""
    if place is not None and place.lower() == "ashore":
        place, ashore = None, True
    _write("people", {"person": person, "place": place, "ashore": ashore or None}, folder, by, at, as_json)


@command.command(
    "reading",
    context_settings={"ignore_unknown_options": True},
    epilog="Example:  quietheel mark reading pendulum -- -12 14 -11 13        (batten from one end: --zero-mm 500)",
)
@click.argument("station")
@click.argument("deflections_mm", nargs=-1, required=True)
@click.option("--window", default=None, help="Which window; the open or last one if left out.")
@click.option("--zero-mm", type=float, default=None, help="Scale reading when upright.")
@_common
def reading(
    station: str,
    deflections_mm: tuple[str, ...],
    window: str | None,
    zero_mm: float | None,
    folder: Path,
    by: str,
    at: str | None,
    as_json: bool,
) -> None:
    """Reading by hand of pendulum or U-tube STATION: extremes of the swing in turn, mm, to starboard positive."""
    data = {"station": station, "deflections_mm": list(deflections_mm), "window": window, "zero_mm": zero_mm}
    _write("reading", data, folder, by, at, as_json)


@command.command("density", epilog='Example:  quietheel mark density 1024.6 --place "amidships, port" --depth-m 1.0')
@click.argument("kg_m3")
@click.option("--place", default=None, help="Where the sample was drawn.")
@click.option("--depth-m", default=None, help="How deep, m.")
@_common
def density(
    kg_m3: str, place: str | None, depth_m: str | None, folder: Path, by: str, at: str | None, as_json: bool
) -> None:
    """Density of a sample of the water she floats in, KG_M3 as the hydrometer reads.

    It counts where density.csv holds no sample; there temperature and corrections have their columns.
    """
    _write("density", {"value_kg_m3": kg_m3, "place": place, "depth_m": depth_m}, folder, by, at, as_json)


@command.command("waterline", epilog='Example:  quietheel mark waterline "fwd S" draught 2.12')
@click.argument("mark")
@click.argument("kind", type=click.Choice(["draught", "freeboard"]))
@click.argument("metres")
@_common
def waterline(mark: str, kind: str, metres: str, folder: Path, by: str, at: str | None, as_json: bool) -> None:
    """Draught or freeboard read at MARK, in METRES, with time and reader.

    It stays on record and is held against the line of waterline.csv for the same mark; the answer is that of
    waterline.csv, which knows where the mark is.
    """
    _write("waterline", {"mark": mark, "kind": kind, "value_m": metres}, folder, by, at, as_json)


@command.command("overrule", epilog='Example:  quietheel mark overrule 5 fine "seen from the quay: no line was taut"')
@click.argument("window")
@click.argument("verdict", type=click.Choice(["fine", "caution", "rejected"]))
@click.argument("reason")
@_common
def overrule(window: str, verdict: str, reason: str, folder: Path, by: str, at: str | None, as_json: bool) -> None:
    """Decide on a WINDOW against the verdict found, with a REASON. Both stay in the report."""
    _write("overrule", {"window": window, "verdict": verdict, "reason": reason}, folder, by, at, as_json)
