"""Options and habits that several verbs share."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

import click

from quietheel.jobs.plain import plain

F = TypeVar("F", bound=Callable[..., object])

folder_argument = click.argument(
    "folder", metavar="[DIR]", default=".", type=click.Path(path_type=Path, file_okay=False), required=False
)
"""The test folder as an argument; the current folder if it is left out."""

folder_option = click.option(
    "--folder",
    "-C",
    metavar="DIR",
    default=".",
    type=click.Path(path_type=Path, file_okay=False),
    help="Test folder; the current folder if left out.",
)
"""The test folder as an option, for verbs whose arguments are other things."""

json_option = click.option("--json", "as_json", is_flag=True, help="One JSON object on stdout.")


def print_json(value: object) -> None:
    """Print one JSON object on stdout; NaN and infinities become null, since JSON has none."""
    click.echo(json.dumps(plain(value), ensure_ascii=False, indent=2, allow_nan=False))


def talk(text: str = "") -> None:
    """Say something to the person: to stderr, so that results on stdout stay clean."""
    click.echo(text, err=True)


def counted(number: int, what: str) -> str:
    """Say how many, in the singular for one.

    >>> counted(1, "window"), counted(9, "window")
    ('1 window', '9 windows')
    """
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


def page_ready(address: str) -> None:
    """Say where the live page is."""
    click.echo(address)
    talk("open it in a browser; Ctrl-C ends")


def typed(path: object) -> str:
    """A path as it is typed on a command line: in quotes where it has blanks.

    >>> typed("practice"), typed("a day")
    ('practice', '"a day"')
    """
    text = str(path)
    return f'"{text}"' if " " in text else text


def interactive() -> bool:
    """Whether a person sits at the terminal."""
    return sys.stdin is not None and sys.stdin.isatty()
