"""For tests of everything printed: an invented day of the Merrowby, every part filled, two windows spoilt."""

import datetime as dt
import math

import numpy as np

from config.plan import Plan
from dsp.types import (
    BudgetLine,
    Check,
    Day,
    DayHeel,
    RollMotion,
    StationHeel,
    Trace,
    Wind,
    WindowHeel,
    WindowSpan,
)
from reduction.types import (
    Advice,
    Answer,
    AsInclined,
    Centre,
    ConditionAnswer,
    Deviation,
    Floating,
    GmResult,
    MarkReading,
    Maybe,
    Provenance,
    Quantified,
    SurveyItem,
    Waterline,
    WindowPoint,
)

EPOCH_NS = 1_905_062_400_000_000_000
DEG = math.pi / 180
MASS = 1_152_400.0
GM = 1.213
MOMENTS = [0.5, 21.5, 42.5, 21.4, 0.4, -20.6, -41.5, -20.5, 0.5]
VERDICTS = {4: ("rejected", ("people",)), 6: ("rejected", ("taut",)), 2: ("caution", ("wind",))}
STATIONS = ("aft", "forward", "bridge")


def example_plan() -> Plan:
    weights = [
        {
            "name": str(n + 1),
            "mass_t": 2.5 + 0.01 * n,
            "mass_u95_kg": 3.0,
            "certificate": f"weighbridge slip {401 + n}",
            "start": "starboard" if n % 2 == 0 else "port",
            "port_m": (20.0 + 2 * n, -4.2, 6.0),
            "starboard_m": (20.0 + 2 * n, 4.2, 6.0),
            "position_u95_m": 0.01,
        }
        for n in range(4)
    ]
    people = [("Ada North", "coordinator"), ("Bo Lindqvist", "technician"), ("Cleo Marsh", "forward lines")]
    people += [("Dov Aster", "aft lines"), ("Eli Brand", "crane"), ("Fay Quill", "witness")]
    return Plan.model_validate(
        {
            "test": {
                "name": "Merrowby",
                "date": dt.date(2030, 5, 14),
                "place": "Outfitting quay, berth 2",
                "purpose": "after conversion",
                "coordinator": "Ada North",
                "technician": "Bo Lindqvist",
                "witness": "Fay Quill",
                "approving_body": "the flag administration",
                "utc_offset_h": 2.0,
            },
            "vessel": {
                "name": "Merrowby",
                "type": "offshore",
                "length_m": 48.0,
                "breadth_m": 11.0,
                "depth_m": 5.0,
                "displacement_t": 1150.0,
                "estimated_gm_m": 1.2,
                "estimated_period_s": 8.3,
            },
            "stations": [
                {
                    "name": s,
                    "position_m": (6.0 + 15 * i, 0.0, 6.5),
                    "dialect": "nmea",
                    "source": {"type": "tcp", "host": "localhost", "port": 4001 + i},
                    "calibration": {
                        "scale_u95_percent": 0.2,
                        "certificate": f"bench {17 + i}",
                        "made_on": dt.date(2030, 4, 2),
                    },
                }
                for i, s in enumerate(STATIONS)
            ]
            + [{"name": "pendulum", "kind": "pendulum", "length_m": 4.5, "position_m": (24.0, 0.0, 4.0)}],
            "weights": weights,
            "sequence": {"standard": "four_weights_eight_movements"},
            "muster_stations": [
                {"name": "wheelhouse", "position_m": (30.0, 0.0, 9.0)},
                {"name": "aft deck", "position_m": (8.0, 0.0, 6.0)},
            ],
            "people": [
                {"name": n, "duty": d, "muster_station": "wheelhouse" if i % 2 else "aft deck", "mass_kg": 78.0}
                for i, (n, d) in enumerate(people)
            ],
            "moorings": [
                {"name": "forward breast", "kind": "breast", "side": "port", "tended_by": "Cleo Marsh"},
                {"name": "aft breast", "kind": "breast", "side": "port", "tended_by": "Dov Aster"},
            ],
            "tanks": [
                {
                    "name": "fuel day tank",
                    "contents": "fuel oil",
                    "density_kg_m3": 845,
                    "state": "slack",
                    "sounding_m": 0.85,
                },
                {"name": "fore peak", "contents": "water", "state": "empty"},
                {
                    "name": "double bottom 3",
                    "contents": "fresh water",
                    "state": "full",
                    "mass_t": 42.0,
                    "part_of": "to_stay",
                },
            ],
            "services": [
                {"name": "fresh water", "stands_in": "bottled water ashore and aboard"},
                {"name": "galley", "stands_in": "food van on the quay"},
                {"name": "toilets", "stands_in": "yard toilets, hut 4"},
            ],
            "schedule": [
                {"at": dt.time(7, 0), "what": "walk-through of every space", "who": "coordinator, witness"},
                {"at": dt.time(8, 30), "what": "draughts, freeboards, density", "who": "from the boat"},
                {"at": dt.time(9, 30), "what": "gangway out; zero", "who": "all"},
                {"at": dt.time(12, 0), "what": "gangway back; break ashore", "who": "all"},
            ],
            "limits": {
                "conditions": [
                    {"name": "departure, full deck cargo", "mass_t": 450, "vcg_m": 4.1, "allowable_kg_m": 4.95},
                ]
            },
        }
    )


def _window_start(i: int) -> float:
    return 600.0 + 780.0 * i


def example_day() -> Day:
    rng = np.random.default_rng(5)
    time = np.arange(0, 7600, 0.5)
    base = np.zeros_like(time)
    for i, m in enumerate(MOMENTS):
        base[time >= _window_start(i) - 300] = math.atan(m * 1000 / (MASS * GM))
    slow = np.cumsum(rng.normal(size=time.size)) * 2e-6
    roll = 1.2e-3 * np.sin(2 * np.pi * time / 8.3) * (1 + 0.5 * np.sin(time / 170))
    heel = []
    for i, s in enumerate(STATIONS):
        value = base + slow + roll + rng.normal(size=time.size) * 2e-4 + 1e-3 * i
        keep = np.ones(time.size, dtype=bool) if i else (time < 3000) | (time > 3200)
        heel.append(Trace(s, time[keep], value[keep]))
    wind = Wind(time[::4], np.abs(3 + np.cumsum(rng.normal(size=time[::4].size)) * 0.05))
    spans = tuple(
        WindowSpan(
            str(i),
            _window_start(i),
            _window_start(i) + 180,
            confirmed=frozenset({"lines", "muster", "crane", "clear", "quiet"} if i != 4 else {"lines", "crane"}),
            expected_confirmations=frozenset({"lines", "muster", "crane"}),
            hand_readings=(("pendulum", math.atan(m * 1000 / (MASS * GM)), 2e-4),),
        )
        for i, m in enumerate(MOMENTS)
    )
    tension = (Trace("aft breast", time[::4], np.abs(400 + 50 * rng.normal(size=time[::4].size))),)
    return Day(epoch_ns=EPOCH_NS, heel=tuple(heel), windows=spans, wind=wind, tension=tension)


def _checks(i: int) -> tuple[Check, ...]:
    verdict, codes = VERDICTS.get(i, ("fine", ()))
    time = np.linspace(_window_start(i), _window_start(i) + 180, 180)
    rng = np.random.default_rng(i)
    says = {
        "people": "The heel steps by 0.012 deg at 10:02:31, as 85 kg moving 5 m would make it.",
        "taut": "The roll period is 7.6 s against 8.3 s over the day: something stiffened her.",
        "wind": "The wind rose from 3.1 to 5.4 m/s within the window.",
    }
    made = [Check("transient", 0.4, 3.1, "", 0.002, "fine", "Nothing decays at the start.")]
    for code in codes:
        curve = rng.normal(size=180) * 3e-5
        step = np.where(time > time[90], 2e-4, 0.0)
        made.append(
            Check(
                code,
                5.2,
                3.4,
                "sigma",
                0.0015,
                verdict,
                says[code],
                {
                    "people": {
                        "time": time,
                        "low": curve + step,
                        "step": step,
                        "step_time": time[:-60],
                        "score": 5.2 * np.exp(-(((time[:-60] - time[90]) / 30) ** 2)),
                    },
                    "taut": {
                        "time": np.array([_window_start(k) for k in range(9)]),
                        "shift": np.array([1, -2, 0, 1, 2, -1, 40, 0, 1]) * 2e-5,
                        "shift_u": np.full(9, 3e-5),
                        "used": np.array([1, 1, 1, 1, 0, 1, 0, 1, 1.0]),
                    },
                    "wind": {"time": time, "low": curve, "wind_part": step, "pressure": 9 + 3e4 * step},
                }[code],
            )
        )
    return tuple(made)


def example_answer(name: str = "Merrowby") -> Answer:
    budget = (
        BudgetLine("scale of the stations", 0.0018, "calibration 0.2 % at 95 %"),
        BudgetLine("displacement", 0.0031, "from the waterline"),
        BudgetLine("low-frequency heel", 0.0022, "pooled over the day"),
        BudgetLine("wind", 0.0009),
        BudgetLine("masses of the weights", 0.0007),
        BudgetLine("distances", 0.0011),
    )
    gm = Quantified(GM, 0.0045, 14.0, budget, "m")
    light = (
        BudgetLine("displacement as inclined", 2600.0, "waterline and hydrostatics"),
        BudgetLine("deadweight survey", 900.0),
    )
    rng = np.random.default_rng(3)
    points, windows = [], []
    for i, m in enumerate(MOMENTS):
        verdict, codes = VERDICTS.get(i, ("fine", ()))
        used = verdict != "rejected"
        off = rng.normal() * 4e-5 + {4: 2.1e-4, 6: 7e-4}.get(i, 0.0)
        heel = math.atan(m * 1000 / (MASS * GM)) + off
        start = _window_start(i)
        checks = _checks(i)
        points.append(
            WindowPoint(
                label=str(i),
                start_ns=EPOCH_NS + int(start * 1e9),
                stop_ns=EPOCH_NS + int((start + 180) * 1e9),
                moment=m * 1000,
                heel=heel,
                u=4.5e-5,
                verdict=verdict,
                reasons=codes,
                checks=checks,
                residual_line=off,
                residual_curve=off * 0.95,
                used=used,
                overruled="kept by A. North: wind inside the forecast" if i == 2 else "",
            )
        )
        span = example_day().windows[i] if i == 0 else WindowSpan(str(i), start, start + 180)
        windows.append(
            WindowHeel(
                span=span,
                heel=heel,
                u=4.5e-5,
                dof=20.0,
                budget=(BudgetLine("low-frequency heel", 4e-5),),
                stations=tuple(
                    StationHeel(s, heel + 1e-5 * j, 6e-5, 1e-3 * j, 1800, 9.98, True) for j, s in enumerate(STATIONS)
                ),
                roll=RollMotion(8.31, 0.04, 0.02, 0.004, 1.2e-3),
                checks=checks,
                verdict=verdict,
                reasons=codes,
            )
        )
    frequency = np.geomspace(1e-3, 2.0, 200)
    model = 1e-6 / (1 + (frequency / 0.01) ** 2) + 4e-5 * np.exp(-(((frequency - 0.12) / 0.006) ** 2)) + 1e-9
    day = DayHeel(
        EPOCH_NS,
        tuple(windows),
        np.eye(9) * 2e-9,
        0.001,
        float("nan"),
        RollMotion(8.31, 0.03, 0.02, 0.003, 1.2e-3),
        2e-6,
        3e-7,
        3.1,
        {"frequency": frequency, "density": model * rng.chisquare(6, 200) / 6, "model": model},
        ("No drift was given for bridge; it was estimated from the day.",),
    )
    readings = tuple(
        MarkReading(
            label=f"{kind[0].upper()}{side[0].upper()}{n}",
            kind=kind,
            x=x,
            y=y,
            reading=2.9 - 0.01 * x,
            waterline_z=3.35 - 0.0125 * x + (0.12 if (n, side) == (2, "port") and kind == "freeboard" else 0.004 * n),
            u=0.01,
            residual=0.12 if (n, side) == (2, "port") and kind == "freeboard" else 0.003 * (n - 2),
            used=not ((n, side) == (2, "port") and kind == "freeboard"),
            says="120 mm off: looks misread by 0.10 m" if (n, side) == (2, "port") and kind == "freeboard" else "",
        )
        for kind, xs in (("draught", (2.0, 24.0, 46.0)), ("freeboard", (6.0, 15.0, 24.0, 33.0, 42.0)))
        for side, y in (("starboard", 5.4), ("port", -5.4))
        for n, x in enumerate(xs)
    )
    waterline = Waterline(
        mean_draught=Quantified(3.052, 0.005),
        draught_aft=Quantified(3.351, 0.008),
        draught_forward=Quantified(2.752, 0.008),
        trim=Quantified(0.599, 0.011),
        list=Quantified(0.0021, 0.0008),
        hog=Quantified(0.006, 0.004),
        covariance=np.eye(4) * 1e-5,
        readings=readings,
        density=Quantified(1021.4, 0.3),
    )
    survey = (
        SurveyItem("hawser", "off", 640.0, 4.0, 1.5, 6.2, 30.0, 0.3, None, "boatswain's store", "A. North", "survey"),
        SurveyItem(
            "spare pump", "off", 410.0, 12.0, -2.0, 2.1, 15.0, 0.2, None, "engine room", "B. Lindqvist", "survey"
        ),
        SurveyItem("rescue boat", "on", 1250.0, 30.0, 3.9, 8.4, 20.0, 0.1, None, "boat deck", "A. North", "survey"),
        SurveyItem(
            "anchor, spare", "move", 900.0, 44.0, 0.0, 5.2, 10.0, 0.1, (40.0, 1.0, 5.5), "forecastle", "", "survey"
        ),
        *(
            SurveyItem(
                f"weight {n + 1}", "off", 2500.0 + 10 * n, 20.0 + 2 * n, 4.2, 6.0, 1.5, 0.005, group="test weights"
            )
            for n in range(4)
        ),
        SurveyItem("6 people", "off", 468.0, 18.0, 0.0, 7.0, 20.0, 0.3, group="people"),
        SurveyItem("fuel day tank", "off", 3140.0, 14.0, 2.0, 3.1, 40.0, 0.05, None, "", "", "tanks", 1350.0),
    )
    kg = Quantified(4.318, 0.013, 40.0, (BudgetLine("KM", 0.0115), BudgetLine("GM", 0.0045)), "m")
    return Answer(
        name=name,
        confidence=0.95,
        headline="GM is 1.213 m, give or take 0.010 m; the lightship has 1131 t with its centre 4.36 m up, and "
        "departure with full deck cargo stays clear of the allowable KG.",
        outlook="clear",
        next_step="Repeat movement 6 with the aft breast line slack: it narrows the interval to 0.008 m.",
        gm=Maybe(
            GmResult(
                carried="curve",
                gm=gm,
                line=Quantified(1.2192, 0.0046, 14.0),
                curve=Maybe(gm),
                line_all=Quantified(1.2431, 0.0091, 14.0),
                curve_all=Maybe(Quantified(1.2370, 0.0089, 14.0)),
                list_upright=Quantified(0.0002, 0.0001),
                points=tuple(points),
                difference="The straight line over-reads by 6 mm: a wall-sided hull stiffens with heel (BM 2.9 m).",
                assumptions=("Hull wall-sided over the heel of the test.",),
                heel_scatter=4e-5,
            )
        ),
        waterline=Maybe(waterline),
        floating=Maybe(
            Floating(
                MASS,
                22.9,
                1.65,
                22.1,
                5.56,
                71.0,
                3.91,
                489_000.0,
                1.68e6,
                "table, at the actual trim",
                (BudgetLine("first trim correction", -3200.0, "layer"), BudgetLine("density", -4050.0, "1021.4 kg/m³")),
            )
        ),
        as_inclined=Maybe(
            AsInclined(
                displacement=Quantified(MASS, 2600.0, budget=light),
                km=Quantified(5.56, 0.0115),
                gm_fluid=gm,
                free_surface=Quantified(34000.0, 2000.0),
                kg=kg,
                lcg=Maybe(Quantified(22.41, 0.03)),
                tcg=Maybe(None, "list has no calibrated zero"),
                roll_period=Maybe(Quantified(8.31, 0.03)),
                radius_ratio=Maybe(Quantified(0.414, 0.003, note="usual 0.36 to 0.44")),
            )
        ),
        survey=survey,
        lightship=Maybe(
            Centre(
                Quantified(1_131_200.0, 2750.0, budget=light),
                Quantified(4.361, 0.0142, budget=(BudgetLine("KG as inclined", 0.013), BudgetLine("survey", 0.005))),
                Quantified(22.62, 0.035),
                Quantified(-0.012, 0.006),
            )
        ),
        deviations=(
            Deviation("mass", 1.8, 2.0, "%", "1.8 % heavier than the builder's estimate.", "SOLAS II-1/5.5", "within"),
            Deviation("LCG", 0.9, 1.0, "% of length", "0.43 m further aft.", "SOLAS II-1/5.5", "too close to call"),
        ),
        conditions=(
            ConditionAnswer(
                "departure, full deck cargo",
                Quantified(4.71, 0.012),
                4.95,
                0.24,
                "clear",
                0.0001,
                "Departure with full deck cargo: KG 4.710 m against 4.950 m allowed, 0.24 m to spare.",
            ),
            ConditionAnswer(
                "arrival, ice on deck",
                Quantified(4.93, 0.012),
                4.94,
                0.01,
                "too close to call",
                0.21,
                "Arrival with ice: KG 4.930 m against 4.940 m allowed; the interval reaches over it.",
            ),
        ),
        advice=(
            Advice(
                "heel",
                "Heel reaches 1.7 deg to starboard and 1.7 deg to port; 1 to 4 deg each side are wanted.",
                True,
                "2008 IS Code, Annex 1, 2.3.1",
                "from memory",
            ),
            Advice(
                "devices",
                "3 electronic stations and 1 pendulum; at least 2 devices are wanted.",
                True,
                "2008 IS Code, Annex 1, 2.4",
                "from memory",
            ),
            Advice(
                "freeboards",
                "5 freeboards each side, about equally spaced; 5 are wanted.",
                True,
                "2008 IS Code Part B, 8.4.1.1",
                "read",
            ),
            Advice(
                "trim",
                "Trim 0.60 m is 1.2 % of length; at most 1 % unless hydrostatics are for the actual trim.",
                False,
                "plan-review guideline of a flag administration",
                "read",
                "hydrostatics at the actual trim are used",
            ),
            Advice("depth", "Depth of water is not in this folder.", None, "2008 IS Code Part B, 8.2.2.6", "read"),
        ),
        monte_carlo=Maybe(
            {
                "gm": (1.2032, 1.2229),
                "kg": (4.292, 4.344),
                "mass": (1_125_700.0, 1_136_600.0),
                "vcg": (4.333, 4.389),
                "lcg": (22.55, 22.69),
                "tcg": (-0.024, 0.0),
            }
        ),
        assumptions=("Scale of the pendulum was not stated; 0.5 % assumed.", "A person weighs 78 kg, as stated."),
        missing={"tcg": "list has no calibrated zero"},
        day=day,
        provenance=Provenance(
            "0.1.0",
            "2030-05-14T14:05:00Z",
            (
                ("plan.toml", "9f2c" * 16),
                ("events.jsonl", "04ab" * 16),
                ("record/20300514T0710Z/readings.parquet", "77d1" * 16),
            ),
            {"gm_carried": "curve", "confidence": 0.95, "seed": 20260101},
        ),
    )
