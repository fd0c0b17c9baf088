"""Section on how she floated: draughts, freeboards, density, hydrostatics, the condition as inclined."""

from __future__ import annotations

import math

from config.plan import Plan
from config.units import COVERAGE_95
from config.waterline_table import SampleRow
from dsp.types import BudgetLine
from reduction.report.document import Block, Cell, Column, Facts, Figure, Mark, Paragraph, Section, Table
from reduction.report.first_page import degrees
from reduction.report.numbers import METRES, TONNE_METRES, TONNES, fixed, quantity, shown, significant
from reduction.types import Answer, Floating, Quantified, Waterline


def waterline_section(answer: Answer, plan: Plan, samples: tuple[SampleRow, ...] = ()) -> Section:
    """Draughts, freeboards, density with its samples, hydrostatics, and the condition as inclined."""
    blocks: list[Block] = []
    if answer.waterline.value is not None:
        water = answer.waterline.value
        if plan.vessel.length_m is not None and water.readings:
            blocks.append(Figure("waterline", WATERLINE_CAPTION, waterline_in_words(water)))
        blocks.append(Facts(waterline_facts(water, answer.confidence)))
        blocks.append(readings_table(water))
    else:
        blocks.append(Paragraph(f"No waterline was worked out: {answer.waterline.reason or 'no readings on record'}."))
    if samples:
        blocks.append(samples_table(samples))
    if answer.floating.value is not None:
        blocks += floating_blocks(answer.floating.value)
    else:
        blocks.append(Paragraph(f"No hydrostatics: {answer.floating.reason or 'not given'}."))
    if answer.as_inclined.value is not None:
        blocks.append(as_inclined_table(answer))
    return Section("waterline", "How she floated", tuple(blocks))


WATERLINE_CAPTION = (
    "Every reading as a height of the waterline above the baseline, list taken out, on the fitted waterline; dashed: "
    "the straight line of the ends. Below: what each reading is off the fit. ✕ left out."
)


def waterline_in_words(water: Waterline) -> str:
    """Say what the profile shows."""
    out = [r.label for r in water.readings if not r.used]
    return (
        f"{len(water.readings)} draught and freeboard readings along the length with the fitted waterline. "
        f"Left out: {', '.join(out) or 'none'}. The table of readings has every figure."
    )


def waterline_facts(water: Waterline, confidence: float) -> tuple[tuple[str, str], ...]:
    """Draughts, trim, list, hog and density with intervals."""

    def metres(value: Quantified) -> str:
        return str(quantity(value, "m", METRES, confidence))

    known = abs(water.hog.value) > water.hog.u95(confidence)
    hog = ("hogged" if water.hog.value > 0 else "sagged") if known else "neither hog nor sag shown"
    return (
        ("mean draught amidships", metres(water.mean_draught)),
        ("draught aft", metres(water.draught_aft)),
        ("draught forward", metres(water.draught_forward)),
        ("trim, by the stern positive", metres(water.trim)),
        ("list, starboard down positive", degrees(water.list, confidence)),
        (f"hog, keel up positive ({hog})", metres(water.hog)),
        ("density of the water", str(quantity(water.density, "kg/m³", 1.0, confidence))),
    )


def readings_table(water: Waterline) -> Table:
    """Draught and freeboard readings as read, with what the fit made of each."""
    rows: list[tuple[Cell, ...]] = [
        (
            r.label,
            r.kind,
            fixed(r.x, 2),
            fixed(r.y, 2),
            fixed(r.reading, 3),
            fixed(r.waterline_z - r.reading if r.kind == "draught" else r.waterline_z + r.reading, 3),
            str(shown(r.waterline_z, COVERAGE_95 * r.u, "")),
            fixed(1e3 * r.residual, 0),
            Mark("used", "fine") if r.used else Mark("left out", "rejected"),
            r.says,
        )
        for r in water.readings
    ]
    columns = (
        Column("reading"),
        Column("kind"),
        Column("x, m", "right"),
        Column("y, m", "right"),
        Column("as read, m", "right"),
        Column("read from, m", "right"),
        Column("waterline, m", "right"),
        Column("off the fit, mm", "right"),
        Column(""),
        Column("remark", weight=1),
    )
    note = "Read from: height above the moulded baseline that the reading starts at, keel and plating allowed for; a "
    note += "draught counts up from there, a freeboard down. Waterline: above the moulded baseline."
    return Table("Draughts and freeboards", columns, tuple(rows), note)


def samples_table(samples: tuple[SampleRow, ...]) -> Table:
    """Density samples as read."""

    def number(value: float | None, digits: int = 5) -> str:
        return "–" if value is None else significant(value, digits)

    rows: tuple[tuple[Cell, ...], ...] = tuple(
        (
            s.sample,
            s.place or "–",
            number(s.depth_m, 3),
            number(s.hydrometer_kg_m3),
            number(s.calibration_temperature_c, 3),
            number(s.sample_temperature_c, 3),
            number(s.water_temperature_c, 3),
            number(s.salinity_g_kg, 4),
            s.read_by or "–",
            s.note,
        )
        for s in samples
    )
    columns = (
        Column("sample"),
        Column("place", weight=1),
        Column("depth, m", "right"),
        Column("hydrometer, kg/m³", "right"),
        Column("calibrated at, °C", "right"),
        Column("sample, °C", "right"),
        Column("water, °C", "right"),
        Column("salinity, g/kg", "right"),
        Column("read by"),
        Column("note", weight=1),
    )
    return Table("Density samples as read", columns, rows)


def floating_blocks(floating: Floating) -> list[Block]:
    """Hydrostatics at the waterline, with the corrections applied."""
    rows: tuple[tuple[str, float, str], ...] = (
        ("displacement", floating.displacement * TONNES, "t"),
        ("LCB forward of aft perpendicular", floating.lcb, "m"),
        ("KB", floating.kb, "m"),
        ("LCF forward of aft perpendicular", floating.lcf, "m"),
        ("BM transverse", floating.bm, "m"),
        ("KM transverse", floating.km, "m"),
        ("KM longitudinal", floating.kml, "m"),
        ("tonnes per centimetre", floating.tpc * TONNES / 100.0, "t/cm"),
        ("moment to change trim one centimetre", floating.mct * TONNE_METRES / 100.0, "t m/cm"),
    )
    facts = tuple((name, f"{significant(value, 5)} {unit}") for name, value, unit in rows if math.isfinite(value))
    blocks: list[Block] = [Paragraph(f"Hydrostatics at this waterline, from: {floating.source}."), Facts(facts)]
    if floating.corrections:
        blocks.append(corrections_table(floating.corrections))
    return blocks


def corrections_table(corrections: tuple[BudgetLine, ...]) -> Table:
    """Each correction to the displacement by name and amount."""
    rows = tuple((line.source, fixed(line.u * TONNES, 3), line.note) for line in corrections)
    columns = (Column("correction", weight=1), Column("amount, t", "right"), Column("remark", weight=1))
    return Table("Corrections applied to the displacement", columns, rows)


def as_inclined_table(answer: Answer) -> Table:
    """Displacement, KM, GM, free surface, KG, LCG, TCG as inclined."""
    done = answer.as_inclined.value
    assert done is not None
    c = answer.confidence
    rows: list[tuple[Cell, ...]] = [
        ("displacement", str(quantity(done.displacement, "t", TONNES, c)), ""),
        ("KM", str(quantity(done.km, "m", METRES, c)), "transverse metacentre above baseline"),
        (
            "GM fluid",
            str(quantity(done.gm_fluid, "m", METRES, c)),
            "as measured, with the weights in their first state",
        ),
        ("free-surface moments", str(quantity(done.free_surface, "t m", TONNE_METRES, c)), "during the test"),
        ("KG solid", str(quantity(done.kg, "m", METRES, c)), "KM less GM fluid less free surface over displacement"),
    ]
    draughts = answer.waterline.value is not None
    listing = "from the list: by draughts and by the zeros of the stations, each weighed by its interval"
    for name, maybe, unit, remark in (
        ("LCG", done.lcg, "m", "forward of aft perpendicular, from the trim"),
        ("TCG", done.tcg, "m", listing if draughts else "from the list by the zeros of the stations"),
        ("natural roll period", done.roll_period, "s", ""),
        ("radius of gyration over breadth", done.radius_ratio, "", ""),
    ):
        if maybe.value is not None:
            rows.append((name, str(quantity(maybe.value, unit, METRES, c)), maybe.value.note or remark))
        else:
            rows.append((name, "–", maybe.reason or "not computed"))
    columns = (Column("as inclined"), Column("value", "right"), Column("remark", weight=1))
    return Table("The vessel as inclined", columns, tuple(rows))
