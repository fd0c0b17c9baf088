"""Hydrostatics and cross curves out of tables, with the published corrections of draught surveys."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline
from scipy.optimize import brentq

from config.errors import bad
from config.hull_tables import HydrostaticsTable, KnTable
from dsp.types import BudgetLine
from reduction.types import Floating
from reduction.water.afloat import Afloat
from reduction.water.hydrostatics import Kn

Array = NDArray[np.float64]


@dataclass(frozen=True)
class FromTable:
    """A hydrostatic table, interpolated, with the published corrections for trim, hog, list and density."""

    table: HydrostaticsTable
    length: float
    """m between perpendiculars."""
    density: float = 1025.0
    """kg/m3 for which the table was made."""
    breadth: float = math.nan
    cross: KnTable | None = None
    name: str = "table"
    curves: dict[str, list[CubicSpline]] = field(default_factory=dict, compare=False)

    def __post_init__(self) -> None:
        for key, rows in self.table.columns.items():
            self.curves[key] = [CubicSpline(self.table.draughts, row) for row in rows]

    def value(self, key: str, draught: float, trim: float = 0.0) -> float:
        """Interpolate one column: cubic spline over draught, linear over trim; NaN where there is no such column."""
        if key not in self.curves:
            return math.nan
        low, high = self.table.draughts[0], self.table.draughts[-1]
        if not low <= draught <= high:
            raise bad("hydrostatics.csv", "draught_m", f"{draught:.3f} m", f"lines from {low:g} to {high:g} m only")
        values = [float(curve(draught)) for curve in self.curves[key]]
        trims = self.table.trims
        if len(trims) == 1:
            return values[0]
        if not trims[0] <= trim <= trims[-1]:
            wanted = f"trims from {trims[0]:g} to {trims[-1]:g} m only"
            raise bad("hydrostatics.csv", "trim_m", f"{trim:.3f} m", wanted)
        return float(np.interp(trim, trims, values))

    def at(self, afloat: Afloat) -> Floating:
        """Interpolate at the mean of means and add the corrections one by one."""
        layered = len(self.table.trims) == 1
        mean = afloat.mean + afloat.hog / 4.0
        trim = afloat.trim
        base = self.value("displacement_t", mean, trim)
        lines = [
            BudgetLine("table at the mean draught amidships", self.value("displacement_t", afloat.mean, trim) * 1e3)
        ]
        hog = base - self.value("displacement_t", afloat.mean, trim)
        if afloat.hog:
            lines.append(BudgetLine("hog or sag", hog * 1e3, "mean of means: a quarter of the deflection"))
        total = base
        if layered and trim:
            first, second = self._layer(mean, trim, lines)
            total += first + second
        total += self._listed(mean, trim, afloat.list, lines)
        ratio = afloat.density / self.density
        lines.append(
            BudgetLine("density", total * (ratio - 1.0) * 1e3, f"{afloat.density:.1f} for {self.density:g} kg/m3")
        )
        draught = self._draught(total, trim)
        return self._floating(draught, trim, total * ratio * 1e3, layered, tuple(lines))

    def _layer(self, mean: float, trim: float, lines: list[BudgetLine]) -> tuple[float, float]:
        """First (layer) and second (Nemoto) trim correction, t."""
        lcf, tpc = self.value("lcf_m", mean), self.value("tpc_t_per_cm", mean)
        first = second = 0.0
        if math.isfinite(lcf) and math.isfinite(tpc):
            first = first_trim_correction(trim, self.length / 2.0 - lcf, tpc, self.length)
            lines.append(BudgetLine("first trim correction (layer)", first * 1e3, "trim, LCF from amidships, TPC"))
        low, high = self.table.draughts[0], self.table.draughts[-1]
        if "mct_tm_per_cm" in self.curves and low <= mean - 0.5 and mean + 0.5 <= high:
            more, less = self.value("mct_tm_per_cm", mean + 0.5), self.value("mct_tm_per_cm", mean - 0.5)
            second = second_trim_correction(trim, more - less, self.length)
            lines.append(BudgetLine("second trim correction (Nemoto)", second * 1e3, "change of MCT over a metre"))
        return first, second

    def _listed(self, mean: float, trim: float, angle: float, lines: list[BudgetLine]) -> float:
        """List correction, t, from the change of TPC between the draughts of both sides."""
        if not angle or not math.isfinite(self.breadth) or "tpc_t_per_cm" not in self.curves:
            return 0.0
        low, high = self.table.draughts[0], self.table.draughts[-1]
        half = 0.5 * self.breadth * abs(math.tan(angle))
        deep, shallow = min(mean + half, high), max(mean - half, low)
        amount = list_correction(
            deep, shallow, self.value("tpc_t_per_cm", deep, trim), self.value("tpc_t_per_cm", shallow, trim)
        )
        lines.append(BudgetLine("list", amount * 1e3, "difference of TPC between the two sides"))
        return amount

    def _draught(self, displacement: float, trim: float) -> float:
        """Draught at which the table gives a displacement (t)."""
        low, high = self.table.draughts[0], self.table.draughts[-1]
        if not self.value("displacement_t", low, trim) <= displacement <= self.value("displacement_t", high, trim):
            wanted = f"a displacement between those of the table's draughts, {low:g} to {high:g} m"
            raise bad("hydrostatics.csv", "displacement_t", f"{displacement:.1f} t", wanted)
        return float(brentq(lambda d: self.value("displacement_t", d, trim) - displacement, low, high, xtol=1e-10))

    def _floating(
        self, draught: float, trim: float, displacement: float, layered: bool, lines: tuple[BudgetLine, ...]
    ) -> Floating:
        kb, km, bm = (self.value(k, draught, trim) for k in ("kb_m", "km_m", "bm_m"))
        if math.isnan(bm):
            bm = km - kb
        if math.isnan(km):
            km = kb + bm
        if math.isnan(kb):
            kb = km - bm
        kml = self.value("kml_m", draught, trim)
        mct = self.value("mct_tm_per_cm", draught, trim) * 1e5
        # Without KML: MCT is customarily made with GML taken for BML (common practice).
        bml = kml - kb if math.isfinite(kml) else mct * self.length / displacement
        lcb = self.value("lcb_m", draught, trim)
        if layered:
            lcb -= bml * trim / self.length
        return Floating(
            displacement=displacement,
            lcb=lcb,
            kb=kb,
            lcf=self.value("lcf_m", draught, trim),
            km=km,
            kml=kml if math.isfinite(kml) else kb + bml,
            bm=bm,
            tpc=self.value("tpc_t_per_cm", draught, trim) * 1e5,
            mct=mct if math.isfinite(mct) else displacement * bml / self.length,
            source="table with the published corrections for trim, hog, list and density"
            if layered
            else "table at the actual trim, corrected for hog, list and density",
            corrections=lines,
        )

    def kn(self, afloat: Afloat) -> Kn | None:
        """Cross curve from kn.csv at the displacement and trim; None without such a table."""
        if self.cross is None:
            return None
        tonnes = self.at(afloat).displacement / 1e3 * self.density / afloat.density
        return kn_from_table(self.cross, tonnes, afloat.trim)

    def floating_at(self, displacement: float, density: float, trim: float = 0.0) -> Afloat:
        """Upright waterline of a displacement, by the table."""
        tonnes = displacement / 1e3 * self.density / density
        start = self._draught(tonnes, trim if len(self.table.trims) > 1 else 0.0)
        at = Afloat(start, trim, density=density)
        for _ in range(20):
            miss = displacement - self.at(at).displacement
            step = miss / max(self._rise(at), 1e-9)
            at = at.moved(mean=step)
            if abs(step) < 1e-9:
                break
        return at

    def _rise(self, afloat: Afloat) -> float:
        """kg per m of sinkage."""
        trim = afloat.trim if len(self.table.trims) > 1 else 0.0
        i = int(np.argmin(np.abs(np.array(self.table.trims) - trim)))
        return float(self.curves["displacement_t"][i](afloat.mean, 1)) * 1e3 * afloat.density / self.density


def first_trim_correction(trim: float, lcf_aft_of_amidships: float, tpc: float, length: float) -> float:
    """First trim correction (layer), t: trim in cm x LCF from amidships x TPC / length.

    ``trim`` m by the stern positive, ``lcf_aft_of_amidships`` m, ``tpc`` t/cm. Positive where the centre of flotation
    lies on the side of the deeper end. Source: draught-survey practice (doclecture.net/1-47962).

    >>> round(first_trim_correction(1.0, 2.0, 20.0, 100.0), 6)
    40.0
    """
    return 100.0 * trim * lcf_aft_of_amidships * tpc / length


def second_trim_correction(trim: float, mct_difference: float, length: float) -> float:
    """Second trim correction (Nemoto), t: 50 trim^2 (MCT_+50 - MCT_-50) / length; trim m, MCT t m/cm.

    Source: draught-survey practice.

    >>> round(second_trim_correction(2.0, 10.0, 100.0), 6)
    20.0
    """
    return 50.0 * trim**2 * mct_difference / length


def list_correction(deep: float, shallow: float, tpc_deep: float, tpc_shallow: float) -> float:
    """List correction, t: 6 (d1 - d2)(TPC1 - TPC2); draughts of both sides m, TPC t/cm.

    Source: draught-survey practice.

    >>> round(list_correction(5.2, 4.8, 21.0, 20.5), 6)
    1.2
    """
    return 6.0 * (deep - shallow) * (tpc_deep - tpc_shallow)


def kn_from_table(table: KnTable, displacement: float, trim: float) -> Kn:
    """Cross curve at a displacement (t of the table's water) and trim (m): linear between curves, spline over heel."""
    trims = sorted({r[1] for r in table.rows})
    if len(trims) > 1 and not trims[0] <= trim <= trims[-1]:
        raise bad("kn.csv", "trim_m", f"{trim:.3f} m", f"trims from {trims[0]:g} to {trims[-1]:g} m only")
    curves = [(t, _kn_at(table, displacement, t)) for t in trims]
    if len(curves) == 1:
        return curves[0][1]

    def between(heel: Array) -> Array:
        values = np.array([curve(heel) for _, curve in curves])
        i = min(max(int(np.searchsorted(trims, trim)) - 1, 0), len(trims) - 2)
        share = (trim - trims[i]) / (trims[i + 1] - trims[i])
        return np.asarray(values[i] * (1 - share) + values[i + 1] * share)

    return between


def _kn_at(table: KnTable, displacement: float, trim: float) -> Kn:
    loads = sorted({r[0] for r in table.rows if r[1] == trim})
    slack = 0.02 if len(loads) == 1 else 0.0
    if not loads[0] * (1 - slack) <= displacement <= loads[-1] * (1 + slack):
        wanted = f"displacements from {loads[0]:g} to {loads[-1]:g} t only"
        raise bad("kn.csv", "displacement_t", f"{displacement:.1f} t", wanted)
    splines = []
    for load in loads:
        heel = np.radians([r[2] for r in table.rows if r[0] == load and r[1] == trim and r[2] > 0])
        kn = np.array([r[3] for r in table.rows if r[0] == load and r[1] == trim and r[2] > 0])
        splines.append(CubicSpline(np.concatenate([-heel[::-1], [0.0], heel]), np.concatenate([-kn[::-1], [0.0], kn])))
    # KN varies with displacement along a curve; parabola or cubic between loads where there are enough of them.

    def curve(heel: Array) -> Array:
        values = np.array([s(np.asarray(heel, dtype=float)) for s in splines])
        if len(loads) == 1:
            return np.asarray(values[0])
        return np.asarray(CubicSpline(loads, values, axis=0)(displacement), dtype=float)

    return curve
