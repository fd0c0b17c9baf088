"""The command line: one verb a job. Parses, calls one function, prints, sets the exit code.

Exit codes: 0 done; 1 done, with a verdict that needs a person; 2 bad input; 3 something outside failed.
"""

from __future__ import annotations

import difflib
import importlib
import io
import os
import sys

import click

from config.errors import BadInput

# The matrices here are small: a second thread in the linear algebra costs more in waiting than it saves, and several
# times as much on a busy laptop. Whoever knows better sets these beforehand.
for _library in ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "OMP_NUM_THREADS"):
    os.environ.setdefault(_library, "1")

NEEDS_A_PERSON = 1
BAD_INPUT = 2
OUTSIDE_FAILED = 3

_VERBS = {
    "new": ("quietheel.commands.new", "Make a test folder, every file commented."),
    "plan": ("quietheel.commands.plan", "Check the plan; print the brief for the master."),
    "stations": ("quietheel.commands.stations", "List, check and calibrate the sensors."),
    "log": ("quietheel.commands.log", "Record all stations until stopped."),
    "mark": ("quietheel.commands.mark", "Mark gangway, movements, windows, notes."),
    "watch": ("quietheel.commands.watch", "Live view, in the terminal or on a page."),
    "windows": ("quietheel.commands.windows", "Mean heel of each window, with its verdict."),
    "survey": ("quietheel.commands.survey", "Deadweight survey: forms, import, totals."),
    "waterline": ("quietheel.commands.waterline", "Draughts and freeboards to displacement."),
    "reduce": ("quietheel.commands.reduce", "GM, KG and lightship from the folder."),
    "report": ("quietheel.commands.report", "Write the report, HTML and PDF."),
    "replay": ("quietheel.commands.replay", "Play a recorded day again, at any speed."),
    "compare": ("quietheel.commands.compare", "What changed between two reductions."),
    "simulate": ("quietheel.commands.simulate", "Make a synthetic day with known truth."),
    "import": ("quietheel.commands.importing", "Make a record of someone else's readings."),
    "verify": ("quietheel.commands.verify", "Check digests, chain and gaps of a folder."),
    "demo": ("quietheel.commands.demo", "Play a whole test day, sensor to report."),
}


class Verbs(click.Group):
    """The verbs in the order of the job; each is imported only when it is called."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names in the order of the job."""
        return list(_VERBS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import one verb."""
        if cmd_name not in _VERBS:
            return None
        command: click.Command = importlib.import_module(_VERBS[cmd_name][0]).command
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Find a verb; a misspelt one is told the nearest."""
        verb = args[0]
        if verb in _VERBS or verb.startswith("-") or ctx.resilient_parsing:
            return super().resolve_command(ctx, args)
        near = difflib.get_close_matches(verb, _VERBS, n=1)
        ctx.fail(f"No such command {verb!r}." + (f" Did you mean {near[0]!r}?" if near else ""))

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the list without importing any verb."""
        with formatter.section("One verb a job"):
            formatter.write_dl([(name, line) for name, (_, line) in _VERBS.items()])


@click.group(
    cls=Verbs,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog="Start here: quietheel demo --out demo-day. Every verb has --help with an example. "
    "Results are preliminary until the authority accepts them.",
)
@click.option(
    "--completion",
    type=click.Choice(["bash", "zsh", "fish", "powershell"]),
    expose_value=False,
    is_eager=True,
    callback=lambda ctx, _, shell: _completion(ctx, shell),
    help="Print the completion script of a shell and exit.",
)
@click.version_option(package_name="quietheel", prog_name="quietheel")
def cli() -> None:
    """Record the heel of a vessel during a stability test and turn the day into GM, KG and lightship."""


def _completion(ctx: click.Context, shell: str | None) -> None:
    if shell is None or ctx.resilient_parsing:
        return
    from quietheel.completion import script

    click.echo(script(shell, cli))
    ctx.exit()


def main() -> None:
    """Run the command line and leave with the exit code."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            # A file or pipe gets UTF-8 on every system; a letter that a terminal cannot show becomes a question mark.
            plain = stream.isatty() or "PYTHONIOENCODING" in os.environ
            stream.reconfigure(encoding=None if plain else "utf-8", errors="replace")
    sys.exit(run(sys.argv[1:]))


def _colour() -> bool | None:
    """Never, where NO_COLOR is set and not empty; else where the output is a terminal."""
    return False if os.environ.get("NO_COLOR") else None


def run(arguments: list[str]) -> int:
    """Run one command; return its exit code. Faults go to stderr, one a line."""
    if "_QUIETHEEL_COMPLETE" in os.environ:
        from quietheel.completion import register

        register()
    try:
        result = cli.main(args=arguments, prog_name="quietheel", standalone_mode=False, color=_colour())
        return result if isinstance(result, int) else 0
    except click.exceptions.Exit as leaving:
        return leaving.exit_code
    except click.Abort:
        click.echo("stopped", err=True)
        return 130
    except click.ClickException as error:
        error.show()
        return BAD_INPUT
    except BadInput as error:
        for fault in error.faults:
            click.echo(f"{click.style('cannot use', fg='red', bold=True)} {fault}", err=True, color=_colour())
        return BAD_INPUT
    except BrokenPipeError:
        devnull = os.open(os.devnull, os.O_WRONLY)
        os.dup2(devnull, sys.stdout.fileno())
        return 0
    except ModuleNotFoundError as error:
        extra = _EXTRAS.get((error.name or "").partition(".")[0])
        if extra is None:
            raise
        click.echo(f"this verb needs {error.name}; install it with: pip install 'quietheel[{extra}]'", err=True)
        return OUTSIDE_FAILED
    except (OSError, TimeoutError) as error:
        said = f"{click.style('failed outside quietheel', fg='red', bold=True)}: {error}"
        click.echo(said, err=True, color=_colour())
        return OUTSIDE_FAILED


_EXTRAS = {
    "starlette": "live",
    "uvicorn": "live",
    "jinja2": "report",
    "matplotlib": "report",
    "typst": "report",
    "amqtt": "broker",
    "pymodbus": "modbus",
}
