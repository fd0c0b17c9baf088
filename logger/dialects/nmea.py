r"""NMEA 0183 style sentences: ``$--XDR`` angles and others, ``$--HRM`` heel, ``$--MWV`` wind, ``$--ZDA`` device time.

The sentence layouts are those of the open parser pynmeagps, against which tests hold this decoder; the checksum is the
exclusive-or of the characters between ``$`` and ``*`` (IEC 61162-1, from memory). A sentence without checksum is no
reading: a flipped bit in a heel angle would go unseen. A TAG block before the sentence (``\c:1904978527*hh\``) gives
its device time where it holds one (IEC 61162-450, from memory).
"""

from __future__ import annotations

import datetime as dt
from itertools import pairwise

from config.stations import Station
from logger.devicetime import in_range
from logger.dialects.decoder import gauges, number
from logger.framing import LineFramer, LinesInMessage, NoReading
from logger.gauge import Gauge
from logger.records import Flag, Quantity, Reading

LONGEST_SENTENCE = 512
"""Characters. The standard allows 82; long XDR sentences of real devices go beyond it."""
_SECOND = 1_000_000_000
_EPOCH = dt.date(1970, 1, 1).toordinal()
_SUSPECT = Flag.SUSPECT.value

_XDR_UNIT = {
    ("A", "D"): "deg",
    ("C", "C"): "degC",
    ("C", "K"): "K",
    ("N", "N"): "N",
    ("U", "V"): "V",
    ("A", "R"): "rad",
}
"""Transducer type and unit letter. Any other pair leaves the unit to the plan."""
_XDR_TYPE = {
    Quantity.HEEL: "A",
    Quantity.TRIM: "A",
    Quantity.TEMPERATURE: "C",
    Quantity.LINE_TENSION: "N",
    Quantity.VOLTAGE: "U",
}
"""Transducer type that a quantity without a ``field`` takes; the others need one."""
_CUSTOMARY = {Quantity.HEEL: {"HEEL", "ROLL"}, Quantity.TRIM: {"TRIM", "PITCH", "PTCH"}}
_WIND_UNIT = {"M": "m/s", "N": "kn", "K": "km/h"}


_HEX = [b"%02X" % number for number in range(256)]
MOST_LAYOUTS = 64
"""Of XDR sentences remembered; a device has one or a few."""


def checksum(body: bytes) -> int:
    """Exclusive-or of all bytes, by folding one long integer in halves.

    >>> f"{checksum(b'GPGLL,4916.45,N,12311.12,W,225444,A'):02X}"
    '31'
    """
    folded = int.from_bytes(body, "little")
    if len(body) > 64:
        folded ^= (folded >> 2048) ^ (folded >> 4096) ^ (folded >> 6144) if len(body) > 256 else 0
        folded ^= folded >> 1024
        folded ^= folded >> 512
    if len(body) > 32:
        folded ^= folded >> 256
    folded ^= folded >> 128
    folded ^= folded >> 64
    folded ^= folded >> 32
    folded ^= folded >> 16
    return (folded ^ (folded >> 8)) & 0xFF


def sentence(body: str) -> bytes:
    """Write a whole sentence around its body.

    >>> sentence("HEXDR,A,1.25,D,HEEL")
    b'$HEXDR,A,1.25,D,HEEL*5A\\r\\n'
    """
    raw = body.encode("ascii")
    return b"$%s*%02X\r\n" % (raw, checksum(raw))


def cut_sentences(line: bytes) -> tuple[list[bytes], list[NoReading]]:
    r"""Cut a line into sentences: two glued together are both kept, junk before the first is not.

    >>> cut_sentences(b"\x00\x00$A,1*00$B,2*00")
    ([b'$A,1*00', b'$B,2*00'], [NoReading(data=b'\x00\x00', reason='no sentence')])
    """
    starts = [at for at, byte in enumerate(line) if byte == 0x24]
    if not starts:
        return [], [NoReading(line, "no sentence")]
    first = starts[0]
    tag = line.rfind(b"\\", 0, max(0, first - 1)) if line[first - 1 : first] == b"\\" else -1
    begin = tag if tag >= 0 else first
    cuts = [begin, *starts[1:], len(line)]
    junk = [NoReading(line[:begin], "no sentence")] if begin else []
    return [line[a:b] for a, b in pairwise(cuts)], junk


def _cut_all(lines: list[bytes], rejected: list[NoReading]) -> tuple[list[bytes], list[NoReading]]:
    frames: list[bytes] = []
    for line in lines:
        if line[0] == 0x24 and line.rfind(b"$") == 0:
            frames.append(line)
        else:
            found, junk = cut_sentences(line)
            frames += found
            rejected += junk
    return frames, rejected


class SentenceFramer(LineFramer):
    """Lines that hold sentences."""

    def __init__(self) -> None:
        super().__init__(LONGEST_SENTENCE)

    def feed(self, data: bytes) -> tuple[list[bytes], list[NoReading]]:
        """See `logger.framing.Framer`."""
        return _cut_all(*super().feed(data))


class SentencesInMessage(LinesInMessage):
    """Messages that hold one or more sentences."""

    def __init__(self) -> None:
        super().__init__(longest_line=LONGEST_SENTENCE)

    def feed(self, data: bytes) -> tuple[list[bytes], list[NoReading]]:
        """See `logger.framing.Framer`."""
        return _cut_all(*super().feed(data))


class NmeaDecoder:
    """Decodes the sentences of one station.

    A channel's ``field`` is the transducer name in XDR, ``HRM`` for the heel of an HRM sentence, ``R`` or ``T`` to take
    only relative or theoretical wind. Left empty, heel and trim take their customary names (HEEL, ROLL; TRIM, PITCH) or
    the only angle of the sentence.
    """

    def __init__(self, station: Station) -> None:
        self.gauges = gauges(station)
        self._named: dict[str, Gauge] = {g.channel.field: g for g in self.gauges if g.channel.field}
        self._unnamed = [g for g in self.gauges if not g.channel.field]
        self._of = {q: [g for g in self.gauges if g.quantity is q] for q in Quantity}
        self._layouts: dict[tuple[object, ...], list[tuple[int, Gauge, str]]] = {}
        self._untimed: set[int] = set()
        self._device_ns: int | None = None

    def decode(self, frame: bytes, host_ns: int) -> list[Reading] | NoReading:
        """See `logger.dialects.decoder.Decoder`."""
        device_ns: int | None = None
        raw = frame
        if raw[:1] == b"\\":
            tag, _, raw = raw[1:].rpartition(b"\\")
            device_ns = tag_time(tag)
        body, star, given = raw.rpartition(b"*")
        if not star or body[:1] != b"$":
            return NoReading(frame, "no checksum")
        if len(body) > LONGEST_SENTENCE:
            return NoReading(frame, "sentence too long")
        # The dollar sign is not part of it.
        wanted = _HEX[checksum(body) ^ 0x24]
        if given != wanted and given.strip().upper() != wanted:
            return NoReading(frame, "checksum wrong")
        try:
            words = body.decode("ascii").split(",")
        except ValueError:
            return NoReading(frame, "not ASCII")
        kind = words[0][-3:]
        if kind == "XDR":
            return self._xdr(frame, words, host_ns, device_ns)
        if kind == "HRM":
            return self._hrm(frame, words, host_ns, device_ns)
        if kind == "MWV":
            return self._mwv(frame, words, host_ns, device_ns)
        if kind == "ZDA":
            self._device_ns = zda_time(words)
            self._untimed = {id(g) for g in self.gauges}
            return [] if self._device_ns is not None else NoReading(frame, "ZDA without a time")
        return []

    def _time_for(self, gauge: Gauge, device_ns: int | None) -> int | None:
        """Device time of a reading: its sentence's own, else that of a ZDA sentence just before, once a channel."""
        if device_ns is None and self._device_ns is not None and id(gauge) in self._untimed:
            self._untimed.discard(id(gauge))
            return self._device_ns
        return device_ns

    def _xdr(self, frame: bytes, words: list[str], host_ns: int, device_ns: int | None) -> list[Reading] | NoReading:
        # Sentences of one device differ in their values only: who takes what is worked out once for each layout.
        layout = (*words[1::2], *words[4::4])
        taken = self._layouts.get(layout)
        if taken is None:
            taken = self._taken(words)
            if len(self._layouts) < MOST_LAYOUTS:
                self._layouts[layout] = taken
        readings: list[Reading] = []
        wrong = ""
        for at, gauge, unit in taken:
            text = words[at]
            if not text:
                continue
            value = number(text)
            reading = None
            if value is not None:
                stamp = device_ns if self._device_ns is None else self._time_for(gauge, device_ns)
                reading = gauge.reading(value, text, unit, host_ns, stamp)
            if reading is None:
                wrong = f"no value of {gauge.quantity}"
            else:
                readings.append(reading)
        return readings if readings or not wrong else NoReading(frame, wrong)

    def _taken(self, words: list[str]) -> list[tuple[int, Gauge, str]]:
        """Place of the value, gauge and unit of each transducer of an XDR sentence that the station takes."""
        found: list[tuple[int, Gauge, str]] = []
        for at in range(1, len(words) - 3, 4):
            type_, _, letter, name = words[at : at + 4]
            gauge = self._named.get(name) or self._by_custom(type_, name, words)
            if gauge is not None:
                found.append((at + 1, gauge, _XDR_UNIT.get((type_, letter), "")))
        return found

    def _by_custom(self, type_: str, name: str, words: list[str]) -> Gauge | None:
        for gauge in self._unnamed:
            if _XDR_TYPE.get(gauge.quantity) != type_:
                continue
            customary = _CUSTOMARY.get(gauge.quantity)
            if customary is None or name.upper() in customary:
                return gauge
            if words[1::4].count(type_) == 1 and not any(name.upper() in other for other in _CUSTOMARY.values()):
                return gauge
        return None

    def _hrm(self, frame: bytes, words: list[str], host_ns: int, device_ns: int | None) -> list[Reading] | NoReading:
        gauge = next((g for g in self._of[Quantity.HEEL] if g.channel.field in ("", "HRM")), None)
        if gauge is None:
            return []
        value = number(words[1]) if len(words) > 5 else None
        if value is None:
            return NoReading(frame, "HRM without a heel angle")
        flags = 0 if words[5] == "A" else _SUSPECT
        reading = gauge.reading(value, words[1], "deg", host_ns, self._time_for(gauge, device_ns), flags)
        return [reading] if reading else NoReading(frame, "no value of heel")

    def _mwv(self, frame: bytes, words: list[str], host_ns: int, device_ns: int | None) -> list[Reading] | NoReading:
        if len(words) < 6:
            return NoReading(frame, "MWV too short")
        reference, flags = words[2], 0 if words[5] == "A" else _SUSPECT
        readings: list[Reading] = []
        wrong = ""
        for quantity, text, unit in (
            (Quantity.WIND_DIRECTION, words[1], "deg"),
            (Quantity.WIND_SPEED, words[3], _WIND_UNIT.get(words[4], "?")),
        ):
            for gauge in self._of[quantity]:
                if gauge.channel.field not in ("", reference):
                    continue
                value = number(text)
                reading = None
                if value is not None:
                    reading = gauge.reading(value, text, unit, host_ns, self._time_for(gauge, device_ns), flags)
                if reading is None:
                    wrong = f"no value of {quantity}"
                else:
                    readings.append(reading)
        return readings if readings or not wrong else NoReading(frame, wrong)


def zda_time(words: list[str]) -> int | None:
    """Device time of a ZDA sentence ``$--ZDA,hhmmss.ss,dd,mm,yyyy,zz,zz``, UTC ns.

    >>> zda_time("GPZDA,084207.25,14,05,2030,00,00".split(","))
    1904978527250000000
    """
    if len(words) < 5:
        return None
    clock, _, fraction = words[1].partition(".")
    digits = (clock, words[2], words[3], words[4])
    if not all(d.isascii() and d.isdigit() for d in digits) or len(clock) != 6 or not (fraction or "0").isdigit():
        return None
    hour, minute, second = int(clock[:2]), int(clock[2:4]), int(clock[4:])
    if hour > 23 or minute > 59 or second > 60 or max(map(len, digits[1:])) > 4 or not fraction.isascii():
        return None
    try:
        days = dt.date(int(words[4]), int(words[3]), int(words[2])).toordinal() - _EPOCH
    except ValueError:
        return None
    seconds = days * 86400 + hour * 3600 + minute * 60 + second
    return in_range(seconds * _SECOND + int(fraction[:9].ljust(9, "0")))


def tag_time(tag: bytes) -> int | None:
    """Device time of a TAG block's ``c:`` parameter, seconds or milliseconds, UTC ns; None where it has none."""
    body, star, given = tag.rpartition(b"*")
    try:
        if not star or int(given, 16) != checksum(body):
            return None
    except ValueError:
        return None
    for part in body.split(b","):
        if part[:2] == b"c:" and part[2:].isdigit() and len(part) <= 16:
            stamp = int(part[2:])
            # Ten digits are seconds until the year 2286; more are milliseconds.
            return in_range(stamp * (_SECOND if stamp < 10**10 else 1_000_000))
    return None
