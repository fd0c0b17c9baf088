"""The plan of one stability test: ``plan.toml``, table by table.

Every interval typed here is the half width at 95 % coverage and its key says ``u95``; what is left out is either
optional, assumed (and the result says what was assumed) or named under ``missing`` in the answer.
"""

from __future__ import annotations

import datetime as dt
from typing import Literal

from pydantic import Field, field_validator, model_validator

from config.model import Name, NotNegative, Point, Positive, Table
from config.stations import Broker, Station


class Occasion(Table):
    """What, where, when, who."""

    name: str = "stability test"
    date: dt.date | None = None
    place: str = ""
    purpose: str = ""
    coordinator: str = ""
    technician: str = ""
    witness: str = ""
    """Who attends for the authority or class."""
    approving_body: str = ""
    """Who decides on the result."""
    utc_offset_h: float = Field(default=0.0, ge=-14, le=14)
    """Local time minus UTC, for what is printed; files keep UTC."""


class Particulars(Table):
    """Mass and centre of gravity of the lightship, estimated, previous or a sister's."""

    mass_t: Positive
    vcg_m: float
    lcg_m: float
    tcg_m: float = 0.0
    source: str = ""
    """Where the figures come from: previous booklet, builder's estimate, sister vessel."""


class Vessel(Table):
    """Particulars of the vessel."""

    name: str = "unnamed"
    type: Literal["cargo", "passenger", "fishing", "tug", "offshore", "high_speed", "yacht", "barge", "other"] = "other"
    length_m: Positive | None = None
    """Length between perpendiculars."""
    breadth_m: Positive | None = None
    depth_m: Positive | None = None
    displacement_t: Positive | None = None
    """As inclined; give it where no waterline is to be worked out, or as an estimate beforehand."""
    displacement_u95_t: NotNegative | None = None
    estimated_gm_m: Positive | None = None
    """For planning only."""
    estimated_period_s: Positive | None = None
    """Natural roll period expected; for planning, and to tell roll from chop where breadth or moments are not known."""
    keel_mm: NotNegative = 0.0
    """Underside of keel below the moulded baseline, taken off draught readings from the underside of keel."""
    lightship: Particulars | None = None
    """Previous or estimated lightship to compare with."""


class Hydrostatics(Table):
    """Where displacement, KM and the true curve come from."""

    source: Literal["values", "table", "offsets"] = "values"
    """``values``: the keys below; ``table``: hydrostatics.csv; ``offsets``: offsets.csv integrated."""
    file: str = ""
    """Empty takes ``hydrostatics.csv`` or ``offsets.csv``."""
    bm_m: Positive | None = None
    """Transverse metacentric radius at the waterline of the test."""
    bm_u95_m: NotNegative | None = None
    km_m: Positive | None = None
    """Transverse metacentre above the baseline at the waterline of the test."""
    km_u95_percent: NotNegative | None = None
    """Interval of KM from table or offsets."""
    displacement_u95_percent: NotNegative | None = None
    """Interval of the table's own displacement, beside that of the waterline."""
    density_kg_m3: Positive = 1025.0
    """Water density for which the table was made."""
    plating: NotNegative = 0.0
    """Mean shell plating and appendages as a fraction added to moulded volume (offsets only)."""


class Weight(Table):
    """One test weight."""

    name: Name
    mass_t: Positive
    mass_u95_kg: NotNegative | None = None
    certificate: str = ""
    start: Literal["port", "starboard"] = "port"
    port_m: Point
    """Its centre of gravity when it stands to port; y is negative."""
    starboard_m: Point
    position_u95_m: NotNegative | None = None
    """Interval of each measured athwartships position."""


class Movement(Table):
    """One step of the sequence: which weights stand where after it. Weights not named stay where they were."""

    label: Name
    to_port: tuple[str, ...] = ()
    to_starboard: tuple[str, ...] = ()
    moment_tm: float | None = None
    """Total transverse moment of the state, t m to starboard; only where weights are not listed."""
    moment_u95_tm: NotNegative | None = None
    """Interval of ``moment_tm``."""
    note: str = ""


class Sequence(Table):
    """Which movements are made; `config.sequence.movements` spells them out."""

    standard: Literal["four_weights_eight_movements", "own"] = "own"
    """``four_weights_eight_movements``: zero and the eight customary movements of four weights;
    ``own``: the ``[[movements]]`` of the plan."""


class Crane(Table):
    """The crane that moves the weights, for checking its reach."""

    name: str = ""
    position_m: Point
    """Its axis of slewing."""
    outreach_m: Positive
    """Radius at which it lifts the heaviest test weight, from its load chart."""


class MusterStation(Table):
    """Where people stand during every window."""

    name: Name
    position_m: Point


class Person(Table):
    """One person aboard during the windows."""

    name: str
    duty: str = ""
    mass_kg: Positive = 75.0
    """75 kg: MGN 280 11.4.1."""
    muster_station: str


class Mooring(Table):
    """One mooring line or fender that could spoil a window."""

    name: Name
    kind: Literal["head", "stern", "breast", "spring", "fender", "other"] = "breast"
    side: Literal["port", "starboard", ""] = ""
    position_m: Point | None = None
    """Attachment aboard."""
    tended_by: str = ""


class Tank(Table):
    """One tank with what is in it."""

    name: Name
    contents: str = ""
    density_kg_m3: Positive = 1000.0
    state: Literal["empty", "full", "slack"] = "empty"
    mass_t: NotNegative | None = None
    sounding_m: NotNegative | None = None
    table: str = ""
    """File under tanks/ with sounding, volume, centre and free-surface inertia."""
    position_m: Point | None = None
    """Centre of the liquid where there is no table."""
    free_surface_m4: NotNegative | None = None
    """Transverse second moment of the liquid surface where there is no table."""
    length_m: Positive | None = None
    breadth_m: Positive | None = None
    height_m: Positive | None = None
    """Length, breadth and height of a box-shaped tank, as another way to the free surface and to pocketing."""
    part_of: Literal["lightship", "to_come_off", "to_stay"] = "to_come_off"
    """``to_come_off``: its mass is taken off to reach lightship; ``lightship`` and ``to_stay``: it is counted in it."""
    free_surface_u95_percent: NotNegative | None = None


class Service(Table):
    """A service that is off during the test, and what stands in for it."""

    name: str
    stands_in: str = ""


class Step(Table):
    """One line of the day's time table."""

    at: dt.time
    what: str
    who: str = ""


class AllowableKg(Table):
    """A loading condition to be held against the allowable-KG curve."""

    name: str
    mass_t: Positive
    """Deadweight of the condition: everything above the lightship."""
    vcg_m: float
    free_surface_tm: NotNegative = 0.0
    allowable_kg_m: Positive
    """Largest KG (fluid) allowed at the condition's displacement."""


class Limits(Table):
    """What the result is held against."""

    heel_min_deg: Positive = 1.0
    heel_max_deg: Positive = 4.0
    """Heel each side between these (2008 IS Code Annex 1; class rules)."""
    initial_heel_deg: Positive = 0.5
    trim_percent: Positive = 1.0
    conditions: tuple[AllowableKg, ...] = ()
    min_gm_m: Positive | None = None
    """Smallest GM wanted as inclined, if any."""


class Overrule(Table):
    """A person's decision on a window, against the verdict, with a reason."""

    window: str
    verdict: Literal["fine", "caution", "rejected"]
    reason: str = Field(min_length=3)
    by: str = Field(min_length=1)


class Settings(Table):
    """How the day is reduced."""

    gm_carried: Literal["curve", "line"] = "curve"
    """Which GM goes on to KG and lightship."""
    confidence: float = Field(default=0.95, ge=0.5, le=0.999)
    window_s: Positive = 120.0
    wanted_heel_u95_deg: Positive = 0.005
    monte_carlo_draws: int = Field(default=20000, ge=0, le=2_000_000)
    seed: int = Field(ge=0, default=20_260_101)
    assumed_displacement_u95_percent: NotNegative | None = None
    """Used where a typed displacement has no interval of its own."""
    overrules: tuple[Overrule, ...] = ()
    leave_out: tuple[str, ...] = ()
    """Heel stations that are found to be wrong and are not to be used; ``aft`` and ``aft, hold`` are taken as well."""

    @field_validator("leave_out", mode="before")
    @classmethod
    def _one_or_more(cls, value: object) -> object:
        if not isinstance(value, str):
            return value
        # A shell takes the quotes of ["aft", "hold"] away.
        names = [name.strip(" \t\"'") for name in value.strip().removeprefix("[").removesuffix("]").split(",")]
        return tuple(name for name in names if name) or (value,)


class Weather(Table):
    """What to expect, for planning."""

    wind_m_s: NotNegative = 3.0
    direction_from_bow_deg: float = 90.0
    windage_area_m2: Positive | None = None
    """Lateral area above water; left out, length times 0.8 of depth is taken."""
    windage_lever_m: Positive | None = None
    """From the centre of that area to half draught; left out, 0.8 of depth is taken."""


class Departure(Table):
    """A departure from published guidance that the responsible person takes on record."""

    check: str
    reason: str = Field(min_length=3)
    by: str = Field(min_length=1)


class Plan(Table):
    """One stability test."""

    test: Occasion = Occasion()
    vessel: Vessel = Vessel()
    hydrostatics: Hydrostatics = Hydrostatics()
    broker: Broker = Broker()
    stations: tuple[Station, ...] = ()
    weights: tuple[Weight, ...] = ()
    sequence: Sequence = Sequence()
    movements: tuple[Movement, ...] = ()
    cranes: tuple[Crane, ...] = ()
    muster_stations: tuple[MusterStation, ...] = ()
    people: tuple[Person, ...] = ()
    moorings: tuple[Mooring, ...] = ()
    tanks: tuple[Tank, ...] = ()
    services: tuple[Service, ...] = ()
    schedule: tuple[Step, ...] = ()
    limits: Limits = Limits()
    settings: Settings = Settings()
    weather: Weather = Weather()
    departures: tuple[Departure, ...] = ()

    @model_validator(mode="after")
    def _names_agree(self) -> Plan:
        for what, names in (
            ("stations", [s.name for s in self.stations]),
            ("weights", [w.name for w in self.weights]),
            ("movements", [m.label for m in self.movements]),
            ("tanks", [t.name for t in self.tanks]),
        ):
            twice = sorted({name for name in names if names.count(name) > 1})
            if twice:
                raise ValueError(f"{what}: {', '.join(twice)} stands there twice; names must differ")
        known = {w.name for w in self.weights}
        for movement in self.movements:
            unknown = [w for w in (*movement.to_port, *movement.to_starboard) if w not in known]
            if unknown:
                raise ValueError(
                    f"movements: {movement.label} moves {', '.join(unknown)}, which is no weight of the plan"
                )
        places = {m.name for m in self.muster_stations}
        for person in self.people:
            if places and person.muster_station not in places:
                raise ValueError(
                    f"people: {person.name} musters at {person.muster_station}, which is no muster station"
                )
        return self
