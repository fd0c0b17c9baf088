"""How figures are said on the live views, so that page and terminal say them alike."""

from __future__ import annotations

import math
import re
from datetime import UTC, datetime


def heel_words(degrees: float | None, digits: int = 3) -> str:
    """Say a heel with its side.

    >>> heel_words(-1.8124), heel_words(0.00004), heel_words(None)
    ('1.812° port', '0.000°', '–')
    """
    if degrees is None or math.isnan(degrees):
        return "–"
    text = f"{abs(degrees):.{digits}f}"
    if float(text) == 0.0:
        return f"{text}°"
    return f"{text}° {'stbd' if degrees > 0 else 'port'}"


def interval_words(value: float, u95: float | None) -> str:
    """Say a value with its half width, both to the same digit.

    >>> interval_words(1.09957, 0.0029), interval_words(1.1, 0.031)
    ('1.0996 ± 0.0029', '1.100 ± 0.031')
    """
    digits = 4 if u95 is not None and u95 < 0.01 else 3
    return f"{value:.{digits}f}" + ("" if u95 is None else f" ± {u95:.{digits}f}")


def clock_of(ms: float, utc_offset_h: float = 0.0, *, seconds: bool = True) -> str:
    """Local clock time of a moment given in ms since 1970.

    >>> clock_of(1_778_743_800_000, 2.0, seconds=False)
    '09:30'
    """
    moment = datetime.fromtimestamp(ms / 1000.0 + utc_offset_h * 3600.0, UTC)
    return moment.strftime("%H:%M:%S" if seconds else "%H:%M")


def span_words(seconds: float) -> str:
    """Say a length of time as people do.

    >>> span_words(48), span_words(84), span_words(4320)
    ('48 s', '1 min 24 s', '1 h 12 min')
    """
    whole = max(0, round(seconds))
    if whole < 60:
        return f"{whole} s"
    if whole < 3600:
        minutes, rest = divmod(whole, 60)
        return f"{minutes} min {rest:02d} s"
    hours, minutes = divmod(whole // 60, 60)
    return f"{hours} h {minutes:02d} min"


def with_signs(text: str) -> str:
    """Write degrees of a check's sentence as the screens do.

    >>> with_signs("steps by +0.052 deg at 64 s; within 0.5 degrees")
    'steps by +0.052° at 64 s; within 0.5 degrees'
    """
    return re.sub(r"(?<=\d) deg\b", "°", text)


def moment_words(tonne_metres: float) -> str:
    """Say a moment with its side.

    >>> moment_words(-0.312)
    '0.312 t m to port'
    """
    text = f"{abs(tonne_metres):.3f} t m"
    return text if abs(tonne_metres) < 5e-4 else f"{text} to {'starboard' if tonne_metres > 0 else 'port'}"


def number_or_none(value: float) -> float | None:
    """Turn NaN and infinity into None, for JSON."""
    return value if math.isfinite(value) else None
