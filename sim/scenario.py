"""Scenario files: everything true about one synthetic test day, closed and typed, read from TOML.

Times in a scenario are seconds from its start. Conventions are those of the test folder: x forward, y to starboard,
z up from the baseline; heel positive starboard side down.
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, model_validator

from config.load import load_settings
from config.model import Name, NotNegative, Point, Positive, Table
from config.plan import Movement, Plan, Sequence
from config.plan import Weight as PlannedWeight
from config.sequence import movements as spelt_out
from sim.devices import Device
from sim.spoils import Spoil
from sim.wire_faults import WireFault


class VesselTruth(Table):
    """The vessel as she floats with everything aboard, in the first state of the weights."""

    length_m: Positive = 48.0
    breadth_m: Positive = 11.0
    draught_m: Positive = 3.2
    displacement_t: Positive = 1150.0
    """As inclined; computed from the loading where there is one."""
    gm_m: float = 1.1
    """Fluid, upright; computed from the hull and the loading where there is one."""
    bm_m: Positive = 3.0
    km_m: Positive = 5.4
    water_kg_m3: Positive = 1025.0
    """Density of the water she floats in."""
    restoring: Literal["wall_sided", "kn", "offsets"] = "wall_sided"
    """Where the righting arm comes from: GM and BM (exact for vertical sides), ``kn``, or ``offsets`` integrated."""
    kn: tuple[tuple[float, float], ...] = ()
    """(heel in deg, KN in m) from 0 upwards."""
    offsets: str = ""
    """Offsets file, beside the scenario or in the packaged demo folder."""
    period_s: Positive = 8.0
    """Natural roll period, small angles, free of lines, liquids frozen, at the fluid GM."""
    damping: NotNegative = 0.02
    """Linear part, fraction of critical."""
    extinction_per_deg: NotNegative = 0.012
    """Quadratic part: decrement a half cycle is this times the amplitude in degrees squared (2008 IS Code's N)."""
    sway_added_mass: NotNegative = 0.6
    """Fraction of displacement."""
    added_mass_depth: NotNegative = 0.5
    """Where the added mass acts, fraction of draught below the waterline."""
    sway_drag: NotNegative = 1.0
    """Cross-flow drag coefficient on length times draught (quadratic)."""
    pitch_period_s: Positive = 4.5
    pitch_damping: Positive = 0.15
    gml_m: Positive = 60.0
    base_moment_tm: float = 0.0
    """Transverse moment of everything but test weights and people, t m to starboard (initial list)."""
    base_trim_deg: float = 0.0


class Centre(Table):
    """A mass and where it is."""

    name: str = ""
    mass_t: float
    at_m: Point


class Liquid(Table):
    """One slack tank, box-shaped."""

    name: Name
    at_m: Point
    """Centre of the bottom."""
    length_m: Positive
    breadth_m: Positive
    height_m: Positive
    sounding_m: NotNegative
    density_kg_m3: Positive = 1000.0
    damping: NotNegative = 0.02
    """Of the sloshing mode, fraction of critical."""


class Loading(Table):
    """How the as-inclined condition is made up; sets displacement, GM and list from the hull."""

    lightship: Centre
    items: tuple[Centre, ...] = ()
    """Everything else aboard that is neither test weight, person nor slack tank; missing items are negative."""


class Wind(Table):
    """The air over the berth."""

    spectrum: Literal["kaimal", "davenport"] = "kaimal"
    speed_m_s: NotNegative = 1.5
    direction_deg: float = 70.0
    """Where it comes from, clockwise from the bow."""
    intensity: NotNegative = 0.18
    """Turbulence intensity."""
    height_m: Positive = 10.0
    """Reference height above water, sets the length scale."""
    speed_slope_m_s_per_h: float = 0.0
    direction_slope_deg_per_h: float = 0.0
    meander_deg: NotNegative = 4.0
    """Standard deviation of slow direction changes (time constant 10 min)."""
    slow_fraction: NotNegative = 0.05
    """Standard deviation of slow speed changes, fraction of the mean (time constant 20 min)."""
    mast_distance_m: Positive = 25.0
    """From the anemometer to the centre of the lateral area."""
    coherence_decay: Positive = 10.0
    area_m2: NotNegative = 260.0
    area_height_m: float = 5.5
    """Centre of the lateral windage above the waterline."""
    drag: NotNegative = 1.1


class Line(Table):
    """One breast line; a drooping line pulls a little (catenary), a taut one a lot."""

    name: Name
    aboard_m: Point
    ashore_m: Point
    """Same axes, vessel in her neutral place at mean tide."""
    slack_m: float = 0.6
    """Length minus straight distance when neutral; negative: taut."""
    ea_kn: Positive = 600.0
    """Axial stiffness."""
    weight_n_m: Positive = 8.0


class Fender(Table):
    """A fender or camel: pushes back only."""

    name: Name
    side: Literal["port", "starboard"] = "port"
    height_m: float = 3.5
    """Above the baseline."""
    gap_m: float = 0.4
    stiffness_kn_m: Positive = 1500.0


class Bottom(Table):
    """A hard spot under one bilge."""

    at_m: tuple[float, float]
    """x, y."""
    clearance_m: float
    """At mean tide, upright."""
    stiffness_kn_m: Positive = 4000.0


class Berth(Table):
    """What holds and shakes the vessel."""

    hold_period_s: Positive = 80.0
    """Sway period on head and stern lines alone."""
    hold_damping: Positive = 0.15
    hold_height_m: float = 0.3
    """Where they pull, above the waterline."""
    lines: tuple[Line, ...] = ()
    fenders: tuple[Fender, ...] = ()
    bottom: tuple[Bottom, ...] = ()
    tide_m: NotNegative = 0.0
    """Amplitude."""
    tide_period_h: Positive = 12.42
    tide_phase_deg: float = 0.0
    chop_slope_deg: NotNegative = 0.03
    """Standard deviation of effective wave slope from harbour waves."""
    chop_period_s: Positive = 6.0
    chop_width: Positive = 0.5
    """Bandwidth of the chop, fraction of its frequency."""


class Person(Table):
    """One person aboard; between windows people move about, in windows they stand still unless a spoil says not."""

    name: str
    muster_station: str = ""
    """As the plan calls the place where he stands."""
    mass_kg: Positive = 75.0
    at_m: Point
    roams_m: NotNegative = 1.0
    """How far he wanders athwartships between windows."""


class TestWeight(Table):
    """One test weight as it truly is."""

    __test__ = False

    name: Name
    mass_t: Positive
    start: Literal["port", "starboard"] = "port"
    port_m: Point
    starboard_m: Point


class Crane(Table):
    """How weights are moved."""

    on: Literal["shore", "deck"] = "shore"
    """``shore``: a lifted weight is off the vessel; ``deck``: it hangs from the vessel's own jib."""
    jib_height_m: Positive = 14.0
    swing_deg: NotNegative = 3.0
    """Amplitude of the swinging load while it travels."""
    landing_m_s: NotNegative = 0.3
    """Speed at which it lands."""


class Schedule(Table):
    """When things happen."""

    start: dt.datetime = dt.datetime(2031, 5, 14, 7, 30, tzinfo=dt.UTC)
    gangway_s: NotNegative = 240.0
    first_window_s: Positive = 480.0
    window_s: Positive = 150.0
    lift_s: Positive = 90.0
    """One weight, from pick-up to landing."""
    settle_s: NotNegative = 100.0
    """From the last landing to the opening of the window."""
    after_s: NotNegative = 50.0
    """From the closing of the window to the next pick-up."""
    tail_s: NotNegative = 60.0

    @model_validator(mode="after")
    def _start_knows_its_zone(self) -> Schedule:
        if self.start.tzinfo is None:
            raise ValueError("start needs a time zone: write 2031-05-14T07:30:00Z")
        return self


class Scenario(Table):
    """One synthetic test day."""

    name: str = "synthetic day"
    seed: int = Field(ge=0, default=1)
    step_s: Positive | None = None
    """Step of the motion; left out: a 64th of the roll period, within 0.04 and 0.1 s."""
    vessel: VesselTruth = VesselTruth()
    loading: Loading | None = None
    liquids: tuple[Liquid, ...] = ()
    wind: Wind = Wind()
    berth: Berth = Berth()
    weights: tuple[TestWeight, ...] = ()
    sequence: Sequence = Sequence(standard="four_weights_eight_movements")
    movements: tuple[Movement, ...] = ()
    crane: Crane = Crane()
    people: tuple[Person, ...] = ()
    schedule: Schedule = Schedule()
    temperature_c: float = 12.0
    temperature_swing_c: NotNegative = 3.0
    devices: tuple[Device, ...] = ()
    wire: tuple[WireFault, ...] = ()
    spoils: tuple[Annotated[Spoil, Field(discriminator="type")], ...] = ()

    def spelt_movements(self) -> tuple[Movement, ...]:
        """States of the weights in order, as the plan of this day calls them out; without weights, one window."""
        if not self.weights:
            return self.movements or (Movement(label="0"),)
        weights = tuple(
            PlannedWeight(name=w.name, mass_t=w.mass_t, start=w.start, port_m=w.port_m, starboard_m=w.starboard_m)
            for w in self.weights
        )
        return spelt_out(Plan(weights=weights, sequence=self.sequence, movements=self.movements))

    @model_validator(mode="after")
    def _spoils_name_what_exists(self) -> Scenario:
        have = {
            "person": {p.name for p in self.people},
            "line": {line.name for line in self.berth.lines},
            "station": {d.name for d in self.devices},
            "window": {m.label for m in self.spelt_movements()} | {""},
        }
        for number, spoil in enumerate(self.spoils):
            for key, known in have.items():
                named = getattr(spoil, key, None)
                if named is not None and named not in known:
                    raise ValueError(f"spoils[{number}]: no {key} named {named}; known: {', '.join(sorted(known))}")
        return self


def load_scenario(path: Path) -> Scenario:
    """Read a scenario file; a bare name without ``.toml`` means one that comes with the package.

    Raises
    ------
    BadInput naming every fault with its line and key.

    >>> load_scenario(Path("merrowby")).name
    'Merrowby'
    """
    packaged = Path(__file__).parent / "scenarios" / f"{path}.toml"
    if path.suffix == "" and not path.is_file() and packaged.is_file():
        path = packaged
    scenario = load_settings(path, Scenario)
    beside = path.parent / scenario.vessel.offsets
    if scenario.vessel.offsets and beside.is_file():
        vessel = scenario.vessel.model_copy(update={"offsets": str(beside.resolve())})
        scenario = scenario.model_copy(update={"vessel": vessel})
    return scenario


def packaged_scenarios() -> tuple[str, ...]:
    """Names of the scenarios that come with the package."""
    return tuple(sorted(file.stem for file in (Path(__file__).parent / "scenarios").glob("*.toml")))
