"""A small test day written straight into a folder: for the live page's tests, its browser test and its bench.

One vessel, the customary nine states of four weights, tilt stations, an anemometer and a load cell. The motion is
plain: a settled heel for each state, a decaying roll after each movement, slow wandering, white noise.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from config.load import load_plan
from logger.archive.writer import RunWriter
from logger.events import EventLog
from logger.records import Channel, Quantity, Reading

START_NS = 1_905_062_400_000_000_000  # 2030-05-15 08:00 UTC
STATE_S = 240.0
OPENS_S, CLOSES_S = 100.0, 180.0
DISPLACEMENT_T, GM_M, BM_M = 1150.0, 1.1, 3.1
LABELS = [str(n) for n in range(9)]
_SIGNS = [0, 0.5, 1, 0.5, 0, -0.5, -1, -0.5, 0]
NAMES = ("aft", "midship", "forward", "bridge", "engine room", "tunnel")

PLAN = """
[test]
name = "stability test"
place = "outfitting quay, berth 2"
utc_offset_h = 2.0

[vessel]
name = "Merrowby"
type = "offshore"
length_m = 48.0
breadth_m = 11.0
displacement_t = 1150.0
displacement_u95_t = 6.0
estimated_gm_m = 1.1
estimated_period_s = 8.0

[hydrostatics]
source = "values"
bm_m = 3.1
km_m = 5.5

{stations}
[[stations]]
name = "pendulum"
kind = "pendulum"
length_m = 4.5
reading_u95_mm = 1.0

[[stations]]
name = "mast"
kind = "anemometer"
source = {{ type = "mqtt", topic = "mast" }}
dialect = "json"
rate_hz = 1
channels = [{{ quantity = "wind_speed", field = "speed" }}, {{ quantity = "wind_direction", field = "direction" }}]

[[stations]]
name = "breast line"
kind = "load_cell"
mooring_line = "forward breast"
source = {{ type = "mqtt", topic = "line" }}
dialect = "json"
rate_hz = 1
channels = [{{ quantity = "line_tension", field = "tension" }}]

{weights}
[sequence]
standard = "four_weights_eight_movements"

[[muster_stations]]
name = "wheelhouse"
position_m = [30.0, 0.0, 9.0]
[[muster_stations]]
name = "main deck aft"
position_m = [8.0, 3.0, 5.0]
[[people]]
name = "coordinator"
muster_station = "wheelhouse"
[[people]]
name = "mate"
duty = "lines"
mass_kg = 80
muster_station = "main deck aft"
[[people]]
name = "<b>witness</b>"
muster_station = "wheelhouse"

[[schedule]]
at = 09:30:00
what = "walk-through of every space"
[[schedule]]
at = 10:00:00
what = "gangway pulled, movements"
[[schedule]]
at = 11:00:00
what = "gangway back, draughts again"

[settings]
window_s = 80.0
"""

STATION = """
[[stations]]
name = "{name}"
kind = "inclinometer"
position_m = [{x}, 0.0, 6.0]
source = {{ type = "mqtt", topic = "{name}" }}
dialect = "json"
rate_hz = {rate}
channels = [{{ quantity = "heel", field = "heel", unit = "deg" }}]
  [stations.calibration]
  scale_u95_percent = 0.1
  drift_u95_deg_per_h = 0.001
"""

WEIGHT = """
[[weights]]
name = "{name}"
mass_t = 2.5
mass_u95_kg = 3.0
start = "{start}"
port_m = [{x}, -4.2, 6.0]
starboard_m = [{x}, 4.2, 6.0]
position_u95_m = 0.005
"""


@dataclass(frozen=True)
class Made:
    """What was made."""

    folder: Path
    start_ns: int
    stop_ns: int
    gm_m: float


def plan_text(stations: int = 3, rate: float = 10.0) -> str:
    """The plan with so many tilt stations."""
    tilts = "".join(STATION.format(name=n, x=6 + 7 * i, rate=rate) for i, n in enumerate(NAMES[:stations]))
    weights = "".join(
        WEIGHT.format(name=i + 1, x=20 + 2 * i, start="port" if i in (1, 3) else "starboard") for i in range(4)
    )
    return PLAN.format(stations=tilts, weights=weights)


def heel_at(time: np.ndarray, states: int = 9, seed: int = 1) -> np.ndarray:
    """Heel, deg, at times in s from the start."""
    rng = np.random.default_rng(seed)
    most = 2.5 * 4.2 * 2 * 2  # two weights across, t m
    # From state 3 on the mate stands in the wheelhouse, as the marks say.
    moments = [most * sign - (0.24 if n >= 3 else 0.0) for n, sign in enumerate(_SIGNS[:states])]
    level = np.array([math.degrees(_wall_sided(moment)) for moment in moments])
    state = np.minimum((time // STATE_S).astype(int), states - 1)
    into = time - state * STATE_S
    before = level[np.maximum(state - 1, 0)]
    share = np.clip((into - 10.0) / 40.0, 0.0, 1.0)
    heel = before + (level[state] - before) * share
    after = np.maximum(into - 50.0, 0.0)
    heel += 0.18 * np.exp(-after * 0.06 * 2 * math.pi / 8.0) * np.sin(2 * math.pi * time / 8.0) * (into > 5)
    heel += 0.006 * np.sin(2 * math.pi * time / 8.05) * np.sin(2 * math.pi * time / 171.0)
    slow = sum(0.0012 * np.sin(2 * math.pi * time / period + rng.uniform(0, 6.28)) for period in (31, 47, 83, 140))
    return heel + slow


def _wall_sided(moment_tm: float) -> float:
    tangent = moment_tm / (DISPLACEMENT_T * GM_M)
    for _ in range(20):
        tangent = moment_tm / DISPLACEMENT_T / (GM_M + 0.5 * BM_M * tangent**2)
    return math.atan(tangent)


class At:
    """A clock set by hand."""

    def __init__(self, ns: int) -> None:
        self.ns = ns

    def utc_ns(self) -> int:
        """UTC, ns."""
        return self.ns


def make_day(
    folder: Path, *, stations: int = 3, rate: float = 10.0, states: int = 9, marks: bool = True, repeat: int = 1
) -> Made:
    """Write plan, record and, if asked for, marks."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "plan.toml").write_text(plan_text(stations, rate), encoding="utf-8")
    load_plan(folder / "plan.toml")
    names = NAMES[:stations]
    span = states * STATE_S * repeat
    channels = [Channel(name, Quantity.HEEL, "deg", f"mqtt:{name}") for name in names]
    channels += [
        Channel("mast", Quantity.WIND_SPEED, "m/s", "mqtt:mast"),
        Channel("mast", Quantity.WIND_DIRECTION, "deg", "mqtt:mast"),
        Channel("breast line", Quantity.LINE_TENSION, "kN", "mqtt:line"),
    ]
    clock = At(START_NS)
    writer = RunWriter(folder / "record", channels, "", clock)
    writer.start()
    for part in range(repeat):
        for readings in _minutes(names, rate, states, part):
            clock.ns = readings[-1].host_ns
            writer.append(readings)
            writer.flush(sync=False)
    clock.ns = START_NS + int(span * 1e9)
    writer.stop("end of the day")
    if marks:
        mark_day(folder, states)
    return Made(folder, START_NS, clock.ns, GM_M)


def _minutes(names: tuple[str, ...], rate: float, states: int, part: int):  # type: ignore[no-untyped-def]
    rng = np.random.default_rng(7 + part)
    offsets = dict(zip(names, (0.031, -0.044, 0.012, 0.06, -0.02, 0.005), strict=False))
    numbers: dict[tuple[str, Quantity], int] = {}
    begin = part * states * STATE_S
    for minute in range(int(states * STATE_S // 60)):
        rows: list[tuple[float, str, Quantity, float]] = []
        for k, name in enumerate(names):
            time = np.arange(60 * rate) / rate + minute * 60.0 + 0.003 * k
            heel = heel_at(time, states) + offsets[name] + rng.normal(0, 0.004, time.size)
            rows += [(t, name, Quantity.HEEL, v) for t, v in zip(time + begin, heel, strict=True)]
        seconds = minute * 60.0 + np.arange(60.0)
        speed = 3.0 + 0.8 * np.sin(seconds / 37.0) + rng.normal(0, 0.3, 60)
        rows += [(t, "mast", Quantity.WIND_SPEED, max(v, 0.0)) for t, v in zip(seconds + begin, speed, strict=True)]
        rows += [(t + 0.001, "mast", Quantity.WIND_DIRECTION, 70.0) for t in seconds + begin]
        rows += [
            (t + 0.01, "breast line", Quantity.LINE_TENSION, 0.2 + abs(rng.normal(0, 0.05))) for t in seconds + begin
        ]
        rows.sort()
        readings = []
        for t, station, quantity, value in rows:
            number = numbers.get((station, quantity), part * 10_000_000)
            numbers[station, quantity] = number + 1
            readings.append(
                Reading(station, quantity, START_NS + round(t * 1e9), None, float(round(value, 4)), "", sequence=number)
            )
        yield readings


def mark_day(folder: Path, states: int = 9) -> None:
    """Mark the day as a careful crew would."""
    log = EventLog(folder, At(START_NS))

    def at(seconds: float) -> int:
        return START_NS + round(seconds * 1e9)

    log.append("gangway", "mate", {"state": "pulled"}, at(20))
    for n in range(states):
        begin = n * STATE_S
        if n:
            log.append("movement", "technician", {"movement": LABELS[n]}, at(begin + 52))
        log.append("confirm", "mate", {"what": ["lines", "clear"]}, at(begin + 80))
        log.append("confirm", "technician", {"what": ["muster", "crane", "quiet"]}, at(begin + 95))
        log.append("window_open", "technician", {"movement": LABELS[n]}, at(begin + OPENS_S))
        if n == 3:
            log.append("people", "mate", {"person": "mate", "place": "wheelhouse"}, at(begin + 60))
        log.append("window_close", "technician", {"window": LABELS[n]}, at(begin + CLOSES_S))
