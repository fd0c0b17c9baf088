"""How messages are written. A new dialect is one small file here and one entry in ``DIALECTS``."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from config.errors import bad
from config.stations import Station
from logger.dialects import json, lines, nmea, registers, senml
from logger.dialects.decoder import Decoder
from logger.framing import Framer, LineFramer, LinesInMessage, WholeFramer


@dataclass(frozen=True)
class Dialect:
    """One way of writing messages."""

    name: str
    decoder: Callable[[Station], Decoder]
    """Makes the decoder of one station; raises BadInput where the plan lacks what the dialect needs."""
    stream: Callable[[], Framer] = LineFramer
    """Cuts a byte stream into frames."""
    message: Callable[[], Framer] = WholeFramer
    """Takes one message of a broker."""


DIALECTS = {
    dialect.name: dialect
    for dialect in (
        Dialect("nmea", nmea.NmeaDecoder, stream=nmea.SentenceFramer, message=nmea.SentencesInMessage),
        Dialect("lines", lines.LinesDecoder, message=LinesInMessage),
        Dialect("json", json.JsonDecoder),
        Dialect("senml", senml.SenmlDecoder),
        Dialect("registers", registers.RegistersDecoder, stream=WholeFramer),
    )
}
"""Every dialect by the name a plan gives it."""


def dialect_of(station: Station) -> Dialect:
    """Find a station's dialect; raises BadInput naming those there are."""
    name = station.dialect or ("registers" if station.source.type == "modbus" else "")
    if name not in DIALECTS:
        raise bad("plan.toml", f"stations, {station.name}, dialect", station.dialect, f"one of {', '.join(DIALECTS)}")
    return DIALECTS[name]
