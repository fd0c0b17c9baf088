"""Constants and unit conversions, each with symbol, unit and source. Bare SI and radians inside; units at the door."""

from __future__ import annotations

import math

STANDARD_GRAVITY = 9.80665
"""g_n, m/s2. Exact by definition (3rd CGPM, 1901). It cancels from GM by moments; it matters for roll periods only."""
SEA_WATER_DENSITY = 1025.0
"""kg/m3. Customary density of hydrostatic tables (common practice)."""
AIR_DENSITY = 1.225
"""kg/m3, ISO 2533 standard atmosphere at sea level."""
KNOT = 1852.0 / 3600.0
"""m/s. International nautical mile (1929), exact."""
TONNE = 1000.0
"""kg. Exact."""
COVERAGE_95 = 1.959963984540054
"""Normal quantile for 95 % two-sided coverage: an expanded uncertainty typed as ``u95`` is divided by this."""

DEGREE = math.pi / 180.0
"""rad."""

ALSO_WRITTEN = {
    "D": "deg",
    "°": "deg",
    "degrees": "deg",
    "degree": "deg",
    "C": "degC",
    "Cel": "degC",
    "°C": "degC",
    "N/A": "",
    "kt": "kn",
    "kts": "kn",
    "knot": "kn",
    "knots": "kn",
    "mps": "m/s",
    "kmh": "km/h",
    "kph": "km/h",
    "m/s^2": "m/s2",
    "g": "g_n",
}
"""Other ways of writing a unit: NMEA 0183 XDR letters, SenML (RFC 8428 section 12.1, RFC 8798), habit. NMEA's ``N``
is newton in XDR and knots in MWV; the dialect tells them apart."""

ANGLE = {"deg": DEGREE, "rad": 1.0, "mrad": 1e-3, "arcmin": DEGREE / 60.0, "arcsec": DEGREE / 3600.0}
SPEED = {"m/s": 1.0, "kn": KNOT, "km/h": 1.0 / 3.6}
FORCE = {"N": 1.0, "kN": 1e3, "kgf": STANDARD_GRAVITY, "tf": 1e3 * STANDARD_GRAVITY}
TEMPERATURE = {"degC": 1.0, "K": 1.0}

_MEANT = {
    "t": "tf for the weight of a tonne",
    "kg": "kgf for the weight of a kilogram",
    "mph": "figures in m/s (1 mph is 0.44704 m/s)",
    "bft": "figures in m/s; a Beaufort number is a range",
    "f": "figures in degC",
    "%": "figures in deg (of a slope: its arctangent)",
    "mm/m": "figures in deg (of a slope: its arctangent)",
}


def named(unit: str) -> str:
    """Name here of a unit that is written another way; one that is not known stays as it is.

    >>> named("Knots"), named("kn"), named("furlong")
    ('kn', 'kn', 'furlong')
    """
    return ALSO_WRITTEN.get(unit, ALSO_WRITTEN.get(unit.lower(), unit))


def meant_by(unit: str) -> str:
    """What to write in place of a customary unit that is none of ours, to follow a list; empty where nobody can say.

    >>> meant_by("mph")
    '; here figures in m/s (1 mph is 0.44704 m/s)'
    """
    return f"; here {_MEANT[unit.lower()]}" if unit.lower() in _MEANT else ""
