"""Modbus registers: one frame holds the registers of the plan's map, in its order, each two bytes big-endian."""

from __future__ import annotations

import struct

from config.errors import bad
from config.stations import ModbusSource, RegisterMap, Station
from logger.dialects.decoder import gauges
from logger.framing import NoReading
from logger.gauge import Gauge
from logger.records import Reading

_FORMAT = {"int16": ">h", "uint16": ">H", "int32": ">i", "uint32": ">I", "float32": ">f"}


def width(register: RegisterMap) -> int:
    """Registers (of 16 bits) that a value takes."""
    return struct.calcsize(_FORMAT[register.kind]) // 2


def value_of(register: RegisterMap, data: bytes) -> float:
    r"""Read one value.

    >>> value_of(RegisterMap(name="roll", address=1, kind="int32", word_order="little"), b"\xff\xfe\xff\xff")
    -2.0
    """
    if register.word_order == "little" and len(data) == 4:
        data = data[2:] + data[:2]
    return float(struct.unpack(_FORMAT[register.kind], data)[0])


class RegistersDecoder:
    """Decodes the polls of one station. A channel's ``field`` is the register's name; empty is the only one."""

    def __init__(self, station: Station) -> None:
        self.gauges = gauges(station)
        if not isinstance(station.source, ModbusSource):
            raise bad("plan.toml", f"stations, {station.name}, source", station.source.type, "a modbus source")
        slices: dict[str, tuple[RegisterMap, slice]] = {}
        at = 0
        for register in station.source.registers:
            slices[register.name] = (register, slice(at, at + 2 * width(register)))
            at += 2 * width(register)
        self._length = at
        self._values: list[tuple[Gauge, RegisterMap, slice]] = []
        for gauge in self.gauges:
            name = gauge.channel.field or (station.source.registers[0].name if len(slices) == 1 else "")
            if name not in slices:
                raise bad("plan.toml", f"stations, {station.name}, channels", name, f"one of {', '.join(slices)}")
            self._values.append((gauge, *slices[name]))

    def decode(self, frame: bytes, host_ns: int) -> list[Reading] | NoReading:
        """See `logger.dialects.decoder.Decoder`."""
        if len(frame) != self._length:
            return NoReading(frame, f"{len(frame)} bytes of registers where {self._length} are needed")
        readings: list[Reading] = []
        for gauge, register, part in self._values:
            raw = value_of(register, frame[part])
            text = f"{raw:.9g}" if register.kind == "float32" else str(int(raw))
            reading = gauge.reading(raw, text, "", host_ns, None)
            if reading is not None:
                readings.append(reading)
        return readings or NoReading(frame, "no finite value")
