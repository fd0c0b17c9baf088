import pytest

from quietheel.cli import cli, run
from quietheel.completion import SHELLS, PowerShell, script


@pytest.mark.parametrize("shell", SHELLS)
def test_every_shell_has_a_script(shell: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("click.shell_completion.BashComplete._check_version", staticmethod(lambda: None))
    assert "quietheel" in script(shell, cli)


def test_powershell_completes_a_verb(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.setenv("_QUIETHEEL_COMPLETE", "powershell_complete")
    monkeypatch.setenv("COMP_LINE", "quietheel wat")
    monkeypatch.setenv("COMP_WORD", "wat")
    with pytest.raises(SystemExit):
        run([])
    assert {line.split("\t")[1] for line in capsys.readouterr().out.splitlines()} == {"watch", "waterline"}


def test_words_before_the_one_being_typed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COMP_LINE", "quietheel mark ")
    monkeypatch.setenv("COMP_WORD", "")
    assert PowerShell(cli, {}, "quietheel", "X").get_completion_args() == (["mark"], "")
