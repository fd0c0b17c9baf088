"""Density of the water she floats in: hydrometer samples, and sea water by equation of state.

EOS-80 (UNESCO Technical Papers in Marine Science 44, 1983) carries a sample from its own temperature to that of the
water at the hull; TEOS-10 is the check. Derivation: ``docs/method-lightship.md``, section 2.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq

from config.units import COVERAGE_95
from config.waterline_table import SampleRow
from dsp.types import BudgetLine
from reduction.types import Quantified

GLASS_EXPANSION = 25e-6
"""1/K, cubic, of a soda-lime glass hydrometer (from memory; ISO 1768 works with this value)."""
READING_U95 = 0.5
"""kg/m3, interval taken for a reading that has none: half a division of the scale (common practice)."""
CALIBRATION_TEMPERATURE = 15.0
"""degC, taken where a hydrometer's own is not given (common practice)."""
SALTY_U95 = 0.3
"""kg/m3, interval taken for a density from salinity and temperature where none is given (judgement)."""
LARGEST_STEP = 3.0
"""kg/m3: two samples further apart than this are said aloud."""


def eos80(salinity: float, temperature: float) -> float:
    """Density of sea water at atmospheric pressure, kg/m3.

    Parameters
    ----------
    salinity : practical salinity (PSS-78), 0 to 42.
    temperature : degC (IPTS-68), -2 to 40.

    References
    ----------
    UNESCO 44 (1983), pp. 15-19, with its check values.

    >>> round(eos80(35.0, 5.0), 5)
    1027.67547
    """
    s, t = salinity, temperature
    pure = (
        999.842594 + 6.793952e-2 * t - 9.095290e-3 * t**2 + 1.001685e-4 * t**3 - 1.120083e-6 * t**4 + 6.536332e-9 * t**5
    )
    a = 8.24493e-1 - 4.0899e-3 * t + 7.6438e-5 * t**2 - 8.2467e-7 * t**3 + 5.3875e-9 * t**4
    b = -5.72466e-3 + 1.0227e-4 * t - 1.6546e-6 * t**2
    return float(pure + a * s + b * s**1.5 + 4.8314e-4 * s**2)


def salinity_of(density: float, temperature: float) -> float | None:
    """Practical salinity at which EOS-80 gives ``density`` (kg/m3) at the surface; None outside 0 to 42."""
    if not eos80(0.0, temperature) <= density <= eos80(42.0, temperature):
        return None
    return float(brentq(lambda s: eos80(s, temperature) - density, 0.0, 42.0, xtol=1e-9))


def hydrometer(reading: float, temperature: float, calibrated_at: float = CALIBRATION_TEMPERATURE) -> float:
    """True density (kg/m3) of a sample from a glass hydrometer's reading.

    A warmer glass displaces more and reads low in proportion: rho = reading (1 - gamma (t - t_cal)).

    >>> round(hydrometer(1025.0, 25.0, 15.0), 3)
    1024.744
    """
    return reading * (1.0 - GLASS_EXPANSION * (temperature - calibrated_at))


def at_temperature(density: float, sample: float, water: float) -> float:
    """Carry a density (kg/m3) from the sample's temperature to the water's (degC), at constant salinity.

    Outside EOS-80's salinities (brackish water with silt, water purer than pure) the change of pure water is taken.
    """
    if sample == water:
        return density
    salt = salinity_of(density, sample)
    if salt is None:
        return density * eos80(0.0, water) / eos80(0.0, sample)
    return eos80(salt, water)


@dataclass(frozen=True)
class Sample:
    """One sample as reduced."""

    name: str
    density: float
    """kg/m3 at the water's temperature."""
    u: float
    """kg/m3, standard uncertainty of this one."""
    check: float
    """kg/m3 by TEOS-10 from salinity and temperature; NaN where they were not taken."""
    assumed: tuple[str, ...] = ()


def reduce_sample(row: SampleRow) -> Sample:
    """Reduce one line of density.csv."""
    assumed: list[str] = []
    check = math.nan
    if row.salinity_g_kg is not None and row.water_temperature_c is not None:
        from reduction.water.teos10 import surface_density

        check = surface_density(row.salinity_g_kg, row.water_temperature_c)
    if row.hydrometer_kg_m3 is None:
        u95 = row.u95_kg_m3 if row.u95_kg_m3 is not None else SALTY_U95
        return Sample(row.sample, check, u95 / COVERAGE_95, check)
    value = row.hydrometer_kg_m3 + row.correction_kg_m3
    sample = row.sample_temperature_c if row.sample_temperature_c is not None else row.water_temperature_c
    if sample is None:
        assumed.append(f"density sample {row.sample}: no temperature noted; the reading was taken as it stands")
    else:
        calibrated = CALIBRATION_TEMPERATURE
        if row.calibration_temperature_c is not None:
            calibrated = row.calibration_temperature_c
        else:
            assumed.append(f"density sample {row.sample}: hydrometer taken as calibrated at 15 degC")
        value = hydrometer(value, sample, calibrated)
        if row.water_temperature_c is not None:
            value = at_temperature(value, sample, row.water_temperature_c)
    interval = row.u95_kg_m3
    if interval is None:
        interval = READING_U95
        assumed.append(f"density sample {row.sample}: interval taken as {READING_U95:g} kg/m3 at 95 %")
    return Sample(row.sample, value, interval / COVERAGE_95, check, tuple(assumed))


def water_density(rows: Sequence[SampleRow]) -> tuple[Quantified, tuple[str, ...]]:
    """Density at the hull from all samples, with what had to be assumed and what does not agree.

    Returns
    -------
    kg/m3 with its uncertainty, and sentences. The reading's uncertainty is common to all samples of one hydrometer
    and does not shrink with their number; their scatter does.

    >>> from config.waterline_table import parse_density
    >>> rows = parse_density("sample,hydrometer_kg_m3,sample_temperature_c\\n1,1024.0,15\\n2,1025.0,15\\n")
    >>> water_density(rows)[0].value
    1024.5
    """
    samples = [reduce_sample(row) for row in rows]
    values = np.array([s.density for s in samples])
    notes = [note for s in samples for note in s.assumed]
    scatter = float(values.std(ddof=1) / math.sqrt(values.size)) if values.size > 1 else 0.0
    reading = math.sqrt(float(np.mean([s.u**2 for s in samples])))
    if values.size > 1 and float(np.ptp(values)) > LARGEST_STEP:
        notes.append(
            f"Density samples differ by {float(np.ptp(values)):.1f} kg/m3; take more, at more depths and places, "
            "before relying on the displacement."
        )
    for s in samples:
        if math.isfinite(s.check) and abs(s.check - s.density) > max(3.0 * s.u, 0.5):
            notes.append(
                f"Density sample {s.name}: hydrometer says {s.density:.2f}, salinity and temperature say {s.check:.2f} "
                "kg/m3 (TEOS-10); one of them is misread."
            )
    lines = (BudgetLine("hydrometer reading", reading), BudgetLine("scatter between samples", scatter))
    value = float(values.mean())
    return Quantified(value, math.hypot(reading, scatter), budget=lines, unit="kg/m3"), tuple(notes)
