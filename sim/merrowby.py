"""The demo vessel's lines and the papers of her test folder, all from one truth.

``python -m sim.merrowby FOLDER`` writes the tables of the folder: offsets, hydrostatics integrated from them, tank
tables, the deadweight survey as surveyed, draughts and freeboards as read, density as sampled. The numbers that people
found differ from the truth by fixed small errors, as a seeded draw gives them.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from config.survey_table import SurveyRow, survey_text
from config.waterline_table import ReadingRow, SampleRow, density_text, waterline_text
from sim import hull, liquid
from sim.chance import stream
from sim.condition import everything_aboard, float_vessel, resting_heel
from sim.scenario import Scenario, load_scenario

Array = NDArray[np.float64]

LENGTH, BREADTH, DEPTH = 48.0, 11.0, 5.5
STATIONS = np.arange(0.0, 48.1, 2.0)
LEVELS = np.concatenate([np.arange(0.0, 1.0, 0.1), np.arange(1.0, 5.51, 0.25)])
TABLE_DENSITY = 1025.0
KEEL_MM, PLATE_MM = 12.0, 8.0
"""Underside of keel below the baseline; deck plating above the moulded deck line."""
SAMPLE_C, CALIBRATED_C, GLASS = 11.6, 15.0, 25e-6
"""Temperatures of the samples and of the hydrometer's calibration; cubic expansion of glass, 1/K (from memory)."""
SIDES = (("port", -1.0), ("starboard", 1.0))
MARKS = (("aft mark", 1.5, 4.4), ("midship mark", 24.0, 5.5), ("forward mark", 45.0, 1.5))
FREEBOARDS = (6.0, 15.0, 24.0, 33.0, 40.0)
SURVEYED = (
    ("workshop container", "after deck", "off", 0.02),
    ("scaffolding aft", "after deck", "off", 0.03),
    ("welding sets and cable", "main deck", "off", 0.03),
    ("tools and rubbish, engine room", "engine room", "off", 0.08),
    ("rescue boat with davit", "boat deck", "on", 0.01),
    ("galley outfit", "galley", "on", 0.04),
    ("spare anchor", "main deck", "move", 0.01),
)
"""Item, space, action, interval of its mass as a fraction."""


def half_breadths(x: float) -> Array:
    """Half-breadths of one section, (n, 2) rows of (z, half-breadth): full amidships, transom aft, fine forward."""
    share = x / LENGTH
    aft = max(1.0 - share / 0.28, 0.0)
    fine = _smooth((share - 0.55) / 0.45)
    if share < 0.3:
        top = BREADTH / 2.0 * (0.86 + 0.14 * _smooth(share / 0.3))
    elif share < 0.6:
        top = BREADTH / 2.0
    else:
        top = BREADTH / 2.0 * (1.0 - ((share - 0.6) / 0.4) ** 2.3)
    rise = 1.25 * aft**2
    bilge = 1.5 + 1.4 * fine + 0.2 * aft
    power = 3.2 - 1.9 * fine - 0.9 * aft
    rows = []
    for level in LEVELS:
        filled = min(max((level - rise) / bilge, 0.0), 1.0)
        breadth = top * (1.0 - (1.0 - filled) ** power) ** (1.0 / power) * (1.0 - 0.06 * fine * (DEPTH - level))
        rows.append((float(level), round(max(breadth, 0.0), 3)))
    return np.array(rows)


def _smooth(share: float) -> float:
    share = min(max(share, 0.0), 1.0)
    return share * share * (3.0 - 2.0 * share)


def form() -> hull.HullForm:
    """The hull."""
    return hull.make_form(STATIONS, [half_breadths(float(x)) for x in STATIONS], LENGTH)


def offsets_rows() -> Iterable[Sequence[object]]:
    """Rows of offsets.csv."""
    for x in STATIONS:
        for level, breadth in half_breadths(float(x)):
            yield f"{x:.2f}", f"{level:.2f}", f"{breadth:.3f}"


def hydrostatics_rows() -> Iterable[Sequence[object]]:
    """Rows of hydrostatics.csv, even keel, in water of `TABLE_DENSITY`."""
    shape = form()
    for draught in np.arange(2.6, 3.401, 0.05):
        at = hull.upright(shape, hull.Waterline(float(draught), 0.0))
        displacement = at.volume * TABLE_DENSITY / 1e3
        yield (
            f"{draught:.2f}",
            f"{displacement:.2f}",
            f"{at.lcb:.4f}",
            f"{at.kb:.4f}",
            f"{at.lcf:.4f}",
            f"{at.km:.4f}",
            f"{at.bm:.4f}",
            f"{at.kml:.3f}",
            f"{at.area * TABLE_DENSITY / 1e5:.4f}",
            f"{displacement * at.bml / (100.0 * LENGTH):.4f}",
        )


@dataclass(frozen=True)
class Afloat:
    """The water's surface against the vessel: ``z = draught - trim (x - L/2) + y tan(list)``."""

    draught: float
    """m, amidships on the centreline."""
    trim: float
    """Slope, by the stern positive."""
    list: float
    """rad, starboard down."""

    def level(self, x: float, y: float) -> float:
        """Height of the water above the baseline at a place, m."""
        return self.draught - self.trim * (x - LENGTH / 2.0) + y * math.tan(self.list)


def afloat(scenario: Scenario) -> Afloat:
    """Where she truly floats in the first state of the weights, nothing disturbing."""
    floating = float_vessel(scenario)
    moment = sum(part.mass_t * 1e3 * part.at_m[1] for part in everything_aboard(scenario))
    return Afloat(floating.draught, math.tan(floating.base_trim), resting_heel(floating, scenario.liquids, moment))


def waterline_rows(scenario: Scenario) -> tuple[ReadingRow, ...]:
    """Draughts at three marks and freeboards at five places, both sides, read to 5 mm or so."""
    rng = stream(scenario.seed, "waterline readings")
    waterline = afloat(scenario)
    rows = []
    for name, x, y in MARKS:
        for side, sign in SIDES:
            read = waterline.level(x, sign * y) + KEEL_MM / 1e3 + float(rng.normal(0.0, 0.004))
            rows.append(
                ReadingRow(0, f"{name} {side}", "draught", x, sign * y, round(read, 3), 0.010, None, 0.0, "surveyor")
            )
    for number, x in enumerate(FREEBOARDS, start=1):
        y = float(half_breadths(x)[-1, 1])
        for side, sign in SIDES:
            read = DEPTH + PLATE_MM / 1e3 - waterline.level(x, sign * y) + float(rng.normal(0.0, 0.004))
            label = f"freeboard {number} {side}"
            rows.append(
                ReadingRow(0, label, "freeboard", x, sign * y, round(read, 3), 0.010, DEPTH, PLATE_MM, "coordinator")
            )
    return tuple(rows)


def density_rows(scenario: Scenario) -> tuple[SampleRow, ...]:
    """Three samples with a hydrometer."""
    rng = stream(scenario.seed, "density")
    found = []
    for number, (place, depth) in enumerate((("forward", 1.0), ("amidships", 2.0), ("aft", 1.0)), start=1):
        glass = 1.0 + GLASS * (SAMPLE_C - CALIBRATED_C)  # cold glass is smaller, so the hydrometer reads low
        read = round(scenario.vessel.water_kg_m3 * glass + float(rng.normal(0.0, 0.15)), 1)
        row = SampleRow(
            0, str(number), place, depth, read, SAMPLE_C, CALIBRATED_C, 0.0, SAMPLE_C, None, 0.5, "technician"
        )
        found.append(row)
    return tuple(found)


def survey_rows(scenario: Scenario) -> tuple[SurveyRow, ...]:
    """The deadweight survey as it was found: masses to some per cent, places to a hand's breadth."""
    rng = stream(scenario.seed, "survey")
    loading = scenario.loading
    assert loading is not None
    items = {item.name: item for item in loading.items}
    rows = []
    for name, space, action, spread in SURVEYED:
        item = items[f"{name}, where it lies" if action == "move" else name]
        mass = abs(item.mass_t) * (1.0 + float(rng.normal(0.0, spread / 2.5)))
        x, y, z = (round(at + float(rng.normal(0.0, 0.04)), 2) for at in item.at_m)
        to = items[f"{name}, where it belongs"].at_m if action == "move" else None
        rows.append(
            SurveyRow(
                line=0,
                item=name,
                space=space,
                action=action,
                mass_t=round(mass, 2),
                position_m=(x, y, z),
                mass_u95_t=round(max(spread * abs(item.mass_t), 0.02), 2),
                position_u95_m=0.10,
                to_m=to,
                ballast=False,
                free_surface_tm=0.0,
                surveyed_by="coordinator",
                confirmed=True,
            )
        )
    seen = ("engine room", "steering gear room", "accommodation")
    rows += [
        SurveyRow(
            0,
            "nothing to note",
            space,
            "none",
            math.nan,
            (math.nan,) * 3,
            None,
            None,
            None,
            False,
            0.0,
            "witness",
            True,
        )
        for space in seen
    ]
    return tuple(rows)


def tank_rows(scenario: Scenario) -> Iterable[Sequence[object]]:
    """Sounding table of the slack tank."""
    tank = scenario.liquids[0]
    x, y, bottom = tank.at_m
    for sounding in np.arange(0.0, tank.height_m + 0.01, 0.1):
        volume = tank.length_m * tank.breadth_m * sounding
        surface = 0.0 if sounding == 0.0 else liquid.inertia(tank) / tank.density_kg_m3
        centre = bottom + sounding / 2.0
        yield f"{sounding:.2f}", f"{volume:.3f}", f"{x:.3f}", f"{y:.3f}", f"{centre:.3f}", f"{surface:.3f}"


def _table(header: str, rows: Iterable[Sequence[object]], remark: str = "") -> str:
    lines = [f"# {remark}"] if remark else []
    return "\n".join([*lines, header, *(",".join(str(cell) for cell in row) for row in rows)]) + "\n"


def offsets_text() -> str:
    """Text of offsets.csv."""
    remark = "Merrowby, invented: half-breadths; x forward of the aft perpendicular, z above the moulded baseline"
    return _table("x_m,z_m,half_breadth_m", offsets_rows(), remark)


def papers(scenario: Scenario) -> dict[str, str]:
    """All tables of the demo's test folder: file name -> text."""
    return {
        "offsets.csv": offsets_text(),
        "hydrostatics.csv": _table(
            "draught_m,displacement_t,lcb_m,kb_m,lcf_m,km_m,bm_m,kml_m,tpc_t_per_cm,mct_tm_per_cm",
            hydrostatics_rows(),
            "Merrowby, even keel, integrated from offsets.csv, water of 1025 kg/m3",
        ),
        "tanks/fuel-service.csv": _table(
            "sounding_m,volume_m3,x_m,y_m,z_m,free_surface_m4",
            tank_rows(scenario),
            "Fuel service tank, frames 24 to 31",
        ),
        "survey.csv": survey_text(survey_rows(scenario)),
        "waterline.csv": waterline_text(waterline_rows(scenario)),
        "density.csv": density_text(density_rows(scenario)),
    }


def main(folder: Path) -> None:
    """Write the simulator's offsets and all tables of the demo's test folder."""
    own = Path(__file__).parent / "scenarios" / "merrowby_offsets.csv"
    own.write_text(offsets_text(), encoding="utf-8")
    for name, text in papers(load_scenario(Path("merrowby"))).items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
