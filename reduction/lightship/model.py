"""One measurement model from every input to lightship, evaluated on many draws at once.

The linear budget (GUM) and the random draws (JCGM 101) both evaluate this one model, so that draughts reach
displacement, KM, GM, LCG together, and the mass of a test weight reaches its moment and the lightship together. Inputs
are independent components of unit standard deviation; correlated ones (the waterline, the heels) are taken apart by
their Cholesky factors. Derivation: ``docs/method-lightship.md``, section 5.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from reduction.gm.curve import Form
from reduction.lightship.corrections import to_lightship
from reduction.lightship.survey import Survey, aboard_surfaces
from reduction.types import SurveyItem
from reduction.water.tanks import Liquid

Array = NDArray[np.float64]

AS_INCLINED = ("displacement", "km", "gm", "free_surface", "kg", "lcg", "tcg")
LIGHTSHIP = ("mass", "vcg", "lightship_lcg", "lightship_tcg")
OUTPUTS = AS_INCLINED + LIGHTSHIP


@dataclass(frozen=True)
class Component:
    """One independent source: unit standard deviation inside, the trade's name outside."""

    key: str
    source: str
    """Name of its budget line."""
    dof: float = math.inf


@dataclass(frozen=True)
class HullPart:
    """Displacement and hydrostatics as a quadratic of the waterline's components."""

    displacement: Quadratic
    """kg, at the measured density."""
    km: Quadratic
    kb: Quadratic
    lcb: Quadratic
    bm: Quadratic
    trim: Quadratic
    list: Quadratic
    length: float
    density_u: float = 0.0
    """Relative standard uncertainty of the water's density."""
    displacement_u: float = 0.0
    """Relative, of the hydrostatics themselves."""
    km_u: float = 0.0
    """Relative."""
    bm_u: float = 0.0
    """Relative, common with KM: both come from the waterplane."""
    kg_guess: float = math.nan
    """m, stands in for KG in the lever of trim where there is no GM."""
    kg_guess_u: float = 0.0
    list_known: bool = False
    """Whether list was read from draughts."""
    source: str = "draught and freeboard readings"


@dataclass(frozen=True)
class Quadratic:
    """f = value + slope.z + z.bend.z / 2 of p components z."""

    value: float
    slope: Array
    bend: Array

    @staticmethod
    def constant(value: float, size: int) -> Quadratic:
        """Give a figure that does not depend on the waterline."""
        return Quadratic(value, np.zeros(size), np.zeros((size, size)))

    def __call__(self, z: Array) -> Array:
        """Evaluate at (n, p) components."""
        return np.asarray(self.value + z @ self.slope + 0.5 * np.einsum("ni,ij,nj->n", z, self.bend, z))


@dataclass(frozen=True)
class GmPart:
    """The fit of GM, taken apart so that it can be made again for every draw."""

    gm: float
    tcg: float
    """m, without test moment."""
    heel: Array
    """(k,) rad, used windows."""
    moment: Array
    """(k,) kg m."""
    rise: Array
    """(k,) kg m."""
    factor: Array
    """(k, k) rad, Cholesky factor of the heels' covariance, widened as the fit was."""
    gain: Array
    """(2, k) d(GM, TCG) / d heel."""
    form: Form
    straight: bool
    """Carried by the straight line."""
    scale_u: float
    zero_u: float
    columns: Mapping[str, Array]
    """Common input -> (k,) change of moment (kg m) for one standard uncertainty."""
    choice_u: float = 0.0
    curvature_u: float = 0.0
    dof: float = math.inf
    first_moment: float = 0.0
    """kg m, transverse moment of the state in which draughts were read."""
    first_column: Mapping[str, float] = field(default_factory=dict)
    list_weight: float = 1.0
    """Share of the stations in the list; the draughts have the rest."""


@dataclass(frozen=True)
class Model:
    """Everything that reaches the answer."""

    hull: HullPart
    gm: GmPart | None
    liquids: tuple[Liquid, ...]
    survey: Survey
    components: tuple[Component, ...]
    place: Mapping[str, int]
    """Key -> column of the draws."""

    @staticmethod
    def build(hull: HullPart, gm: GmPart | None, liquids: Sequence[Liquid], survey: Survey) -> Model:
        """List the components of a case."""
        found: list[Component] = [Component(f"waterline {i}", hull.source) for i in range(hull.displacement.slope.size)]

        def add(key: str, source: str, there: float, dof: float = math.inf) -> None:
            if there > 0:
                found.append(Component(key, source, dof))

        add("density", "density of the water", hull.density_u)
        add("hull displacement", "hydrostatics: displacement", hull.displacement_u)
        add("hull km", "hydrostatics: KM" if hull.km_u > 0 else "hydrostatics: BM", hull.km_u or hull.bm_u)
        add("kg guess", "KG taken for the lever of trim", hull.kg_guess_u if gm is None else 0.0)
        if gm is not None:
            for i in range(gm.heel.size):
                add(f"heel {i}", "heel of the windows", 1.0, gm.dof)
            add("scale", "scale of the stations", gm.scale_u)
            add("zero", "zero of the stations", gm.zero_u)
            add("choice", "choice of windows", gm.choice_u)
            add("curvature", "curvature left out", gm.curvature_u)
            for name, column in gm.columns.items():
                add(name, source_of(name), float(np.abs(column).max(initial=0.0)))
        known = {c.key for c in found}
        for tank in liquids:
            add(f"free surface: {tank.name}", "free surface", tank.free_surface_u)
        for item, surface_u in aboard_surfaces(survey.items):
            add(f"free surface: {_label(item)}", "free surface", surface_u)
        for item in survey.items:
            key = _mass_key(item, survey)
            if key not in known:
                add(key, f"{item.group}: masses", item.mass_u)
                known.add(key)
            for axis in "xyz":
                add(f"{axis}: {_label(item)}", f"{item.group}: centres", item.position_u)
        unique = tuple({c.key: c for c in found}.values())
        return Model(hull, gm, tuple(liquids), survey, unique, {c.key: i for i, c in enumerate(unique)})

    def evaluate(self, z: Array) -> dict[str, Array]:
        """Work out every result for many draws.

        Parameters
        ----------
        z : (n, c) components, standard deviations from their values.

        Returns
        -------
        Name (`OUTPUTS`) -> (n,) SI; NaN where the case does not hold what is needed.
        """
        draw = _Draw(self, z)
        size = self.hull.displacement.slope.size
        water = z[:, :size]
        hull = self.hull
        delta = hull.displacement(water)
        delta = delta * (1.0 + hull.density_u * draw.of("density") + hull.displacement_u * draw.of("hull displacement"))
        km_error = draw.of("hull km")
        bm = hull.bm(water) * (1.0 + hull.bm_u * km_error)
        km = hull.km(water) * (1.0 + hull.km_u * km_error)
        fluid = np.zeros(z.shape[0])
        for tank in self.liquids:
            fluid = fluid + tank.free_surface + tank.free_surface_u * draw.of(f"free surface: {tank.name}")
        for item, surface_u in aboard_surfaces(self.survey.items):
            fluid = fluid + item.free_surface + surface_u * draw.of(f"free surface: {_label(item)}")
        nothing = np.full(z.shape[0], math.nan)
        if self.gm is None:
            gm = tcg = nothing
        else:
            gm, rest = _refit(self.gm, draw, delta, bm - hull.bm.value)
            tcg = self._tcg(self.gm, draw, delta, gm, rest, bm - hull.bm.value, hull.list(water))
        kg = km - gm - fluid / delta
        slope = hull.trim(water) / hull.length
        height = kg if self.gm is not None else hull.kg_guess + hull.kg_guess_u * draw.of("kg guess")
        lcg = hull.lcb(water) + (height - hull.kb(water)) * slope if math.isfinite(hull.length) else nothing
        out = {"displacement": delta, "km": km, "gm": gm, "free_surface": fluid, "kg": kg, "lcg": lcg, "tcg": tcg}
        return out | self._lightship(draw, delta, lcg, tcg, kg)

    def _tcg(
        self, part: GmPart, draw: _Draw, delta: Array, gm: Array, rest: Array, bm_change: Array, read: Array
    ) -> Array:
        moment = np.full(delta.shape, part.first_moment)
        for name, change in part.first_column.items():
            moment = moment + change * draw.of(name)
        by_stations = rest + moment / delta
        if not self.hull.list_known:
            return by_stations
        tangent = np.tan(read)
        by_draughts = gm * tangent + part.form.c(read) + 0.5 * bm_change * tangent**3
        return np.asarray(part.list_weight * by_stations + (1.0 - part.list_weight) * by_draughts)

    def _lightship(self, draw: _Draw, delta: Array, lcg: Array, tcg: Array, kg: Array) -> dict[str, Array]:
        items = self.survey.items
        masses = [item.mass + item.mass_u * draw.of(_mass_key(item, self.survey)) for item in items]
        errors = [self._place_errors(draw, item) for item in items]
        mass, (x, y, z) = to_lightship(delta, (lcg, tcg, kg), items, masses, errors)
        return {"mass": mass, "vcg": z, "lightship_lcg": x, "lightship_tcg": y}

    def _place_errors(self, draw: _Draw, item: SurveyItem) -> tuple[Array, Array, Array]:
        x, y, z = (item.position_u * draw.of(f"{axis}: {_label(item)}") for axis in "xyz")
        return x, y, z


class _Draw:
    """Columns of the draws by key; a source that is not there has no deviation."""

    def __init__(self, model: Model, z: Array) -> None:
        self.model, self.z = model, z
        self.none = np.zeros(z.shape[0])

    def of(self, key: str) -> Array:
        column = self.model.place.get(key)
        return self.none if column is None else self.z[:, column]


def quadratic_of(
    evaluate: Callable[[Array], Mapping[str, float]], size: int, step: float = 2.0
) -> dict[str, Quadratic]:
    """Second-order surfaces of several figures by differences at 0, single and paired steps of the components."""
    centre = evaluate(np.zeros(size))
    unit = np.eye(size) * step
    plus = [evaluate(unit[i]) for i in range(size)]
    minus = [evaluate(-unit[i]) for i in range(size)]
    pairs = {(i, j): evaluate(unit[i] + unit[j]) for i in range(size) for j in range(i)}
    found = {}
    for name, value in centre.items():
        slope = np.array([(p[name] - m[name]) / (2 * step) for p, m in zip(plus, minus, strict=True)])
        bend = np.zeros((size, size))
        for i in range(size):
            bend[i, i] = (plus[i][name] - 2 * value + minus[i][name]) / step**2
        for (i, j), both in pairs.items():
            mixed = (both[name] - plus[i][name] - plus[j][name] + value) / step**2
            bend[i, j] = bend[j, i] = mixed
        found[name] = Quadratic(float(value), slope, bend)
    return found


def _refit(part: GmPart, draw: _Draw, delta: Array, bm_change: Array) -> tuple[Array, Array]:
    """(GM, TCG without test moment) of every draw, by the fit that was carried."""
    k = part.heel.size
    errors = np.column_stack([draw.of(f"heel {i}") for i in range(k)]) @ part.factor.T
    heel = part.heel * (1.0 + part.scale_u * draw.of("scale")[:, None]) + errors
    heel = heel + part.zero_u * draw.of("zero")[:, None]
    moment = np.broadcast_to(part.moment, heel.shape)
    for name, column in part.columns.items():
        moment = moment + draw.of(name)[:, None] * column
    arm, rise = moment / delta[:, None], part.rise / delta[:, None]
    if part.straight:
        tangent = np.tan(heel)
        x = arm + rise * tangent
        dx = x - x.mean(axis=1, keepdims=True)
        slope = np.sum(dx * tangent, axis=1) / np.sum(dx * dx, axis=1)
        gm = 1.0 / slope
        tcg = (tangent.mean(axis=1) - slope * x.mean(axis=1)) * gm
        return gm + part.choice_u * draw.of("choice") + part.curvature_u * draw.of("curvature"), tcg
    tangent = np.tan(part.heel)
    bend, slope_c = part.form.c(part.heel), part.form.slope(part.heel)
    stiffness = (part.gm - rise) * (1.0 + tangent**2) + slope_c
    miss = (part.gm - rise) * tangent + bend + 0.5 * bm_change[:, None] * tangent**3 - arm - part.tcg
    model = part.heel - miss / stiffness
    # One Newton step more: the first one leaves an error of second order in the draw.
    tangent = np.tan(model)
    bend = bend + slope_c * (model - part.heel) + 0.5 * _second(part) * (model - part.heel) ** 2
    miss = (part.gm - rise) * tangent + bend + 0.5 * bm_change[:, None] * tangent**3 - arm - part.tcg
    model = model - miss / stiffness
    change = (heel - model) @ part.gain.T
    return part.gm + change[:, 0] + part.choice_u * draw.of("choice"), part.tcg + change[:, 1]


def _second(part: GmPart) -> Array:
    step = 1e-3
    c = part.form.c
    return np.asarray((c(part.heel + step) - 2 * c(part.heel) + c(part.heel - step)) / step**2)


def source_of(name: str) -> str:
    """Budget line of a common input of the moments."""
    if name.startswith("mass of weight"):
        return "masses of the test weights"
    if name.startswith("position of weight"):
        return "positions of the test weights"
    if name.startswith("moment given"):
        return "moments as given"
    return "people, crane and tanks that shifted"


def _label(item: SurveyItem) -> str:
    return f"{item.group}, {item.name}, {item.space}, {item.x:g}, {item.y:g}, {item.z:g}, {item.action}"


def _mass_key(item: SurveyItem, survey: Survey) -> str:
    return (survey.common or {}).get(item.name, f"mass: {_label(item)}")
