"""Time stamps as devices send them, to UTC in integer nanoseconds; what is none becomes None."""

from __future__ import annotations

import datetime as dt
import re
from decimal import Decimal, InvalidOperation

from logger.clock import SECOND

_LARGEST = 2**63 - 1
_UNIX = {"unix_s": SECOND, "unix_ms": 1_000_000, "unix_us": 1_000, "unix_ns": 1}
_RFC3339 = re.compile(
    r"(\d{4})-(\d\d)-(\d\d)[Tt ](\d\d):(\d\d):(\d\d)(?:[.,](\d{1,9})\d{0,9})?([Zz]|[+-]\d\d:?\d\d)", re.ASCII
)
_EPOCH = dt.date(1970, 1, 1).toordinal()


def device_time(sent: object, form: str) -> int | None:
    """Read a time stamp.

    Parameters
    ----------
    sent : number or text as it stood in the message.
    form : ``unix_s``, ``unix_ms``, ``unix_us``, ``unix_ns`` or ``rfc3339`` (RFC 3339 section 5.6).

    Returns
    -------
    UTC ns, or None if it is no time after 1970 that fits 64 bits.

    >>> device_time("2030-05-14T10:42:07.25+02:00", "rfc3339") == device_time(1904978527.25, "unix_s")
    True
    """
    if form == "rfc3339":
        return rfc3339(sent) if isinstance(sent, str) else None
    unit = _UNIX[form]
    if isinstance(sent, bool) or sent is None:
        return None
    if isinstance(sent, int):
        return in_range(sent * unit)
    if isinstance(sent, float):
        if not 0 <= sent < 1e20:
            return None
        whole = int(sent)
        return in_range(whole * unit + round((sent - whole) * unit))
    if isinstance(sent, str) and len(sent) <= 40:
        try:
            number = Decimal(sent.strip())
        except InvalidOperation:
            return None
        if not number.is_finite() or not 0 <= number < Decimal("1e20"):
            return None
        return in_range(int((number * unit).to_integral_value()))
    return None


def rfc3339(text: str) -> int | None:
    """Read an RFC 3339 time to the nanosecond; a leap second counts as the one after it."""
    found = _RFC3339.fullmatch(text.strip()) if len(text) <= 64 else None
    if not found:
        return None
    year, month, day, hour, minute, second = (int(found[n]) for n in range(1, 7))
    if hour > 23 or minute > 59 or second > 60:
        return None
    try:
        days = dt.date(year, month, day).toordinal() - _EPOCH
    except ValueError:
        return None
    seconds = days * 86400 + hour * 3600 + minute * 60 + second
    zone = found[8]
    if zone not in ("Z", "z"):
        hours, minutes = int(zone[1:3]), int(zone[-2:])
        if hours > 23 or minutes > 59:
            return None
        seconds -= (1 if zone[0] == "+" else -1) * (hours * 3600 + minutes * 60)
    return in_range(seconds * SECOND + int((found[7] or "0").ljust(9, "0")))


def in_range(ns: int) -> int | None:
    """Return a time if it lies after 1970 and fits 64 bits, else None."""
    return ns if 0 < ns <= _LARGEST else None


def utc_text(ns: int) -> str:
    """Spell a host time for people, to the second.

    >>> utc_text(1_904_978_527_000_000_000)
    '08:42:07Z'
    """
    return dt.datetime.fromtimestamp(ns // SECOND, dt.UTC).strftime("%H:%M:%SZ")
