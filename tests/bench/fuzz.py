"""Random and mutated bytes through framing and decoding of every dialect: no exception, no growth.

    python tests/bench/fuzz.py [--strings 10000000] [--seed 1]

The fuzzer mutates a corpus that begins with good messages. It is guided: an input that reaches a line of the framing
and decoding code not reached before (looked at on a sample, tracing is slow), or ends in an outcome not seen before,
joins the corpus. Prints one table; exit code 1 at the first exception, with the seed and the input that made it.
"""

from __future__ import annotations

import argparse
import gc
import random
import re
import sys
import time
from collections import Counter
from types import FrameType

from memory import resident_mb

from config.stations import ChannelMap, LineFormat, ModbusSource, MqttSource, RegisterMap, SerialSource, Station
from logger.byte_queue import Chunk
from logger.dialects.nmea import checksum, sentence
from logger.intake import DECODER_FAILED, Intake
from logger.records import Reading

TRACED = ("logger/dialects", "logger/framing", "logger/gauge", "logger/devicetime", "logger/intake")
SHARE_TRACED = 0.002
LARGEST_CORPUS = 4000
LONGEST = 1200

SERIAL = SerialSource(type="serial", port="COM4")
MQTT = MqttSource(type="mqtt", topic="a")
REGISTERS = (
    RegisterMap(name="a", address=1),
    RegisterMap(name="b", address=2, kind="float32", word_order="little"),
    RegisterMap(name="c", address=9, kind="uint32"),
)


def stations() -> list[Station]:
    """One station for each way in."""
    heel = ChannelMap(quantity="heel")
    both = (ChannelMap(quantity="heel", field="roll"), ChannelMap(quantity="trim", field="pitch", unit="mrad"))
    wind = (ChannelMap(quantity="wind_speed"), ChannelMap(quantity="wind_direction"))
    named = (ChannelMap(quantity="heel", field="ROLL"), ChannelMap(quantity="temperature", field="BOX"), *wind)
    form = LineFormat(columns=("t", "roll", "pitch"), time_column="t", time_format="rfc3339")
    timed = {"time_field": "t", "time_format": "unix_ms"}
    modbus = ModbusSource(type="modbus", port="COM5", unit_address=1, registers=REGISTERS)
    return [
        Station(name="n1", dialect="nmea", source=SERIAL, channels=(heel, *wind)),
        Station(name="n2", dialect="nmea", source=MQTT, channels=named),
        Station(name="l1", dialect="lines", source=SERIAL, channels=(heel,)),
        Station(name="l2", dialect="lines", source=MQTT, channels=both, line_format=form),
        Station(name="l3", dialect="lines", source=SERIAL, channels=(heel,), line_format=LineFormat(delimiter=" ")),
        Station(name="j1", dialect="json", source=MQTT, channels=both, **timed),
        Station(name="j2", dialect="json", source=SERIAL, channels=(heel,)),
        Station(name="s1", dialect="senml", source=MQTT, channels=both),
        Station(name="s2", dialect="senml", source=SERIAL, channels=(heel,)),
        Station(
            name="r1",
            source=modbus,
            channels=tuple(
                ChannelMap(quantity=q, field=f) for q, f in (("heel", "a"), ("trim", "b"), ("voltage", "c"))
            ),
        ),
    ]


SEEDS = (
    sentence("HEXDR,A,-1.25,D,ROLL,A,0.40,D,PITCH,C,11.5,C,BOX"),
    sentence("HEHRM,-2.1,7.9,0.4,0.5,A,0.6,0.7,101500,14,05"),
    sentence("WIMWV,270.5,R,14.2,N,A"),
    sentence("GPZDA,084207.25,14,05,2030,00,00"),
    b"\\s:IN,c:1904978527*%02X\\" % checksum(b"s:IN,c:1904978527") + sentence("HEXDR,A,1.5,D,HEEL"),
    b"2030-05-14T08:42:07.5Z,1.25,-0.5\r\n",
    b"1.25 2.5\n",
    b'{"t": 1904978527000, "roll": 1.25, "pitch": -3}\n',
    b'[{"t": 1904978527000, "roll": 1.25}, {"t": 1904978528000, "pitch": "2"}]\n',
    b'{"t": [1, 2], "roll": [1.5, 2.5]}\n',
    b'[{"bn":"aft/","bt":1904978527,"bu":"deg","n":"roll","v":1.5},{"n":"pitch","v":2,"t":1,"u":"rad"}]\n',
    b'[{"bver":5,"n":"roll","vs":"x","s":1,"ut":3,"vb":true,"vd":"eA"}]\n',
    b"\xfb\x1e\x00\x00\x3f\x80\x00\x01\x00\x02",
    b"\r\n",
    b"",
)
SIGNS = [b"$", b"*", b",", b"\\", b"[", b"]", b"{", b"}", b'"', b":", b".", b"-", b"+", b"e", b"_", b"\r\n", b"\n\n\n"]
TEXTS = (
    "null",
    "true",
    "NaN",
    "1e999",
    "-0",
    "0x",
    "T",
    "Z",
    "XDR",
    "HRM",
    "MWV",
    "ZDA",
    "c:",
    "bver",
    "2" * 12,
    "9" * 30,
)
KEYS = [b'"v":', b'"bt":', b'"roll":', b'"must_":1,', b"\x00", b"\xff", b"\xe2\x80\xae"]
WORDS = (*SIGNS, *(text.encode() for text in TEXTS), *KEYS)


def checked(intake: Intake, chunk: Chunk, host_ns: int) -> list[Reading]:
    """Feed one chunk; whatever it holds, readings are what they should be and no decoder has failed."""
    before = intake.raw.count
    readings = intake.chunk(chunk, host_ns)
    for reading in readings:
        assert isinstance(reading, Reading)
        assert abs(reading.value) < 1e12
        assert reading.device_ns is None or 0 < reading.device_ns < 2**63
        assert len(reading.sent) < 80
    for sample in intake.raw.newest if intake.raw.count > before else ():
        assert DECODER_FAILED not in sample.reason, sample
    return readings


def right_checksum(data: bytes) -> bytes:
    """Put the checksum of a sentence right, so that mutations get past it."""
    star = data.find(b"*")
    body = data[1 : star if star > 0 else len(data)]
    return b"$%s*%02X\r\n" % (body, checksum(body))


class Fuzzer:
    """Feeds mutated bytes to one intake of every kind."""

    def __init__(self, seed: int) -> None:
        self.chance = random.Random(seed)
        self.intakes = [Intake(station, "fuzz") for station in stations()]
        self.corpus = list(SEEDS)
        self.lines: set[tuple[str, int]] = set()
        self.outcomes: Counter[str] = Counter()
        self.strings = 0
        self.readings = 0
        self._host_ns = 1_904_978_527_000_000_000

    def run(self, strings: int) -> None:
        """Feed so many strings."""
        for _ in range(strings):
            data = self.mutated()
            intake = self.chance.choice(self.intakes)
            try:
                if self.chance.random() < SHARE_TRACED:
                    self._traced(intake, data)
                else:
                    self.feed(intake, data)
            except Exception:
                print(f"\nstring {self.strings}, station {intake.station.name}: {data!r}", file=sys.stderr)
                raise
            self.strings += 1

    def feed(self, intake: Intake, data: bytes) -> None:
        """Feed one string, now and then after an interruption, a drop or a step of the clock."""
        self._host_ns += self.chance.randrange(200_000_000)
        before = intake.raw.count
        readings = checked(intake, Chunk(data, 0, *self._trouble()), self._host_ns)
        self.readings += len(readings)
        if intake.raw.count > before:
            # What a reason quotes is not what makes it another one.
            reason = re.sub("'.*|[0-9]+", "#", intake.raw.newest[-1].reason)
            outcome = f"{intake.station.name}: {reason[:40]}"
        else:
            outcome = (
                f"{intake.station.name}: {min(len(readings), 9)} readings, {int(readings[-1].flags) if readings else 0}"
            )
        self.outcomes[outcome] += 1
        if self.outcomes[outcome] == 1:
            self._keep(data)

    def _trouble(self) -> tuple[int, int, bool]:
        kind = self.chance.random()
        if kind < 0.01:
            return 17, self.chance.randrange(5), False
        return 0, 0, kind < 0.02

    def _traced(self, intake: Intake, data: bytes) -> None:
        reached: set[tuple[str, int]] = set()

        def trace(frame: FrameType, event: str, argument: object) -> object:
            name = frame.f_code.co_filename.replace("\\", "/")
            if not any(part in name for part in TRACED):
                return None
            if event == "line":
                reached.add((name, frame.f_lineno))
            return trace

        sys.settrace(trace)  # type: ignore[arg-type]
        try:
            self.feed(intake, data)
        finally:
            sys.settrace(None)
        if not reached <= self.lines:
            self.lines |= reached
            self._keep(data)

    def _keep(self, data: bytes) -> None:
        if len(self.corpus) < LARGEST_CORPUS:
            self.corpus.append(data)
        else:
            self.corpus[self.chance.randrange(len(SEEDS), LARGEST_CORPUS)] = data

    def mutated(self) -> bytes:
        """Make a new string."""
        chance = self.chance
        if chance.random() < 0.1:
            return chance.randbytes(chance.randrange(60))
        data = bytearray(chance.choice(self.corpus))
        for _ in range(1 + (chance.random() < 0.5) + 3 * (chance.random() < 0.1)):
            at = chance.randrange(len(data) + 1)
            what = chance.randrange(8)
            if what == 0 and data:
                data[at % len(data)] ^= 1 << chance.randrange(8)
            elif what == 1:
                data[at:at] = chance.choice(WORDS)
            elif what == 2:
                del data[at : at + 1 + chance.randrange(8)]
            elif what == 3:
                other = chance.choice(self.corpus)
                data[at:] = other[chance.randrange(len(other) + 1) :]
            elif what == 4 and data:
                data[at % len(data)] = chance.randrange(256)
            elif what == 5:
                data[at:at] = data[at : at + 20] * chance.randrange(1, 4)
            elif what == 6:
                digits = [m.span() for m in re.finditer(rb"[0-9]+", data)]
                if digits:
                    low, high = chance.choice(digits)
                    data[low:high] = b"%d" % chance.getrandbits(chance.choice((1, 8, 31, 64, 200)))
            elif data[:1] == b"$":
                data[:] = right_checksum(bytes(data))
        return bytes(data[:LONGEST])


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--strings", type=int, default=10_000_000)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    fuzzer = Fuzzer(options.seed)
    # The caches, stores and corpus fill up first; what grows after that is growth.
    fuzzer.run(min(500_000, options.strings // 4))
    gc.collect()
    memory, began = resident_mb(), time.monotonic()
    while fuzzer.strings < options.strings:
        fuzzer.run(min(100_000, options.strings - fuzzer.strings))
        print(f"\r{fuzzer.strings:>12,} strings", end="", file=sys.stderr, flush=True)
    gc.collect()
    growth = resident_mb() - memory
    print(file=sys.stderr)
    garbage = sum(intake.raw.count for intake in fuzzer.intakes)
    rows = (
        ("strings", f"{fuzzer.strings:,}"),
        ("exceptions", "0"),
        ("readings among them", f"{fuzzer.readings:,}"),
        ("pieces of garbage counted", f"{garbage:,}"),
        ("different outcomes", f"{len(fuzzer.outcomes):,}"),
        ("lines of framing and decoding reached", f"{len(fuzzer.lines):,}"),
        ("corpus", f"{len(fuzzer.corpus):,}"),
        ("growth of resident memory", f"{growth:.1f} MB"),
        ("strings a second", f"{fuzzer.strings / (time.monotonic() - began):,.0f}"),
    )
    for what, figure in rows:
        print(f"{what:<40}{figure:>14}")
    return 0 if growth < 30 else 1


if __name__ == "__main__":
    sys.exit(main())
