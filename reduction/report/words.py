"""The trade's words for codes and verdicts, and times as people read them."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Literal

from dsp.types import Verdict

Form = Literal["preliminary", "final"]
"""Which form of the report: same day on the pier, or complete for the authority."""
Tone = Literal["fine", "caution", "rejected", "open"]
"""How a verdict looks: each tone has its own shape, so that colour is never needed to tell them apart."""

SHAPE: dict[Tone, str] = {"fine": "●", "caution": "▲", "rejected": "✕", "open": "○"}
"""Shape printed before the word of a verdict."""

REASON = {
    "people": "as if someone moved",
    "taut": "as if a line, fender or the bottom held her",
    "transient": "opened before she had settled",
    "burst": "as of wash or a passing vessel",
    "wind": "gust or change of wind",
    "drift": "the heel was drifting",
    "slosh": "as of liquid moving in a slack tank",
    "stuck": "a sensor stood still",
    "gap": "readings missing",
    "spikes": "spikes in the readings",
    "saturated": "a sensor at the end of its range",
    "noise": "a sensor noisier than before",
    "disagreement": "stations disagree",
    "unconfirmed": "not confirmed lines slack, mustered, crane stowed",
    "short": "window too short",
    "zero": "the zero did not come back",
    "outlier": "off the curve through the others",
    "no_record": "no readings of heel, or too few",
}
"""What each code of the README's table means in the fewest words."""

CONFIRMATIONS = {
    "lines": "lines slack and drooping",
    "muster": "everyone mustered",
    "crane": "crane stowed",
    "clear": "tug or fenders clear",
    "quiet": "decks quiet",
}
"""What each confirmation of a window means."""

OUTLOOK: dict[str, tuple[Tone, str]] = {
    "clear": ("fine", "Clear of the limit"),
    "clear with reservations": ("caution", "Clear only with reservations"),
    "not judged": ("open", "Not judged"),
    "over": ("rejected", "Over the limit"),
    "too close to call": ("caution", "Too close to call"),
    "no limit given": ("open", "No limit given"),
}
"""How each outlook of an answer is shown."""

WORDS: dict[str, tuple[Tone, str]] = {
    "fine": ("fine", "fine"),
    "caution": ("caution", "caution"),
    "rejected": ("rejected", "rejected"),
    "clear": ("fine", "clear"),
    "within": ("fine", "within"),
    "over": ("rejected", "over"),
    "beyond": ("rejected", "beyond"),
    "too close to call": ("caution", "too close to call"),
    "not judged": ("open", "not judged"),
}
"""Tone and word of every verdict there is."""

MISSING = {
    "gm": "GM",
    "gm_line": "GM by the straight line",
    "kg": "KG",
    "kg_m": "KG",
    "displacement": "displacement",
    "displacement_t": "displacement",
    "displacement_u95": "interval of the displacement",
    "lightship": "lightship",
    "mass": "lightship mass",
    "vcg": "lightship VCG",
    "lcg": "lightship LCG",
    "tcg": "lightship TCG",
    "conditions": "loading conditions against their limits",
    "smallest_gm": "GM against the smallest wanted",
    "waterline": "waterline",
    "floating": "hydrostatics",
    "hydrostatics": "hydrostatics",
    "monte_carlo": "check by random draws",
}
UNTOLD = ("gm_all", "difference", "as_inclined")
"""Null in the JSON where GM or KG is, which are told."""


def missing_in_words(missing: Mapping[str, str]) -> tuple[tuple[str, str], ...]:
    """What could not be computed and why; what lacks the same is told together.

    >>> missing_in_words({"gm": "no record", "gm_line": "no record", "gm_all": "no record", "lightship": "no survey"})
    (('GM, GM by the straight line', 'no record'), ('lightship', 'no survey'))
    """
    told: dict[str, dict[str, None]] = {}
    for key, reason in missing.items():
        if key not in UNTOLD:
            told.setdefault(reason, {})[MISSING.get(key, key)] = None
    return tuple((", ".join(names), reason) for reason, names in told.items())


def reason_words(code: str) -> str:
    """Say what a reason code means; a code not in the table is printed as it is."""
    return REASON.get(code, code.replace("_", " "))


def verdict_tone(verdict: Verdict | str) -> Tone:
    """Tone of a verdict's word."""
    return WORDS.get(verdict, ("open", verdict))[0]


def clock(seconds_ns: int, utc_offset_h: float = 0.0, *, with_seconds: bool = True) -> str:
    """Time of day, local by ``utc_offset_h``.

    >>> clock(1_900_000_000_000_000_000)
    '17:46:40'
    """
    zone = dt.timezone(dt.timedelta(hours=utc_offset_h))
    moment = dt.datetime.fromtimestamp(seconds_ns / 1e9, tz=zone)
    return moment.strftime("%H:%M:%S" if with_seconds else "%H:%M")


def zone_words(utc_offset_h: float) -> str:
    """Say which time is printed.

    >>> zone_words(0.0), zone_words(-3.5)
    ('UTC', 'UTC−3:30')
    """
    if utc_offset_h == 0.0:
        return "UTC"
    hours, minutes = divmod(round(abs(utc_offset_h) * 60.0), 60)
    sign = "+" if utc_offset_h > 0 else "−"
    return f"UTC{sign}{hours}" + (f":{minutes:02d}" if minutes else "")


def people_counted(number: int) -> str:
    """Say how many people.

    >>> people_counted(1), people_counted(4)
    ('1 person', '4 people')
    """
    return "1 person" if number == 1 else f"{number} people"
