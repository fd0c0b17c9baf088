"""``quietheel import``."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import click

from quietheel.commands.common import counted, json_option, print_json, talk, typed
from quietheel.jobs.importing import import_readings

_file = click.Path(path_type=Path, dir_okay=False)


@click.command(
    "import",
    epilog="Example:  quietheel import elsewhere --readings readings.csv --windows windows.csv "
    "--displacement-t 2000 --bm-m 3.2 && quietheel reduce elsewhere",
)
@click.argument("folder", metavar="DIR", type=click.Path(path_type=Path, file_okay=False))
@click.option("--readings", required=True, type=_file, help="CSV: time,sensor,quantity,value,unit.")
@click.option("--windows", required=True, type=_file, help="CSV: movement,start,stop,moment_tm[,moment_u95_tm].")
@click.option("--displacement-t", type=click.FloatRange(min=0, min_open=True), help="As inclined, t; without a plan.")
@click.option("--bm-m", type=click.FloatRange(min=0, min_open=True), help="Transverse BM, m; without a plan.")
@click.option("--km-m", type=click.FloatRange(min=0, min_open=True), help="Transverse KM, m; without a plan.")
@json_option
def command(
    folder: Path,
    readings: Path,
    windows: Path,
    displacement_t: float | None,
    bm_m: float | None,
    km_m: float | None,
    as_json: bool,
) -> None:
    """Make a record in DIR of someone else's measurement, to be reduced like one of our own.

    Times are RFC 3339, UTC. Quantities: heel, trim, wind_speed, wind_direction, line_tension, temperature. Heel is
    positive starboard side down, a moment positive to starboard. Without a plan.toml a small one is written.
    """
    made = import_readings(folder, readings, windows, displacement_t=displacement_t, bm_m=bm_m, km_m=km_m)
    if as_json:
        print_json(dataclasses.asdict(made))
        return
    kept = made.rows - made.blank - made.repeated
    click.echo(
        f"{folder}: {counted(kept, 'reading')} of {counted(len(made.stations), 'station')}, "
        f"{counted(made.windows, 'window')}, run {made.run}"
    )
    if made.left_out:
        talk(f"left out: {counted(made.blank, 'row')} without a value, {made.repeated} with a time its channel had")
        for row in made.first_left_out:
            talk(f"  {row}")
        more = made.blank + made.repeated - len(made.first_left_out)
        talk(f"  {f'and {more} more; ' if more else ''}all of them are kept in {folder / made.left_out}")
    for unit in made.rewritten:
        talk(f"unit {unit}")
    if made.unzoned:
        talk(f"{counted(made.unzoned, 'row')} without Z or an offset in the time: taken as UTC")
    for movement in made.again:
        talk(f"{movement}: the same movement again?")
    if made.empty_windows:
        talk(f"no reading of heel falls into window {', '.join(made.empty_windows)}: another day or time zone?")
    if made.plan_made:
        talk("wrote a small plan.toml; fill in what it lacks")
    for name in made.unplanned:
        talk(f"{name} is no station of the plan: its calibration is assumed")
    for line in made.needed:
        talk(line)
    if made.needed:
        talk(f"Next: mend what is needed (quietheel plan check {typed(folder)}), then quietheel reduce {typed(folder)}")
    else:
        talk(f"Next: quietheel reduce {typed(folder)}")
