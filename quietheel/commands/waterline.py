"""``quietheel waterline``."""

from __future__ import annotations

import dataclasses
import math
from pathlib import Path

import click

from quietheel.cli import NEEDS_A_PERSON
from quietheel.commands.common import folder_argument, json_option, print_json, talk
from quietheel.jobs.waterline import waterline
from reduction.types import Quantified


@click.command("waterline", epilog="Example:  quietheel waterline demo-day")
@folder_argument
@json_option
def command(folder: Path, as_json: bool) -> int:
    """Fit all draughts and freeboards at once: mean, trim, list, hog, displacement; names readings that look misread.

    Ends with 1 where a reading looks misread.
    """
    answer = waterline(folder)
    found, floating = answer.waterline.value, answer.floating.value
    if as_json:
        print_json(
            {
                "waterline": dataclasses.asdict(found) if found else None,
                "floating": dataclasses.asdict(floating) if floating else None,
                "assumptions": answer.assumptions,
                "missing": answer.missing,
            }
        )
        return 0
    if found is None:
        talk(answer.waterline.reason)
        return NEEDS_A_PERSON
    for name, value in (
        ("draught amidships", found.mean_draught),
        ("draught aft", found.draught_aft),
        ("draught forward", found.draught_forward),
        ("trim by the stern", found.trim),
        ("hog", found.hog),
    ):
        click.echo(f"{name:<20} {_with_interval(value, 1.0, 'm', 3)}")
    click.echo(f"{'list to starboard':<20} {_with_interval(found.list, 180.0 / math.pi, '°', 2)}")
    click.echo(f"{'water':<20} {_with_interval(found.density, 1.0, 'kg/m3', 1)}")
    if answer.displacement.value is not None and floating is not None:
        click.echo(f"{'displacement':<20} {_with_interval(answer.displacement.value, 1e-3, 't', 1)}, {floating.source}")
    if floating is not None:
        click.echo(f"{'KM':<20} {floating.km:.3f} m")
    misread = [reading for reading in found.readings if not reading.used]
    for reading in found.readings:
        flag = click.style(f"  left out: {reading.says}", fg="yellow") if not reading.used else ""
        click.echo(f"  {reading.label:<28} {reading.reading:7.3f} m  off by {1000 * reading.residual:+6.1f} mm{flag}")
    for note in answer.assumptions:
        talk(f"assumed: {note}")
    return NEEDS_A_PERSON if misread else 0


def _with_interval(value: Quantified, factor: float, unit: str, decimals: int) -> str:
    return f"{value.value * factor:.{decimals}f} ± {value.u95() * factor:.{decimals}f} {unit}"
