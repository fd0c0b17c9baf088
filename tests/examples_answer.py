"""Answers to build pages and reports on: `example_answer` (whole folder) and `minimal_answer` (GM alone).

The vessel is Merrowby, invented: 48 m, about 1150 t. Her hull here is a formula, her day a formula plus seeded noise,
so that no recording is needed. Window 3 is spoilt by a person walking, window 6 by a taut line.

Use from a test:  ``from tests.examples_answer import example_answer`` (pytest has the root of the project on its path).
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from config.csvtext import write_table
from config.hull_tables import OFFSETS_COLUMNS, OffsetsTable, parse_hydrostatics, parse_offsets
from config.plan import Plan
from config.survey_table import parse_survey
from config.tables import Tables
from config.waterline_table import parse_density, parse_waterline
from dsp.types import BudgetLine, Check, DayHeel, RollMotion, StationHeel, WindowHeel, WindowSpan
from reduction.day import reduce_day
from reduction.gm.curve import from_kn, heel_at
from reduction.inputs import DayInputs
from reduction.moments import planned_states
from reduction.types import Answer, Provenance
from reduction.water.afloat import Afloat
from reduction.water.hull import make_hull
from reduction.water.hydrostatics import FromOffsets

LENGTH, BREADTH, DEPTH = 48.0, 11.0, 5.4
EPOCH_NS = 1_936_512_000_000_000_000
TRUE_KG = 3.72
"""m, as inclined, liquids as solid; first state of the weights."""
DRAUGHT, TRIM, LIST, HOG, DENSITY = 3.10, 0.30, math.radians(0.12), 0.008, 1022.0

SURVEY = """item,space,action,mass_t,x_m,y_m,z_m,mass_u95_t,position_u95_m,to_x_m,to_y_m,to_z_m,surveyed_by,confirmed
scaffolding,engine room,off,1.20,14.0,0.5,3.5,0.10,0.3,,,,naval architect,yes
welding gear and bottles,after deck,off,0.85,8.0,-2.0,6.1,0.05,0.2,,,,technician,yes
rescue boat,boat deck,on,1.10,21.0,3.8,9.2,0.02,0.1,,,,naval architect,yes
galley stores,galley,off,0.40,30.0,1.0,6.8,0.10,0.5,,,,technician,yes
spare anchor chain,after deck,move,2.00,10.0,0.0,6.0,0.05,0.2,44.0,0.0,4.0,naval architect,yes
forepeak store,forepeak,not surveyed,,,,,,,,,,,
"""
SAMPLES = """sample,place,depth_m,hydrometer_kg_m3,sample_temperature_c,calibration_temperature_c,water_temperature_c
1,forward,1.5,1022.1,14.0,15.0,11.0
2,amidships,1.5,1021.4,14.0,15.0,11.0
3,aft,1.5,1021.6,14.0,15.0,11.0
"""


def offsets() -> OffsetsTable:
    """Merrowby's hull: parallel middle body, fine ends, rounded bilge, flat bottom amidships."""
    rows = []
    for x in np.linspace(0.0, LENGTH, 33):
        s = 2.0 * x / LENGTH - 1.0
        fullness = 1.0 - max(0.0, (abs(s) - 0.2) / 0.8) ** 2.4 * (0.97 if s > 0 else 0.45)
        rise = 0.25 + (1.1 if s > 0 else 1.5) * max(0.0, abs(s) - 0.3) ** 2
        for z in np.linspace(0.0, DEPTH, 28):
            half = BREADTH / 2 * fullness * min(1.0, (z / (rise + 1.2)) ** (0.28 + 0.3 * abs(s) ** 2))
            rows.append({"x_m": round(float(x), 4), "z_m": round(float(z), 4), "half_breadth_m": round(float(half), 5)})
    return parse_offsets(write_table(OFFSETS_COLUMNS, rows))


def hydrostatics_text() -> str:
    """Hydrostatic table of the same hull, even keel, in steps of 0.1 m."""
    source = FromOffsets(make_hull(offsets(), LENGTH))
    lines = ["draught_m,displacement_t,lcb_m,kb_m,lcf_m,km_m,bm_m,kml_m,tpc_t_per_cm,mct_tm_per_cm"]
    for draught in np.arange(2.0, 4.51, 0.1):
        f = source.at(Afloat(float(draught), density=1025.0))
        figures = (f.lcb, f.kb, f.lcf, f.km, f.bm, f.kml, f.tpc / 1e5, f.mct / 1e5)
        lines.append(f"{draught:.2f},{f.displacement / 1e3:.3f}," + ",".join(f"{v:.4f}" for v in figures))
    return "\n".join(lines) + "\n"


def plan(**changes: object) -> Plan:
    """Merrowby's plan."""
    weights = [
        {
            "name": str(n + 1),
            "mass_t": 5.0,
            "mass_u95_kg": 6.0,
            "certificate": f"W-{n + 1}",
            "start": "starboard" if n % 2 == 0 else "port",
            "port_m": (18.0 + 2 * n, -4.0, 6.0),
            "starboard_m": (18.0 + 2 * n, 4.0, 6.0),
            "position_u95_m": 0.01,
        }
        for n in range(4)
    ]
    table: dict[str, object] = {
        "test": {"name": "Merrowby stability test", "place": "outfitting quay", "approving_body": "the administration"},
        "vessel": {
            "name": "Merrowby",
            "type": "cargo",
            "length_m": LENGTH,
            "breadth_m": BREADTH,
            "depth_m": DEPTH,
            "displacement_t": 1150.0,
            "lightship": {"mass_t": 1139.0, "vcg_m": 3.76, "lcg_m": 22.3, "source": "builder's estimate"},
        },
        "hydrostatics": {"source": "table", "displacement_u95_percent": 0.3, "km_u95_percent": 0.2},
        "stations": [
            {"name": "aft", "position_m": (6.0, 0.0, 6.5), "dialect": "nmea"},
            {"name": "midships", "position_m": (24.0, 0.0, 4.0), "dialect": "json"},
            {"name": "forward", "position_m": (40.0, 0.0, 6.0), "dialect": "lines"},
            {"name": "pendulum", "kind": "pendulum", "length_m": 5.0, "position_m": (24.0, 0.0, 3.0)},
        ],
        "weights": weights,
        "sequence": {"standard": "four_weights_eight_movements"},
        "muster_stations": [{"name": "wheelhouse", "position_m": (30.0, 0.0, 9.0)}],
        "people": [{"name": n, "muster_station": "wheelhouse"} for n in ("master", "mate", "technician")],
        "tanks": [
            {
                "name": "fuel day tank",
                "contents": "fuel oil",
                "density_kg_m3": 845.0,
                "state": "slack",
                "sounding_m": 1.0,
                "length_m": 3.0,
                "breadth_m": 4.0,
                "height_m": 2.0,
                "position_m": (15.0, 0.0, 2.5),
            },
            {
                "name": "ballast forepeak",
                "contents": "ballast water",
                "density_kg_m3": 1025.0,
                "state": "full",
                "mass_t": 22.0,
                "position_m": (45.0, 0.0, 2.4),
            },
        ],
        "limits": {
            "conditions": [
                {"name": "departure, deck cargo", "mass_t": 420.0, "vcg_m": 4.0, "free_surface_tm": 60.0}
                | {"allowable_kg_m": 4.15},
                {"name": "arrival, 10 % stores", "mass_t": 150.0, "vcg_m": 3.6, "free_surface_tm": 45.0}
                | {"allowable_kg_m": 3.765},
            ]
        },
        "settings": {"monte_carlo_draws": 20000},
    }
    table.update(changes)
    return Plan.model_validate(table)


def readings_text(hull: FromOffsets) -> str:
    """Draught marks and freeboards of the true waterline, with a centimetre of noise and one misread mark."""
    rng = np.random.default_rng(5)
    at = true_afloat()
    lines = ["mark,kind,x_m,y_m,reading_m,reading_u95_m,zero_z_m"]
    for name, x, half in (("aft", 2.0, 3.2), ("amidships", 24.0, 5.5), ("forward", 46.0, 0.9)):
        for side, y in (("port", -half), ("starboard", half)):
            z = float(at.level(np.array([x]), LENGTH)[0]) + y * math.tan(at.list) + 0.005 * rng.standard_normal()
            read = z + (0.20 if (name, side) == ("forward", "port") else 0.0)
            lines.append(f"{name} {side},draught,{x},{y},{read:.3f},0.01,0")
    for x in (8.0, 16.0, 24.0, 32.0, 40.0):
        for side, y in (("port", -5.3), ("starboard", 5.3)):
            z = float(at.level(np.array([x]), LENGTH)[0]) + y * math.tan(at.list) + 0.005 * rng.standard_normal()
            lines.append(f"freeboard {x:g} {side},freeboard,{x},{y},{DEPTH - z:.3f},0.01,{DEPTH}")
    return "\n".join(lines) + "\n"


def true_afloat() -> Afloat:
    """Where Merrowby floats."""
    return Afloat(DRAUGHT, TRIM, LIST, HOG, DENSITY)


def tables() -> Tables:
    """Every table of Merrowby's folder."""
    drawn = offsets()
    return Tables(
        hydrostatics=parse_hydrostatics(hydrostatics_text()),
        offsets=drawn,
        survey=parse_survey(SURVEY),
        waterline=parse_waterline(readings_text(FromOffsets(make_hull(drawn, LENGTH)))),
        density=parse_density(SAMPLES),
        inputs=(("hydrostatics.csv", "0" * 64), ("offsets.csv", "1" * 64), ("survey.csv", "2" * 64)),
    )


def day(plan_: Plan, *, noise_deg: float = 0.002, seed: int = 11, spoilt: bool = True) -> DayHeel:
    """Heels of the nine windows: true curve of the hull plus noise; windows 3 and 6 spoilt."""
    rng = np.random.default_rng(seed)
    hull = FromOffsets(make_hull(offsets(), LENGTH))
    at = true_afloat()
    floating = hull.at(at)
    free = 845.0 * 3.0 * 4.0**3 / 12.0
    gm = floating.km - TRUE_KG - free / floating.displacement
    form = from_kn(hull.kn(at))
    states = list(planned_states(plan_, {}).values())
    arm = np.array([s.moment for s in states]) / floating.displacement
    tcg = gm * math.tan(LIST) - arm[0]
    heel = heel_at(arm, gm, tcg, form) + np.radians(noise_deg) * rng.standard_normal(arm.size)
    u = math.radians(noise_deg)
    windows = []
    for i, state in enumerate(states):
        verdict, value = "fine", float(heel[i])
        reasons: tuple[str, ...] = ()
        checks = [_check("drift", 0.7, "Heel drifts by 0.0004 deg in the window.", "fine")]
        if spoilt and i == 3:
            verdict, reasons, value = "rejected", ("people",), value + math.radians(0.03)
            checks.append(_check("people", 6.1, "The mean heel steps by 0.031 deg at 10:42.", "rejected"))
        if spoilt and i == 6:
            verdict, reasons, value = "rejected", ("taut",), value * 0.985
            checks.append(_check("taut", 9.0, "The forward breast line carries 3.1 kN.", "rejected"))
        start = 600.0 + 720.0 * i
        confirmed = frozenset({"lines", "muster", "crane", "clear", "quiet"})
        span = WindowSpan(state.label, start, start + 150.0, start - 120.0, confirmed, confirmed, state.label)
        windows.append(
            WindowHeel(
                span=span,
                heel=value,
                u=u,
                dof=30.0,
                budget=(BudgetLine("low-frequency heel", 0.9 * u), BudgetLine("wind", 0.44 * u)),
                stations=tuple(
                    StationHeel(name, value + off, 1.2 * u, off, 1500, 10.0, True)
                    for name, off in (("aft", 2e-4), ("midships", -1e-4), ("forward", -1e-4))
                ),
                roll=RollMotion(7.9, 0.05, 0.02, 0.005, math.radians(0.08)),
                checks=tuple(checks),
                verdict=verdict,  # type: ignore[arg-type]
                reasons=reasons,
                wind_correction=math.radians(0.004),
            )
        )
    frequency = np.linspace(0.002, 0.5, 200)
    density = 1e-8 / (1 + (frequency / 0.01) ** 2) + 2e-7 / ((frequency - 0.127) ** 2 / 1e-4 + 1)
    return DayHeel(
        epoch_ns=EPOCH_NS,
        windows=tuple(windows),
        covariance=np.eye(len(windows)) * u**2 + 0.05 * u**2,
        scale_u=0.001,
        zero_u=math.radians(0.02),
        roll=RollMotion(7.9, 0.05, 0.02, 0.005, math.radians(0.08)),
        wind_coefficient=2e-6,
        wind_coefficient_u=3e-7,
        reference_wind=4.2,
        spectrum={"frequency": frequency, "density": density, "model": density},
        assumptions=("No yaw interval for station forward: 2 degrees taken.",),
        dof=60.0,
    )


def _check(code: str, value: float, says: str, verdict: str) -> Check:
    time = np.linspace(0.0, 150.0, 76)
    evidence = {"time": time, "heel": 1e-4 * np.sin(time / 9.0)}
    return Check(code, value, 3.9, "standard uncertainties", 0.002, verdict, says, evidence)  # type: ignore[arg-type]


def example_inputs() -> DayInputs:
    """Everything a full folder of Merrowby holds."""
    merrowby = plan()
    made = Provenance("0.1.0", "2031-05-14T15:10:00Z", tables().inputs, {"gm_carried": "curve"})
    return DayInputs(merrowby, day(merrowby), tables(), provenance=made)


def example_answer() -> Answer:
    """Whole answer: two windows rejected, one draught misread, one condition clear, one close to its limit."""
    return reduce_day(example_inputs())


def minimal_inputs() -> DayInputs:
    """Displacement, BM, typed moments and heels: what gives GM and nothing else."""
    whole = plan()
    bare = Plan.model_validate(
        {
            "vessel": {"name": "Merrowby", "displacement_t": 1150.0},
            "hydrostatics": {"source": "values", "bm_m": 3.2},
            "stations": [{"name": "aft", "dialect": "nmea"}],
        }
    )
    made = day(whole, spoilt=False)
    moments = {s.label: s.moment for s in planned_states(whole, {}).values()}
    windows = tuple(replace(w, span=replace(w.span, group="")) for w in made.windows)
    return DayInputs(bare, replace(made, windows=windows, zero_u=math.nan), moments=moments)


def minimal_answer() -> Answer:
    """Answer of `minimal_inputs`."""
    return reduce_day(minimal_inputs())
