"""Shell completion: bash, zsh and fish come with click; PowerShell is added here."""

from __future__ import annotations

import os

import click
from click.shell_completion import CompletionItem, ShellComplete, add_completion_class, get_completion_class

SHELLS = ("bash", "zsh", "fish", "powershell")
VARIABLE = "_QUIETHEEL_COMPLETE"

_POWERSHELL = """\
Register-ArgumentCompleter -Native -CommandName %(prog_name)s -ScriptBlock {
    param($word, $ast, $cursor)
    $line = $ast.ToString().PadRight($cursor, ' ').Substring(0, $cursor)
    $env:%(complete_var)s = 'powershell_complete'
    $env:COMP_LINE = $line
    $env:COMP_WORD = $word
    try {
        %(prog_name)s | ForEach-Object {
            $type, $value, $help = $_ -split "`t", 3
            if (-not $help) { $help = $value }
            [System.Management.Automation.CompletionResult]::new($value, $value, 'ParameterValue', $help)
        }
    } finally {
        Remove-Item Env:%(complete_var)s, Env:COMP_LINE, Env:COMP_WORD -ErrorAction SilentlyContinue
    }
}
"""


class PowerShell(ShellComplete):
    """Completion for Windows PowerShell 5 and PowerShell 7."""

    name = "powershell"
    source_template = _POWERSHELL

    def get_completion_args(self) -> tuple[list[str], str]:
        """Words before the one being completed, and that one."""
        words = click.shell_completion.split_arg_string(os.environ.get("COMP_LINE", ""))
        word = os.environ.get("COMP_WORD", "")
        before = words[1:-1] if word and words and words[-1] == word else words[1:]
        return before, word

    def format_completion(self, item: CompletionItem) -> str:
        """One candidate a line: type, value, help."""
        return f"{item.type}\t{item.value}\t{item.help or ''}"


def register() -> None:
    """Let click know of PowerShell."""
    add_completion_class(PowerShell)


def script(shell: str, command: click.Command) -> str:
    """Return the script that a shell's start-up file has to run.

    >>> import click
    >>> "_QUIETHEEL_COMPLETE" in script("fish", click.Command("quietheel"))
    True
    """
    register()
    kind = get_completion_class(shell)
    if kind is None:
        raise ValueError(f"{shell}: one of {', '.join(SHELLS)}")
    return kind(command, {}, "quietheel", VARIABLE).source()
