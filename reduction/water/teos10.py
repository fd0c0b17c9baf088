"""Density of sea water at the surface by TEOS-10, as a polynomial of our own, for checking hydrometer readings.

Fitted to the TEOS-10 equation of state at atmospheric pressure over absolute salinity 0-42 g/kg and -2 to 40 degC; it
departs from it by 0.0011 kg/m3 at most there, as ``tests/golden/test_published_density.py`` checks against the
reference implementation. Source of the equation: IOC, SCOR and IAPSO, TEOS-10 manual (2010).
"""

from __future__ import annotations

_TERMS: tuple[tuple[float, tuple[float, ...]], ...] = (
    (0.0, (999.843476745, 2.706486775, -14.534501284, 6.594711867, -3.523603958, 1.401161754, -0.271075089)),
    (1.0, (32.918729956, -7.053086122, 7.806745166, -6.761492437, 2.909168148, 0.011171304)),
    (1.5, (-1.908615362, 1.600194953, -3.968198847, 4.935856290, -2.400048564)),
    (2.0, (1.520844425, -0.013176322, 0.288397813, -0.200070506)),
    (2.5, (-0.384086303, 0.012969504)),
)
"""(power of S/40, coefficients of rising powers of t/40), kg/m3."""

SALINITY_PER_PRACTICAL = 35.16504 / 35.0
"""g/kg of absolute salinity for one unit of practical salinity, standard sea water (TEOS-10)."""


def surface_density(absolute_salinity: float, temperature: float) -> float:
    """Density, kg/m3, at atmospheric pressure.

    Parameters
    ----------
    absolute_salinity : g/kg, 0 to 42.
    temperature : degC (ITS-90), -2 to 40.

    >>> round(surface_density(35.16504, 15.0), 2)
    1025.98
    """
    s, t = absolute_salinity / 40.0, temperature / 40.0
    return float(sum(s**power * sum(c * t**i for i, c in enumerate(row)) for power, row in _TERMS))
