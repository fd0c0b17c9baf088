"""The waterline from every draught mark and freeboard at once: mean, trim, list and hog by robust least squares.

Model, weights, and how a misread reading is found: ``docs/method-lightship.md``, section 1.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtri, ndtri

from config.units import COVERAGE_95
from config.waterline_table import ReadingRow
from dsp.types import BudgetLine
from reduction.types import MarkReading, Quantified, Waterline

Array = NDArray[np.float64]

READING_U95 = 0.02
"""m, interval taken for a draught or freeboard that has none (judgement: calm water, no draught tube)."""
FALSE_ALARM = 0.01
"""Probability that a day of clean readings has one called misread."""
HOG_LIMIT = 1.0 / 1500.0
"""Standard deviation of hog over length that is believed before the readings speak (judgement); decides where marks are
missing amidships, and between two readings that could equally be the misread one."""
LIST_LIMIT = math.radians(2.0)
TRIM_LIMIT = 0.03
"""Likewise for list, and for trim over length: wide enough never to matter where readings determine them."""
MOST_MISREAD = 3
"""So many misread readings are looked for together, and no more than a quarter of all."""
TIED = 0.85
"""A second reading whose removal explains at least this share of what the first one's does is named with it."""


@dataclass(frozen=True)
class Fit:
    """Parameters of the water surface and what the readings say about them."""

    parameters: Array
    """(4,) mean at amidships m, trim m, tan(list), hog m."""
    covariance: Array
    """(4, 4)."""
    residuals: Array
    """(n,) m, reading minus surface, for all readings."""
    used: NDArray[np.bool_]
    widened: float
    """Factor on the uncertainties: 1 unless the used readings scatter more than their intervals allow."""
    named: dict[int, str]
    """Reading -> what is said about it."""


def fit_waterline(
    rows: Sequence[ReadingRow], length: float, keel: float, density: Quantified
) -> tuple[Waterline, tuple[str, ...]]:
    """Fit the water surface.

    Parameters
    ----------
    rows : readings, as in waterline.csv; at least one.
    length : m between perpendiculars.
    keel : m, underside of keel below the moulded baseline, where draught marks start unless they say otherwise.
    density : kg/m3.

    Returns
    -------
    Waterline, and sentences on what was assumed or looks wrong.
    """
    x, y = np.array([r.x_m for r in rows]), np.array([r.y_m for r in rows])
    z = np.array([height(r, keel) for r in rows])
    u = np.array([(r.reading_u95_m if r.reading_u95_m is not None else READING_U95) / COVERAGE_95 for r in rows])
    notes = []
    guessed = sum(r.reading_u95_m is None for r in rows)
    if guessed:
        notes.append(
            f"{guessed} draught and freeboard readings have no interval; ±{READING_U95:g} m was taken for each."
        )
    design = surface_design(x, y, length)
    prior = _prior(length)
    fit = robust(design, z, u, prior, [r.mark for r in rows])
    notes.extend(_undetermined(fit.covariance / fit.widened**2, prior))
    if fit.widened > 1.0:
        notes.append(
            f"The readings scatter {fit.widened:.1f} times as much as their intervals allow; the waterline's interval "
            "was widened by that factor. Read the marks again if you can."
        )
    notes.extend(f"Reading {rows[i].mark}: {says}." for i, says in fit.named.items())
    readings = tuple(
        MarkReading(
            r.mark, r.kind, r.x_m, r.y_m, r.reading_m, float(z[i]), float(u[i]), float(fit.residuals[i]),
            bool(fit.used[i]), fit.named.get(i, ""),
        )
        for i, r in enumerate(rows)
    )  # fmt: skip
    return _waterline(fit, readings, density), tuple(notes)


def height(row: ReadingRow, keel: float) -> float:
    """Height of the water at one reading, m above the moulded baseline, after keel and plate corrections."""
    if row.kind == "freeboard":
        return (row.zero_z_m or 0.0) + row.plate_mm / 1e3 - row.reading_m
    zero = -keel if row.zero_z_m is None else row.zero_z_m
    return zero + row.reading_m


def surface_design(x: Array, y: Array, length: float) -> Array:
    """(n, 4) derivatives of the water's height by mean, trim, tan(list) and hog, as `reduction.water.afloat` has it."""
    ahead = (x - length / 2.0) / length
    return np.column_stack([np.ones_like(x), -ahead, y, (2.0 * ahead) ** 2])


def robust(design: Array, z: Array, u: Array, prior: Array, names: Sequence[str]) -> Fit:
    """Fit without the misread readings: the fewest whose absence makes all the others agree with their intervals.

    Where no few can be held responsible, the readings as a whole are worse than stated: only what stands out of their
    own scatter is left out, and the intervals are widened (Birge ratio).
    """
    n = z.size
    critical = -float(ndtri(FALSE_ALARM / (2.0 * n)))
    everything = np.ones(n, dtype=bool)
    out, rivals = _fewest(design, z, u, prior, critical)
    if out is None:
        used = _standing_out(design, z, u, prior, critical)
        out = tuple(np.flatnonzero(~used).tolist())
    used = everything.copy()
    used[[*out, *rivals]] = False
    parameters, covariance = _solve(design, z, u, prior, used)
    residuals = z - design @ parameters
    named = {i: _misread(float(residuals[i])) for i in out}
    if rivals:
        listed = " or ".join(names[i] for i in sorted([*out, *rivals]))
        says = (
            f"looks misread, or another does: one of {listed}; the readings cannot tell which, so none of them is used"
        )
        named = dict.fromkeys([*out, *rivals], says)
    chi2 = _chi2(design, z, u, prior, used)
    dof = max(int(used.sum()) - 4, 1)
    widened = math.sqrt(chi2 / dof) if chi2 > _limit(dof) else 1.0
    return Fit(parameters, covariance * widened**2, residuals, used, widened, named)


def _fewest(
    design: Array, z: Array, u: Array, prior: Array, critical: float
) -> tuple[tuple[int, ...] | None, tuple[int, ...]]:
    """Smallest set of readings without which the rest agrees, and those that could as well be the misread one.

    None where there is no such set.
    """
    n = z.size
    everything = np.ones(n, dtype=bool)
    if _agree(design, z, u, prior, everything, critical):
        return (), ()
    for size in range(1, min(MOST_MISREAD, n // 4) + 1):
        if n - size < 5:
            break
        chances = []
        for out in itertools.combinations(range(n), size):
            used = everything.copy()
            used[list(out)] = False
            chances.append((_chi2(design, z, u, prior, used), out))
        chances.sort()
        best, out = chances[0]
        used = everything.copy()
        used[list(out)] = False
        if not _agree(design, z, u, prior, used, critical):
            continue
        whole = _chi2(design, z, u, prior, everything)
        rivals = tuple(o[0] for c, o in chances[1:] if size == 1 and whole - c >= TIED * (whole - best))
        return out, rivals if n - size - len(rivals) >= 4 else ()
    return None, ()


def _standing_out(design: Array, z: Array, u: Array, prior: Array, critical: float) -> NDArray[np.bool_]:
    """Readings kept when each is held against the scatter of the others, one at a time."""
    used = np.ones(z.size, dtype=bool)
    while int(used.sum()) > max(5, (3 * z.size) // 4):
        gain = _improvement(design, z, u, prior, used)
        worst = int(np.argmax(gain))
        rest = max(int(used.sum()) - 5, 1)
        scatter = max(1.0, (_chi2(design, z, u, prior, used) - float(gain[worst])) / rest)
        if gain[worst] <= scatter * critical**2:
            break
        used[worst] = False
    return used


def _agree(design: Array, z: Array, u: Array, prior: Array, used: NDArray[np.bool_], critical: float) -> bool:
    if float(_improvement(design, z, u, prior, used).max()) > critical**2:
        return False
    return _chi2(design, z, u, prior, used) <= _limit(max(int(used.sum()) - 4, 1))


def _limit(dof: int) -> float:
    """Chi-square that clean readings stay under but once in a few hundred times."""
    return float(chdtri(dof, 0.003))


def _chi2(design: Array, z: Array, u: Array, prior: Array, used: NDArray[np.bool_]) -> float:
    """Misfit of the used readings and of the belief beforehand."""
    parameters, _ = _solve(design, z, u, prior, used)
    misfit = (z - design @ parameters)[used] / u[used]
    return float(misfit @ misfit + np.sum((parameters / prior) ** 2))


def _prior(length: float) -> Array:
    """Standard deviations believed beforehand of mean, trim, tan(list), hog."""
    return np.array([math.inf, TRIM_LIMIT * length, math.tan(LIST_LIMIT), HOG_LIMIT * length])


def _solve(design: Array, z: Array, u: Array, prior: Array, used: NDArray[np.bool_]) -> tuple[Array, Array]:
    a = design[used] / u[used, None]
    normal = a.T @ a + np.diag(1.0 / prior**2)
    covariance: Array = np.asarray(np.linalg.inv(normal), dtype=float)
    return np.asarray(covariance @ a.T @ (z[used] / u[used]), dtype=float), covariance


def _improvement(design: Array, z: Array, u: Array, prior: Array, used: NDArray[np.bool_]) -> Array:
    """By how much chi-square falls if one reading is left out: r^2 / (u^2 - s^2), s of the surface there."""
    parameters, covariance = _solve(design, z, u, prior, used)
    residuals = z - design @ parameters
    leverage = np.einsum("ij,jk,ik->i", design, covariance, design)
    free = np.maximum(u**2 - leverage, 1e-6 * u**2)
    gain = np.where(used, residuals**2 / free, 0.0)
    # Where hardly any freedom is left the reading stands alone: nothing can call it misread.
    return np.where(free < 0.02 * u**2, 0.0, gain)


def _misread(misfit: float) -> str:
    said = f"looks misread: {abs(misfit):.3f} m too {'high' if misfit > 0 else 'low'} against all the others; left out"
    for size, words in ((1.0, "a metre"), (0.5, "half a metre"), (0.2, "two decimetres"), (0.1, "a decimetre")):
        if abs(abs(misfit) - size) < 0.025 + 0.02 * size:
            return f"{said}; about {words}, as a mark taken for its neighbour"
    return said


def _undetermined(covariance: Array, prior: Array) -> list[str]:
    """Sentences for what the readings do not determine and the belief beforehand had to."""
    notes = []
    for index, words in ((1, "trim"), (2, "list"), (3, "hog")):
        if math.sqrt(float(covariance[index, index])) > 0.7 * prior[index]:
            spread = {1: f"{prior[1]:.2f} m", 2: "2 deg", 3: f"{prior[3]:.3f} m"}[index]
            notes.append(f"The readings do not determine {words}; taken as 0 with a standard uncertainty of {spread}.")
    return notes


def _waterline(fit: Fit, readings: tuple[MarkReading, ...], density: Quantified) -> Waterline:
    mean, trim, tangent, hog = (float(v) for v in fit.parameters)
    # tan(list) and list differ by 1 in 1e4 at 1 deg in their uncertainty; the covariance is carried in rad.
    to_rad = np.diag([1.0, 1.0, 1.0 / (1.0 + tangent**2), 1.0])
    covariance = to_rad @ fit.covariance @ to_rad
    note = f"widened {fit.widened:.2f} times" if fit.widened > 1 else ""

    def part(row: Array, value: float, unit: str) -> Quantified:
        u = math.sqrt(float(row @ covariance @ row))
        return Quantified(value, u, budget=(BudgetLine("draught and freeboard readings", u, note),), unit=unit)

    return Waterline(
        mean_draught=part(np.array([1.0, 0, 0, 0]), mean, "m"),
        draught_aft=part(np.array([1.0, 0.5, 0, 1.0]), mean + hog + trim / 2, "m"),
        draught_forward=part(np.array([1.0, -0.5, 0, 1.0]), mean + hog - trim / 2, "m"),
        trim=part(np.array([0, 1.0, 0, 0]), trim, "m"),
        list=part(np.array([0, 0, 1.0, 0]), math.atan(tangent), "rad"),
        hog=part(np.array([0, 0, 0, 1.0]), hog, "m"),
        covariance=covariance,
        readings=readings,
        density=density,
    )
