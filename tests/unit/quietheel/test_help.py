"""The help of every command, however deep, ends with an example; the README says so."""

from __future__ import annotations

from collections.abc import Iterator

import click
import pytest

from quietheel.cli import cli, run


def commands(command: click.Command, name: str = "quietheel") -> Iterator[tuple[str, click.Command]]:
    if isinstance(command, click.Group):
        for verb in command.list_commands(click.Context(command)):
            below = command.get_command(click.Context(command), verb)
            assert below is not None
            yield from commands(below, f"{name} {verb}")
    else:
        yield name, command


@pytest.mark.parametrize(("name", "command"), list(commands(cli)))
def test_every_command_shows_an_example_of_itself(name: str, command: click.Command) -> None:
    example = (command.epilog or "").partition("Example:  ")[2]
    assert name in example


def test_a_misspelt_verb_is_told_the_right_one(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["windws"]) == 2
    assert "Did you mean 'windows'?" in capsys.readouterr().err
    assert run(["wurst"]) == 2
    assert "No such command 'wurst'" in capsys.readouterr().err
