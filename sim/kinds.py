"""Ten kinds of day over random vessels, for statistics: 200 to 8000 t, roll periods 4 to 25 s, windows 60 to 180 s."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from config.errors import bad
from config.units import DEGREE
from config.units import STANDARD_GRAVITY as G
from sim.chance import stream
from sim.devices import Anemometer, Device, Tilt
from sim.scenario import (
    Berth,
    Fender,
    Line,
    Liquid,
    Person,
    Scenario,
    Schedule,
    TestWeight,
    VesselTruth,
    Wind,
)
from sim.spoils import (
    EarlyWindow,
    PassingVessel,
    SensorFault,
    Spoil,
    TautLine,
    Walk,
    Wash,
)

KINDS = ("quiet", "breezy", "windy", "early", "wash", "faults", "flared", "slack_tank", "people", "taut")
WINDOWS = tuple("012345678")
WIND = {"quiet": 1.0, "breezy": 4.0, "windy": 7.5}
"""m/s; every other kind has 1.5."""

Chance = np.random.Generator


def make_kind(kind: str, seed: int) -> Scenario:
    """Draw one day of a kind.

    Parameters
    ----------
    kind : one of `KINDS`.
    seed : draws the vessel, her devices and everything of the day.

    Raises
    ------
    BadInput where there is no such kind.

    Examples
    --------
    >>> make_kind("windy", 5).wind.speed_m_s
    7.5
    """
    if kind not in KINDS:
        raise bad("kind", "name", kind, f"one of {', '.join(KINDS)}")
    rng = stream(seed, f"kind {kind}")
    vessel = _vessel(rng, flared=kind == "flared")
    wind_speed = WIND.get(kind, 1.5)
    schedule = _schedule(rng, vessel)
    wind = Wind(
        speed_m_s=wind_speed,
        direction_deg=float(rng.uniform(40, 140) * rng.choice([-1, 1])),
        area_m2=0.6 * vessel.length_m * vessel.breadth_m,
        intensity=0.2,
        slow_fraction=0.15,
        meander_deg=8.0,
        area_height_m=0.35 * vessel.breadth_m,
        mast_distance_m=float(rng.uniform(0.3, 0.6)) * vessel.length_m,
    )
    berth = _berth(rng, vessel, wind)
    people = (
        Person(name="coordinator", at_m=(0.6 * vessel.length_m, 0.0, vessel.draught_m + 5.0)),
        Person(name="technician", at_m=(0.5 * vessel.length_m, 0.5, vessel.draught_m + 2.0)),
    )
    scenario = Scenario(
        name=f"{kind} {seed}",
        seed=seed,
        vessel=vessel,
        wind=wind,
        berth=berth,
        weights=_weights(rng, vessel),
        people=people,
        schedule=schedule,
        temperature_swing_c=float(rng.uniform(1, 6)),
        devices=_devices(rng, vessel, poor=kind == "faults"),
    )
    return _SPOIL.get(kind, _nothing)(rng, scenario)


def _vessel(rng: Chance, *, flared: bool) -> VesselTruth:
    while True:
        displacement = float(np.exp(rng.uniform(math.log(200.0), math.log(8000.0))))
        breadth = (displacement / 1.025) ** (1.0 / 3.0) * float(rng.uniform(0.92, 1.1))
        draught = breadth / float(rng.uniform(2.6, 3.6))
        bm = 0.083 * breadth**2 / draught * float(rng.uniform(0.9, 1.1))
        gm = breadth * float(rng.uniform(0.03, 0.14))
        period = 2.0 * math.pi * breadth * float(rng.uniform(0.35, 0.44)) / math.sqrt(G * gm)
        if 4.0 <= period <= 25.0:
            break
    km = 0.55 * draught + bm
    length = breadth * 5.0
    kn: tuple[tuple[float, float], ...] = ()
    if flared:
        stiffening = float(rng.uniform(1.4, 2.4))
        angles = [1.0, 2.0, 3.0, 4.0, 5.0, 7.0, 9.0, 12.0, 15.0]
        kn = tuple((a, math.sin(a * DEGREE) * (km + 0.5 * bm * stiffening * math.tan(a * DEGREE) ** 2)) for a in angles)
    return VesselTruth(
        length_m=length,
        breadth_m=breadth,
        draught_m=draught,
        displacement_t=displacement,
        gm_m=gm,
        bm_m=bm,
        km_m=km,
        restoring="kn" if flared else "wall_sided",
        kn=kn,
        period_s=period,
        damping=float(rng.uniform(0.01, 0.04)),
        extinction_per_deg=float(rng.uniform(0.008, 0.016)),
        sway_added_mass=float(rng.uniform(0.4, 0.8)),
        pitch_period_s=float(rng.uniform(3.5, 6.5)),
        gml_m=1.2 * length,
        base_moment_tm=displacement * gm * math.tan(float(rng.uniform(-0.4, 0.4)) * DEGREE),
        base_trim_deg=float(rng.uniform(-0.3, 0.6)),
    )


def _schedule(rng: Chance, vessel: VesselTruth) -> Schedule:
    return Schedule(
        gangway_s=60.0,
        first_window_s=200.0,
        window_s=float(rng.uniform(60.0, 180.0)),
        lift_s=float(rng.uniform(35.0, 70.0)),
        settle_s=max(float(rng.uniform(50.0, 110.0)), 5.0 * vessel.period_s),
        after_s=15.0,
        tail_s=30.0,
    )


def _weights(rng: Chance, vessel: VesselTruth) -> tuple[TestWeight, ...]:
    heel = float(rng.uniform(1.5, 3.2)) * DEGREE
    y = 0.38 * vessel.breadth_m
    z = vessel.draught_m + 0.2 * vessel.breadth_m
    each = vessel.displacement_t * vessel.gm_m * math.tan(heel) / (4.0 * y)
    found = []
    for number in range(4):
        x = (0.35 + 0.08 * number) * vessel.length_m
        mass = each * float(rng.uniform(0.97, 1.03))
        start = "port" if number in (1, 3) else "starboard"
        found.append(
            TestWeight(name=str(number + 1), mass_t=mass, start=start, port_m=(x, -y, z), starboard_m=(x, y, z))
        )
    return tuple(found)


def _berth(rng: Chance, vessel: VesselTruth, wind: Wind) -> Berth:
    """Breast lines to port, slack beyond what the wind moves her; fenders clear by as much."""
    swing = float(rng.uniform(45.0, 110.0))
    stiffness = 1.6e3 * vessel.displacement_t * (2.0 * math.pi / swing) ** 2
    push = 0.5 * 1.225 * wind.drag * wind.area_m2 * (1.7 * wind.speed_m_s) ** 2
    room = 0.4 + 1.3 * push / stiffness
    deck = vessel.draught_m + 0.25 * vessel.breadth_m
    side, distance = -vessel.breadth_m / 2.0, 8.0 + 0.5 * vessel.breadth_m
    righting = vessel.displacement_t * 1e3 * G * vessel.gm_m
    lever = deck - vessel.draught_m
    bite = 0.5 * float(rng.uniform(0.1, 0.35)) * righting / lever**2  # N/m a line
    lines = tuple(
        Line(
            name=name,
            aboard_m=(share * vessel.length_m, side, deck),
            ashore_m=(share * vessel.length_m, side - distance, deck),
            slack_m=room + 0.4,
            ea_kn=bite * (distance + room + 0.4) / 1e3,
        )
        for name, share in (("forward breast", 0.75), ("aft breast", 0.2))
    )
    fenders = tuple(
        Fender(
            name=f"fender {number + 1}",
            height_m=vessel.draught_m + 0.3,
            gap_m=room,
            stiffness_kn_m=max(3.0 * bite / 1e3, 50.0),
        )
        for number in range(2)
    )
    return Berth(
        hold_period_s=swing,
        lines=lines,
        fenders=fenders,
        chop_slope_deg=float(rng.uniform(0.005, 0.04)),
        chop_period_s=float(rng.uniform(4.0, 9.0)),
    )


def _devices(rng: Chance, vessel: VesselTruth, *, poor: bool) -> tuple[Device, ...]:
    found: list[Device] = []
    for name, share, height in (("aft", 0.1, 2.0), ("middle", 0.5, 0.5), ("forward", 0.85, 3.5)):
        found.append(
            Tilt(
                name=name,
                at_m=(share * vessel.length_m, 0.0, vessel.draught_m + height),
                trim=name == "middle",
                rate_hz=10.0,
                rate_error_ppm=float(rng.normal(0, 300)),
                noise_deg=float(rng.uniform(0.002, 0.01)),
                zero_deg=float(rng.normal(0, 0.1)),
                drift_deg_per_h=float(rng.normal(0, 0.001)),
                wander_deg=0.0005,
                temperature_deg_per_c=float(rng.normal(0, 0.0003)),
                scale=1.0 + float(rng.normal(0, 0.001)),
                yaw_deg=float(rng.normal(0, 0.7)),
                dropout=0.02 if poor else 0.0005,
                duplicate=0.005 if poor else 0.0,
                spike=0.001 if poor else 0.0,
                jitter_ms=15.0 if poor else 3.0,
            )
        )
    found.append(Anemometer(name="mast", rate_hz=1.0))
    return tuple(found)


def _some(rng: Chance, count: int) -> list[str]:
    return [WINDOWS[i] for i in sorted(rng.choice(len(WINDOWS), count, replace=False))]


def _with(scenario: Scenario, *spoils: Spoil) -> Scenario:
    return scenario.model_copy(update={"spoils": spoils})


def _nothing(rng: Chance, scenario: Scenario) -> Scenario:
    del rng
    return scenario


def _early(rng: Chance, scenario: Scenario) -> Scenario:
    return _with(
        scenario, *(EarlyWindow(window=w, settle_s=float(rng.uniform(1, 6))) for w in _some(rng, 6) if w != "0")
    )


def _wash(rng: Chance, scenario: Scenario) -> Scenario:
    length, period = scenario.schedule.window_s, scenario.vessel.period_s
    spoils: list[Spoil] = []
    for number, window in enumerate(_some(rng, 3)):
        at = float(rng.uniform(0.2, 0.7)) * length
        slope = float(rng.uniform(0.1, 0.5))
        if number % 2:
            spoils.append(Wash(window=window, after_s=at, slope_deg=slope / 2.0, period_s=period, for_s=25.0))
        else:
            around = period * float(rng.uniform(0.6, 1.3))
            spoils.append(PassingVessel(window=window, after_s=at, slope_deg=slope, period_s=around, waves=6))
    return _with(scenario, *spoils)


def _faults(rng: Chance, scenario: Scenario) -> Scenario:
    length = scenario.schedule.window_s
    spoils: list[Spoil] = []
    for window, fault, size in zip(
        _some(rng, 4), ("stuck", "dropout", "spikes", "step"), (1.0, 1.0, 5.0, 0.05), strict=True
    ):
        station = str(rng.choice(["aft", "middle", "forward"]))
        after = float(rng.uniform(0.1, 0.5)) * length
        spoils.append(
            SensorFault(window=window, after_s=after, station=station, fault=fault, for_s=0.4 * length, size=size)
        )
    return _with(scenario, *spoils)


def _slack_tank(rng: Chance, scenario: Scenario) -> Scenario:
    vessel = scenario.vessel
    breadth = float(rng.uniform(0.45, 0.75)) * vessel.breadth_m
    loss = float(rng.uniform(0.04, 0.15)) * vessel.gm_m
    length = loss * vessel.displacement_t * 1e3 * 12.0 / (1000.0 * breadth**3)
    height = 0.3 * vessel.breadth_m
    tank = Liquid(
        name="slack tank",
        at_m=(0.4 * vessel.length_m, 0.0, 0.5),
        length_m=length,
        breadth_m=breadth,
        height_m=height,
        sounding_m=height * float(rng.uniform(0.3, 0.7)),
    )
    return scenario.model_copy(update={"liquids": (tank,)})


def _people(rng: Chance, scenario: Scenario) -> Scenario:
    """One person on a small vessel, a party on a large one: 0.01 to 0.06 degrees of heel."""
    vessel = scenario.vessel
    shift = float(rng.uniform(0.01, 0.06)) * DEGREE
    across = 0.6 * vessel.breadth_m
    mass = max(75.0, shift * vessel.displacement_t * 1e3 * vessel.gm_m / across)
    home = (0.5 * vessel.length_m, -across / 2.0, vessel.draught_m + 2.0)
    party = Person(name="party", mass_kg=mass, at_m=home)
    spoils = [
        Walk(
            window=w,
            after_s=float(rng.uniform(0.15, 0.7)) * scenario.schedule.window_s,
            person="party",
            to_m=(home[0], across / 2.0, home[2]),
        )
        for w in _some(rng, 3)
    ]
    return scenario.model_copy(update={"people": (*scenario.people, party), "spoils": tuple(spoils)})


def _taut(rng: Chance, scenario: Scenario) -> Scenario:
    room = scenario.berth.fenders[0].gap_m
    spoils = []
    for window in _some(rng, int(rng.integers(2, 5))):
        bite = float(rng.uniform(0.0, 0.04)) + room
        spoils += [TautLine(window=window, line=n.name, slack_m=-bite, lead_s=45.0) for n in scenario.berth.lines]
    return _with(scenario, *spoils)


_SPOIL: dict[str, Callable[[Chance, Scenario], Scenario]] = {
    "early": _early,
    "wash": _wash,
    "faults": _faults,
    "slack_tank": _slack_tank,
    "people": _people,
    "taut": _taut,
}
