"""``quietheel stations``: list, check, calibrate."""

from __future__ import annotations

import dataclasses
import datetime as dt
from pathlib import Path

import click

from config.errors import bad
from config.folder import TestFolder
from config.units import COVERAGE_95
from logger.records import Quantity, Series
from logger.stations.calibrate import KnownAngle, scale_by_angles, sine_bar, slope_angle, zero_by_reversal
from logger.stations.check import check_sign, cross_talk
from logger.stations.plan_table import write_calibration
from logger.stations.steady import SteadyMean, steady_mean
from quietheel.cli import NEEDS_A_PERSON
from quietheel.commands.common import folder_argument, folder_option, json_option, print_json, talk
from quietheel.jobs import stations as jobs


@click.group(
    "stations",
    epilog="Example:  quietheel stations list; quietheel stations check; quietheel stations calibrate zero aft",
)
def command() -> None:
    """The sensors: what is plugged in, whether each is well, which sign it has, what it truly shows."""


@command.command("list", epilog="Example:  quietheel stations list")
@folder_argument
@click.option("--seconds", type=click.FloatRange(min=0.2, max=60), default=2.0, show_default=True, help="To listen, s.")
@json_option
def list_stations(folder: Path, seconds: float, as_json: bool) -> None:
    """Serial ports and MQTT topics seen, with sample lines."""
    from logger.credentials import credentials
    from logger.service import run_logger
    from logger.stations.listing import ports_seen, topics_seen

    if not folder.is_dir():
        raise bad("command line", "DIR", folder, "a test folder; left out, the current one")
    place = TestFolder(folder)
    plan = place.plan() if place.plan_file.is_file() else None
    ports = ports_seen(seconds)
    topics = []
    problem = ""
    if plan is not None and plan.broker.url != "embedded":
        try:
            seen = run_logger(topics_seen(plan.broker, place.path, credentials(plan.broker), seconds))
            topics = seen[0]
            problem = f"{seen[1]} more topics not shown" if seen[1] else ""
        except (OSError, TimeoutError) as error:
            problem = f"broker {plan.broker.url}: {error}"
    if as_json:
        print_json(
            {
                "ports": [dataclasses.asdict(p) for p in ports],
                "topics": [dataclasses.asdict(t) for t in topics],
                "problem": problem,
            }
        )
        return
    for port in ports:
        usb = f", USB serial number {port.usb_serial}" if port.usb_serial else ""
        described = port.description if port.description not in ("", "n/a") else "no description"
        click.echo(f"{port.port}  {described}{usb}")
        for line in port.samples:
            click.echo(f"    at {port.baud} baud: {line}")
        if port.problem or not port.samples:
            click.echo(f"    {port.problem or f'nothing heard in {seconds:g} s'}")
    for topic in topics:
        click.echo(f"{topic.topic}  {topic.rate_hz:.1f} a second")
        for line in topic.samples:
            click.echo(f"    {line}")
    if not ports:
        talk("no serial port found")
    if plan is None or plan.broker.url == "embedded":
        talk("topics were not looked for: no broker is named (broker.url in plan.toml)")
    elif not topics and not problem:
        talk(f"no topic heard at {plan.broker.url} in {seconds:g} s")
    if problem:
        talk(problem)


@command.command("check", epilog="Example:  quietheel stations check --seconds 60")
@folder_argument
@click.option(
    "--seconds", type=click.FloatRange(min=2, max=3600), default=20.0, show_default=True, help="To listen, s."
)
@click.option("--sign/--no-sign", default=None, help="Ask to press the starboard side down; on at a terminal.")
@json_option
def check(folder: Path, seconds: float, sign: bool | None, as_json: bool) -> int:
    """Rate, noise, gaps, resolution and sign of every station.

    Ends with 1 where something should be seen to.
    """
    from quietheel.commands.common import interactive

    plan = TestFolder(folder).plan()
    talk(f"listening for {seconds:.0f} s; leave her alone")
    rest = jobs.listen(folder, seconds)
    found = jobs.check(rest, plan.stations)
    problems = [problem for one in found for problem in one.problems]
    if not as_json:
        for one in found:
            if one.readings == 0:
                click.echo(f"{one.station:<16} {one.quantity:<15} nothing came")
                continue
            click.echo(
                f"{one.station:<16} {one.quantity:<15} {one.rate_hz:7.2f} Hz  mean {one.mean:+9.4f} {one.unit}  "
                f"noise {one.noise:.4f}  resolution {one.resolution:.4f}"
            )
    signs: list[str] = []
    if (interactive() and not as_json) if sign is None else sign:
        click.pause("now press or step the starboard side down and hold it there, then press a key", err=True)
        pressed = {(s.station, s.quantity): s for s in jobs.listen(folder, seconds)}
        signs, more = _signs(rest, pressed)
        problems += more
    if as_json:
        print_json({"channels": [dataclasses.asdict(one) for one in found], "signs": signs, "problems": problems})
    else:
        for line in signs:
            click.echo(line)
        for problem in problems:
            click.secho(f"see to: {problem}", fg="yellow")
        if not problems:
            click.secho("all stations are well", fg="green")
    return NEEDS_A_PERSON if problems else 0


def _signs(rest: tuple[Series, ...], pressed: dict[tuple[str, Quantity], Series]) -> tuple[list[str], list[str]]:
    says, problems = [], []
    by_channel = {(s.station, s.quantity): s for s in rest}
    for (station, quantity), before in by_channel.items():
        during = pressed.get((station, quantity))
        if quantity is not Quantity.HEEL or during is None or len(before) < 4 or len(during) < 4:
            continue
        sign = check_sign(before, during)
        says.append(sign.says)
        if sign.right is not True:
            problems.append(sign.says)
        trims = by_channel.get((station, Quantity.TRIM)), pressed.get((station, Quantity.TRIM))
        if trims[0] is not None and trims[1] is not None:
            says.append(cross_talk(before, during, trims[0], trims[1]).says)
    return says, problems


@command.group("calibrate", epilog="Example:  quietheel stations calibrate zero aft --pairs 3")
def calibrate() -> None:
    """Zero by face reversal, scale by known angles; the result with its interval goes into the plan."""


@calibrate.command("zero", epilog="Example:  quietheel stations calibrate zero aft --pairs 3")
@click.argument("station")
@click.option("--pairs", type=click.IntRange(1, 20), default=3, show_default=True, help="Of faces read.")
@click.option(
    "--seconds", type=click.FloatRange(min=2, max=600), default=15.0, show_default=True, help="Each reading, s."
)
@click.option("--by", default="", help="Who does it.")
@folder_option
def zero(station: str, pairs: int, seconds: float, by: str, folder: Path) -> None:
    """Face reversal: read as mounted, turn by 180 degrees about the vertical, read again; on any firm surface."""
    jobs.readable(TestFolder(folder).plan(), (station,))  # before anybody turns anything
    taken = []
    for number in range(1, pairs + 1):
        click.pause(f"pair {number}: set {station} down as mounted, then press a key", err=True)
        one = _indicated(folder, station, seconds)
        click.pause("turn it by 180 degrees on the same spot, then press a key", err=True)
        taken.append((one, _indicated(folder, station, seconds)))
    found = zero_by_reversal(taken)
    click.echo(found.says)
    _write(folder, station, by, {"zero_deg": found.zero_deg, "zero_u95_deg": found.u95_deg})


@calibrate.command("scale", epilog="Example:  quietheel stations calibrate scale aft --bar-mm 200")
@click.argument("station")
@click.option(
    "--bar-mm", type=click.FloatRange(min=10), default=None, help="Sine bar of this length; asks for heights."
)
@click.option("--bar-u95-mm", type=click.FloatRange(min=0), default=0.05, show_default=True, help="Of its length.")
@click.option("--slope", is_flag=True, help="Machinist's level: asks for mm per m.")
@click.option(
    "--angle-u95",
    type=click.FloatRange(min=0),
    default=None,
    help="Of each angle typed, degrees; of each height or slope in its unit.",
)
@click.option(
    "--seconds", type=click.FloatRange(min=2, max=600), default=15.0, show_default=True, help="Each reading, s."
)
@click.option("--by", default="", help="Who does it.")
@folder_option
def scale(
    station: str,
    bar_mm: float | None,
    bar_u95_mm: float,
    slope: bool,
    angle_u95: float | None,
    seconds: float,
    by: str,
    folder: Path,
) -> None:
    """Known angles: by a sine bar and gauge blocks, by a level, or typed in degrees. An empty answer ends.

    At least two different angles; three or more show whether the station is straight.
    """
    jobs.readable(TestFolder(folder).plan(), (station,))
    asks = "height under the bar, mm" if bar_mm else "slope, mm per m" if slope else "true angle, degrees"
    angles = []
    while True:
        text = click.prompt(f"{asks} (empty to end)", default="", show_default=False, err=True)
        if not text:
            break
        try:
            typed = float(text.replace(",", "."))
        except ValueError:
            talk("a number, please")
            continue
        if bar_mm:
            true, u = sine_bar(typed, bar_mm, angle_u95 if angle_u95 is not None else 0.005)
        elif slope:
            true, u = slope_angle(typed, angle_u95 if angle_u95 is not None else 0.05)
        else:
            true, u = typed, (angle_u95 if angle_u95 is not None else 0.005) / COVERAGE_95
        angles.append(KnownAngle(true, u, _indicated(folder, station, seconds)))
    common = 100.0 * bar_u95_mm / COVERAGE_95 / bar_mm if bar_mm else 0.0
    found = scale_by_angles(angles, common)
    click.echo(found.says)
    _write(folder, station, by, {"scale": found.scale, "scale_u95_percent": found.u95_percent})


def _indicated(folder: Path, station: str, seconds: float) -> SteadyMean:
    talk(f"reading {station} for {seconds:.0f} s")
    heard = [s for s in jobs.listen(folder, seconds, [station]) if s.quantity is Quantity.HEEL]
    return steady_mean(heard[0].value if heard else [])


def _write(folder: Path, station: str, by: str, values: dict[str, float]) -> None:
    stamp: dict[str, str | float | int | dt.date] = {"made_on": dt.datetime.now(dt.UTC).date()}
    if by:
        stamp["made_by"] = by
    write_calibration(TestFolder(folder).plan_file, station, {**stamp, **values})
    click.echo(f"plan.toml: calibration of {station} written")
