"""Where bytes from outside come in: each door takes any bytes and raises nothing but what it says."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from fuzz import SEEDS, checked, stations

from config.csvtext import decode
from config.errors import BadInput
from config.hull_tables import parse_hydrostatics, parse_kn, parse_offsets, parse_tank
from config.load import parse_settings
from config.plan import MusterStation, Person, Plan, Sequence, Weight
from config.sequence import movements
from config.shifts_table import parse_shifts
from config.stations import Station
from config.survey_table import parse_survey
from config.waterline_table import parse_density, parse_waterline
from logger.archive.layout import run_info
from logger.byte_queue import Chunk
from logger.daystate import state_of_day
from logger.events import Event, EventLog, check
from logger.intake import Intake
from quietheel.page.marking import Marker, marks_section

Door = Callable[[bytes], None]
HOST_NS = 1_904_978_527_000_000_000
TABLES = (
    parse_survey,
    parse_shifts,
    parse_waterline,
    parse_density,
    parse_hydrostatics,
    parse_kn,
    parse_offsets,
    parse_tank,
)


def plan() -> Plan:
    """A plan that gives every kind of mark something to name."""
    weights = tuple(
        Weight(name=name, mass_t=2.0, port_m=(10, -4, 5), starboard_m=(10, 4, 5)) for name in ("A", "B", "C", "D")
    )
    pendulum = Station(name="pendulum", kind="pendulum", length_m=4.5)
    return Plan(
        stations=(pendulum,),
        weights=weights,
        sequence=Sequence(standard="four_weights_eight_movements"),
        muster_stations=(MusterStation(name="office", position_m=(20, 0, 6)),),
        people=(Person(name="mate", muster_station="office"),),
    )


def station_door(station: Station) -> Door:
    """Framing and decoding: the first byte says where the rest is cut in two, and what happens between."""

    def feed(data: bytes) -> None:
        intake = Intake(station, "fuzz")
        what, rest = (data[0], data[1:]) if data else (0, b"")
        cut = (what >> 2) * len(rest) // 63
        checked(intake, Chunk(rest[:cut], 0), HOST_NS)
        checked(intake, Chunk(rest[cut:], 0, 17 * (what & 1), what & 1, bool(what & 2)), HOST_NS + 20_000_000)

    return feed


def settings_door(data: bytes) -> None:
    """The bytes of a plan.toml."""
    try:
        movements(parse_settings(decode(data, "plan.toml"), Plan))
    except BadInput as error:
        str(error).encode("utf-8", "replace")


def tables_door(data: bytes) -> None:
    """The bytes of each table; the first one says which."""
    try:
        TABLES[data[0] % len(TABLES) if data else 0](decode(data[1:], "table.csv"), "table.csv")
    except BadInput as error:
        str(error).encode("utf-8", "replace")


def marks_door(folder: Path) -> Door:
    """The bytes of an events.jsonl: what stands in it is a mark or a fault, and the day has a state."""
    log, the_plan = EventLog(folder), plan()

    def read(data: bytes) -> None:
        log.path.write_bytes(data)
        events = log.read()
        log.verify()
        state_of_day(events, the_plan)
        json.dumps(marks_section(events))

    return read


class _Unwritten(EventLog):
    """Checks a mark as the real one does, and writes nothing."""

    def append(self, kind: str, by: str, data: Mapping[str, Any] | None = None, at_ns: int | None = None) -> Event:
        """See `EventLog.append`."""
        return Event(1, HOST_NS, kind, by, check(kind, by, dict(data or {})))


def press_door(data: bytes) -> None:
    """The body of a mark made on the live page."""
    try:
        body = json.loads(data)
    except (ValueError, RecursionError):
        return
    if not isinstance(body, dict):
        return
    try:
        Marker(_Unwritten(Path()), plan()).mark(body)
    except BadInput as error:
        str(error).encode("utf-8", "replace")


def run_door(folder: Path) -> Door:
    """The bytes of start and stop record, a zero byte between."""

    def read(data: bytes) -> None:
        start, _, stop = data.partition(b"\0")
        (folder / "start.json").write_bytes(start)
        (folder / "stop.json").write_bytes(stop)
        run_info(folder)

    return read


def doors(folder: Path) -> dict[str, Door]:
    """Every door by name; ``folder`` is scratch space."""
    found = {station.name: station_door(station) for station in stations()}
    found |= {"plan.toml": settings_door, "tables": tables_door, "press": press_door}
    return found | {"events.jsonl": marks_door(folder), "records": run_door(folder)}


def _line(kind: str, data: object) -> bytes:
    entry = {"number": 1, "at": "", "at_ns": HOST_NS, "kind": kind, "by": "mate", "data": data, "entered_ns": 1}
    return json.dumps(entry | {"before": "0" * 64}).encode() + b"\n"


MARKS: tuple[tuple[str, dict[str, Any]], ...] = (
    ("gangway", {"state": "pulled"}),
    ("movement", {"movement": "1"}),
    ("window_open", {"movement": "1", "moment_tm": 3.5}),
    ("window_close", {"window": "1"}),
    ("confirm", {"what": ["lines"], "window": "1"}),
    ("void", {"event": 1, "reason": "tug"}),
    ("void", {"window": "1", "reason": "tug"}),
    ("note", {"text": "calm"}),
    ("people", {"person": "mate", "position_m": [1, 2, 3], "mass_kg": 80}),
    ("people", {"person": "guest", "ashore": True}),
    ("reading", {"station": "pendulum", "deflections_mm": [1, 2], "zero_mm": 0, "one_leg": False}),
    ("density", {"value_kg_m3": 1025, "place": "aft", "depth_m": 2}),
    ("waterline", {"mark": "aft", "kind": "draught", "value_m": 3.2}),
    ("overrule", {"window": "1", "verdict": "fine", "reason": "seen"}),
)
PRESS = {"press": "7", "kind": "reading", "by": "mate", "label": "1", "what": "lines", "text": "143 151,5", "event": 3}
PLAN = """[vessel]
displacement_t = 2000.0
[[stations]]
name = "aft"
dialect = "nmea"
source = {type = "serial", port = "COM4"}
channels = [{quantity = "heel", field = "ROLL"}]
  [stations.calibration]
  range_deg = 10.0
[[weights]]
name = "A"
mass_t = 2.0
port_m = [10, -4, 5]
starboard_m = [10, 4, 5]
[[movements]]
label = "1"
to_starboard = ["A"]
"""
START = b"""{"run":"r","started_ns":1,"channels":[{"station":"aft","quantity":"heel","unit":"deg"}]}\0\
{"stopped_ns":2,"reason":"end","segments":[{"file":"readings-0001.parquet","rows":1,"sha256":"0"}],\
"sha256":{"start.json":"0"}}"""
_TABLE_SEEDS = (
    b"item,space,action,mass_t,x_m,y_m,z_m\nchain,fore,off,1.5,1,0,2\n",
    b"what,group,windows,mass_t,x_m,y_m,z_m,to_x_m,to_y_m,to_z_m\nboom,crane,3 4,1.5,10,0,8,10,0.1,8\n",
    b"sep=;\nmark;kind;x_m;y_m;reading_m;zero_z_m\naft;draught;2,5;1;3,25;0\n",
    b"sample,place,depth_m,hydrometer_kg_m3,sample_temperature_c\nA,aft,2,1025.1,11\n",
    b"draught_m,trim_m,displacement_t,lcb_m,kb_m,lcf_m,km_m\n3,0,1900,20,1.5,20,5.1\n3.5,0,2200,20,1.8,20,5\n",
    b"displacement_t,heel_deg,kn_m\n900,0,0\n900,2,0.17\n1100,0,0\n1100,2,0.16\n",
    b"x_m,z_m,half_breadth_m\n0,0,1\n0,1,2\n",
    b"sounding_m,volume_m3,x_m,y_m,z_m,free_surface_m4\n0,0,15,0,1.5,0\n1,12,15,0,2,16\n",
)


def seeds() -> dict[str, list[bytes]]:
    """Good bytes for each door."""
    lines = [_line(kind, data) for kind, data in MARKS]
    found = {station.name: [bytes([what]) + seed for seed in SEEDS for what in (0, 131)] for station in stations()}
    found["plan.toml"] = [PLAN.encode()]
    found["tables"] = [bytes([number]) + text for number, text in enumerate(_TABLE_SEEDS)]
    presses: list[dict[str, Any]] = [PRESS | {"kind": kind} for kind, _ in MARKS]
    found["press"] = [json.dumps(body).encode() for body in presses]
    found["events.jsonl"] = [*lines, b"".join(lines)]
    found["records"] = [START]
    return found
