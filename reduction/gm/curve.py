"""The true curve: heel against moment without taking the righting arm for straight.

Every hull form is written as one equation, linear in what is sought (``docs/method-gm.md``, section 1):

    M/Delta + TCG = GM tan(heel) + c(heel)

with c = BM tan^3(heel) / 2 for a wall-sided vessel and c = KN(heel)/cos(heel) - KM tan(heel) from cross curves.
TCG is the transverse centre of gravity without the test moment. Metres and radians; heel positive starboard side down.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from reduction.types import Bend

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Form:
    """What the hull adds to GM tan(heel): the part of the righting arm that is not straight."""

    name: str
    c: Callable[[Array], Array]
    """heel rad (n,) -> m (n,)."""
    km: float = float("nan")
    """m, slope of KN at upright where cross curves were given."""

    def slope(self, heel: Array) -> Array:
        """dc/d(heel) by central difference, m/rad; exact to about 1e-9 for a smooth form."""
        step = 1e-4
        return np.asarray((self.c(heel + step) - self.c(heel - step)) / (2 * step), dtype=float)


BENDS: dict[str, Callable[[Array], Array]] = {
    "round": lambda tangent: np.asarray(0.5 * tangent**3),
    "knuckled": lambda tangent: np.asarray(0.5 * tangent * np.abs(tangent)),
}
"""tan(heel) -> righting arm of one metre of BM more: gained with the square of heel, as upright sides gain it and
flared ones more, or in proportion to heel, where sides begin to flare at the waterline (docs/method-gm.md, 3)."""


def with_bend(form: Form, bend: Bend) -> Form:
    """Return the hull's form with one bend more."""
    more = BENDS[bend.shape]
    return Form(
        f"{form.name} and a bend", lambda heel: form.c(heel) + bend.size * more(np.tan(heel - bend.about)), form.km
    )


def straight() -> Form:
    """The classical assumption: no curvature."""
    return Form("straight line", lambda heel: np.zeros_like(heel))


def wall_sided(bm: float) -> Form:
    """Wall-sided vessel: righting arm sin(heel) (GM + BM tan^2(heel) / 2).

    Source: any textbook, for example Derrett and Barrass, Ship Stability for Masters and Mates (wall-sided formula).

    >>> float(wall_sided(8.0).c(np.array([np.arctan(0.05)]))[0])  # doctest: +ELLIPSIS
    0.0005...
    """
    return Form("wall-sided", lambda heel: 0.5 * bm * np.tan(heel) ** 3)


def from_kn(kn: Callable[[Array], Array]) -> Form:
    """Any hull form by its cross curves at the displacement and trim of the test.

    Parameters
    ----------
    kn : heel rad (n,) -> KN m (n,), about baseline and centreline, odd about upright for a symmetric hull.

    References
    ----------
    Dunworth 2013/14 (generalised method): TCG cos(heel) + KG sin(heel) = KN - (M/Delta) cos(heel).
    """

    def curve(heel: Array) -> Array:
        return np.asarray(kn(heel), dtype=float)

    # Slope at upright by a four-point rule: the fifth-order remainder is below the accuracy of any cross curve.
    h = np.deg2rad(0.5)
    at = curve(np.array([-2 * h, -h, h, 2 * h]))
    km = float((at[0] - 8 * at[1] + 8 * at[2] - at[3]) / (12 * h))
    return Form("cross curves", lambda heel: curve(heel) / np.cos(heel) - km * np.tan(heel), km)


@dataclass(frozen=True)
class CurveFit:
    """GM and TCG by generalised least squares in the heel angles."""

    gm: float
    """m, at upright, in the first state of the weights."""
    tcg: float
    """m, without test moment, positive to starboard."""
    covariance: Array
    """(2, 2) of (gm, tcg), from the covariance handed in."""
    residuals: Array
    """(n,) rad, heel minus curve."""
    chi2: float
    dof: int
    gain: Array
    """(2, n) d(gm, tcg) / d heel: every uncertainty of heel goes through it."""
    stiffness: Array
    """(n,) m/rad, d arm / d heel at each point: a moment error dM tilts her dM / (displacement stiffness)."""


def heel_at(arm: ArrayLike, gm: float, tcg: float, form: Form, rise: ArrayLike = 0.0) -> Array:
    """Heel at which she comes to rest under a heeling arm.

    Parameters
    ----------
    arm : (n,) m, moment over displacement, positive to starboard.
    rise : m, how much KG lies above that of the first state of the weights.

    Returns
    -------
    (n,) rad, by Newton's method from the straight line.

    Example
    -------
    >>> form = wall_sided(8.0)
    >>> heel = heel_at([0.05], 1.0, 0.0, form)
    >>> bool(abs(np.tan(heel) * 1.0 + form.c(heel) - 0.05)[0] < 1e-12)
    True
    """
    pull = np.atleast_1d(np.asarray(arm, dtype=float)) + tcg
    stiff = gm - np.broadcast_to(np.asarray(rise, dtype=float), pull.shape)
    heel = np.asarray(np.arctan(pull / np.where(stiff == 0.0, np.inf, stiff)), dtype=float)
    for _ in range(30):
        tangent = np.tan(heel)
        miss = stiff * tangent + form.c(heel) - pull
        step = np.clip(miss / (stiff * (1 + tangent**2) + form.slope(heel)), -0.1, 0.1)
        heel = np.clip(heel - step, -1.2, 1.2)
        if float(np.max(np.abs(step), initial=0.0)) < 1e-13:
            break
    return heel


def fit_curve(heel: ArrayLike, arm: ArrayLike, covariance: ArrayLike, form: Form, rise: ArrayLike = 0.0) -> CurveFit:
    """Fit GM and TCG to heels with a full covariance.

    Parameters
    ----------
    heel : (n,) rad.
    arm : (n,) m, moment over displacement.
    covariance : (n, n) rad2 of heel, everything that does not move all heels alike.
    rise : (n,) m, vertical moment of the state over displacement: KG of the state above that of the first state.

    Raises
    ------
    ValueError with fewer than two different arms.

    Notes
    -----
    Gauss-Newton in (GM, TCG); residuals are taken in heel, where the errors are, so that noise in heel does not bias
    the slope as a regression of moment on measured heel would.
    """
    phi, m = np.asarray(heel, dtype=float), np.asarray(arm, dtype=float)
    lift = np.broadcast_to(np.asarray(rise, dtype=float), phi.shape)
    if np.unique(m).size < 2:
        raise ValueError("GM needs two different moments")
    weight = np.linalg.inv(np.asarray(covariance, dtype=float))
    gm, tcg = start_from_line(phi, m, form, lift)
    model = heel_at(m, gm, tcg, form, lift)
    value = float((phi - model) @ weight @ (phi - model))
    for _ in range(25):
        jacobian, _ = sensitivity(model, gm, form, lift)
        normal = jacobian.T @ weight @ jacobian
        step = np.linalg.lstsq(normal, jacobian.T @ weight @ (phi - model), rcond=1e-15)[0]
        share = 1.0
        # Windows far off any curve can send a full step where the curve has no slope left; half of it, then.
        while True:
            trial = heel_at(m, gm + share * float(step[0]), tcg + share * float(step[1]), form, lift)
            worth = float((phi - trial) @ weight @ (phi - trial))
            if worth <= value or share < 1e-3:
                break
            share *= 0.5
        if not worth <= value:
            break
        gm, tcg, model, value = gm + share * float(step[0]), tcg + share * float(step[1]), trial, worth
        if abs(step[0]) < 1e-13 * max(abs(gm), 1e-3) and abs(step[1]) < 1e-14:
            break
    jacobian, stiffness = sensitivity(model, gm, form, lift)
    parameters = np.linalg.inv(jacobian.T @ weight @ jacobian)
    residuals = phi - model
    return CurveFit(
        gm,
        tcg,
        np.asarray(parameters, dtype=float),
        residuals,
        float(residuals @ weight @ residuals),
        phi.size - 2,
        np.asarray(parameters @ jacobian.T @ weight, dtype=float),
        stiffness,
    )


def fit_moments(
    heel: Array, arm: Array, covariance: Array, arm_covariance: Array, form: Form, rise: Array
) -> tuple[CurveFit, Array]:
    """Fit as `fit_curve` does where the arms are uncertain, too; the fit, and the (n, n) rad2 by which it weighs.

    Heel that an uncertain moment makes is the smaller the stiffer she is, which a first fit tells.

    Parameters
    ----------
    arm_covariance : (n, n) m2 of ``arm``.
    """
    stiffness = fit_curve(heel, arm, covariance, form, rise).stiffness
    whole = covariance + arm_covariance / np.outer(stiffness, stiffness)
    return fit_curve(heel, arm, whole, form, rise), whole


def start_from_line(heel: Array, arm: Array, form: Form, rise: Array) -> tuple[float, float]:
    """(GM, TCG) by unweighted least squares of the linear equation: where every fit starts."""
    tangent = np.tan(heel)
    design = np.column_stack([tangent, -np.ones_like(tangent)])
    right = arm + rise * tangent - form.c(heel)
    (gm, tcg), *_ = np.linalg.lstsq(design, right, rcond=None)
    return float(gm), float(tcg)


def sensitivity(model: Array, gm: float, form: Form, rise: Array) -> tuple[Array, Array]:
    """d heel / d (GM, TCG) as (n, 2), and the stiffness (n,) m/rad, at the heels of a model."""
    tangent = np.tan(model)
    stiffness = (gm - rise) * (1 + tangent**2) + form.slope(model)
    return np.column_stack([-tangent / stiffness, 1.0 / stiffness]), stiffness
