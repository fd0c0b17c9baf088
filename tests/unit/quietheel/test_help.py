"""The help of every command, however deep, ends with an example; the README says so."""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterator
from pathlib import Path

import click
import pytest

from quietheel.cli import cli, run


def commands(command: click.Command, name: str = "quietheel") -> Iterator[tuple[str, click.Command]]:
    """Every command, and every group of them."""
    yield name, command
    if isinstance(command, click.Group):
        for verb in command.list_commands(click.Context(command)):
            below = command.get_command(click.Context(command), verb)
            assert below is not None
            yield from commands(below, f"{name} {verb}")


EVERY = list(commands(cli))


@pytest.mark.parametrize(("name", "command"), [one for one in EVERY if not isinstance(one[1], click.Group)])
def test_every_command_shows_an_example_of_itself(name: str, command: click.Command) -> None:
    example = (command.epilog or "").partition("Example:  ")[2]
    assert name in example


def examples(text: str) -> Iterator[list[str]]:
    """Command lines of a help text; what stands behind several blanks or in round brackets is a remark."""
    for part in re.split(r"\s{3,}|;|&&|\n|[(]|\.\s|here: ", text.replace("Example:", "Example:   ")):
        if part.strip().startswith("quietheel "):
            yield shlex.split(part.strip().rstrip(".,"))[1:]


def parse(command: click.Command, name: str, words: list[str]) -> None:
    """Go through a command line as the parser does, and call nothing."""
    if isinstance(command, click.Group):
        below = command.get_command(click.Context(command), words[0])
        assert below is not None, f"{name} {words[0]}"
        parse(below, f"{name} {words[0]}", words[1:])
    else:
        command.make_context(name, words)


@pytest.mark.parametrize(("name", "command"), EVERY)
def test_every_example_is_one_that_the_parser_takes(name: str, command: click.Command) -> None:
    found = list(examples(f"{command.epilog or ''}\n{command.help or ''}".replace("`", "\n")))
    assert found
    for words in found:
        parse(cli, "quietheel", words)


def test_command_lines_of_the_readme_are_such_too() -> None:
    readme = (Path(__file__).parents[3] / "README.md").read_text(encoding="utf-8")
    lines = re.findall(r"^quietheel [^#\n]*", readme, flags=re.MULTILINE)
    assert len(lines) > 10
    for line in lines:
        parse(cli, "quietheel", shlex.split(line)[1:])


def test_a_misspelt_verb_is_told_the_right_one(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["windws"]) == 2
    assert "Did you mean 'windows'?" in capsys.readouterr().err
    assert run(["wurst"]) == 2
    assert "No such command 'wurst'" in capsys.readouterr().err
