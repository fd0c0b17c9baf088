"""What goes over the wire: checked by a general-purpose parser, by hand, and by the logger's own decoders."""

import json

import numpy as np
import pytest
from pynmeagps import NMEAReader

from config.errors import BadInput
from config.stations import Station
from logger.dialects import dialect_of
from logger.framing import NoReading
from logger.records import Quantity
from sim.frames import Frame
from sim.sensors import Signal
from sim.wire import frames
from sim.wire_faults import WireFault, spoil_wire

EPOCH = 1_936_506_600_000_000_000
TIMES = EPOCH + np.array([0, 100_000_000, 200_000_000, 1_100_000_000])
STAMPS = TIMES - 7_000_000


def signal(quantity: Quantity, *values: float, stamped: bool = True) -> Signal:
    return Signal("one", quantity, TIMES[: len(values)], np.array(values), STAMPS[: len(values)] if stamped else None)


HEEL = signal(Quantity.HEEL, 1.25, -0.5, 3.0001, 0.0)
TRIM = signal(Quantity.TRIM, 0.25, 0.26, 0.27, 0.28)
WIND = (signal(Quantity.WIND_SPEED, 2.5, 3.0), signal(Quantity.WIND_DIRECTION, 61.0, 359.0))

STATIONS = {
    "nmea": Station(
        name="one",
        dialect="nmea",
        channels=[
            {"quantity": "heel", "field": "HEEL", "positive": "port"},
            {"quantity": "trim", "field": "TRIM", "positive": "bow"},
        ],
    ),
    "nmea radians": Station(
        name="one", dialect="nmea", channels=[{"quantity": "heel", "field": "ROLL", "unit": "rad"}]
    ),
    "nmea HRM": Station(name="one", dialect="nmea", channels=[{"quantity": "heel", "field": "HRM"}]),
    "lines": Station(
        name="one",
        dialect="lines",
        line_format={
            "delimiter": ";",
            "columns": ["time", "count", "roll"],
            "time_column": "time",
            "decimal_comma": True,
            "prefix": "#T",
        },
        channels=[{"quantity": "heel", "field": "roll", "factor": 0.001}],
    ),
    "lines by number": Station(
        name="one",
        dialect="lines",
        line_format={"delimiter": " "},
        channels=[{"quantity": "heel", "field": "3"}, {"quantity": "trim", "field": "2", "unit": "mrad"}],
    ),
    "json": Station(
        name="one",
        dialect="json",
        time_field="at.utc",
        time_format="unix_ms",
        channels=[{"quantity": "heel", "field": "tilt.roll"}, {"quantity": "trim", "field": "tilt.pitch"}],
    ),
    "json bare": Station(name="one", dialect="json", channels=[{"quantity": "heel"}]),
    "senml": Station(name="one", dialect="senml", channels=[{"quantity": "heel", "field": "one:roll", "unit": "rad"}]),
}


@pytest.mark.parametrize("name", STATIONS)
def test_the_loggers_decoder_reads_back_what_was_meant(name: str) -> None:
    station = STATIONS[name]
    dialect = dialect_of(station)
    framer, decoder = dialect.stream() if not name.startswith(("json", "senml")) else dialect.message(), None
    decoder = dialect.decoder(station)
    found: dict[str, list[tuple[float, int | None]]] = {}
    for frame in frames(station, (HEEL, TRIM)):
        cut, rejected = framer.feed(frame.data)
        assert not rejected
        for one in cut:
            readings = decoder.decode(one, frame.time_ns)
            assert not isinstance(readings, NoReading), readings
            for reading in readings:
                found.setdefault(reading.quantity, []).append((reading.value, reading.device_ns))
    assert [v for v, _ in found["heel"]] == pytest.approx(HEEL.value, abs=1e-4)
    if len(station.channels) > 1:
        assert [v for v, _ in found["trim"]] == pytest.approx(TRIM.value, abs=1e-4)
    if name not in ("json bare", "lines by number"):
        stamps = np.array([stamp for _, stamp in found["heel"]])
        assert np.all(np.abs(stamps - STAMPS) <= 1_000_000)


def test_sentences_pass_a_general_purpose_parser() -> None:
    station = STATIONS["nmea"].model_copy(update={"channels": (*STATIONS["nmea"].channels,)})
    for frame in frames(
        station, (signal(Quantity.HEEL, 1.25, stamped=False), signal(Quantity.TRIM, -0.5, stamped=False))
    ):
        parsed = NMEAReader.parse(frame.data)
        assert parsed.msgID == "XDR"
        assert float(parsed.data_01) == -1.25  # positive to port
    mast = Station(
        name="one",
        dialect="nmea",
        channels=[{"quantity": "wind_speed", "unit": "kn"}, {"quantity": "wind_direction"}],
    )
    parsed = NMEAReader.parse(
        frames(mast, [Signal(s.station, s.quantity, s.time_ns, s.value, None) for s in WIND])[0].data
    )
    assert (parsed.msgID, float(parsed.angle), parsed.reference, parsed.speedu) == ("MWV", 61.0, "R", "N")
    assert float(parsed.speed) == pytest.approx(2.5 * 3600 / 1852, abs=0.05)


def test_senml_packs_gather_a_second() -> None:
    packs = frames(STATIONS["senml"], (HEEL,), gather_s=1.0)
    assert [len(json.loads(pack.data)) for pack in packs] == [3, 1]
    assert packs[0].time_ns == TIMES[2]
    assert "t" not in json.loads(packs[0].data)[0]
    assert json.loads(packs[0].data)[1]["t"] == pytest.approx(0.1)


def test_an_unknown_dialect_is_named() -> None:
    with pytest.raises(BadInput, match="one of nmea, lines, json, senml"):
        frames(Station(name="one", dialect="morse"), (HEEL,))


def test_wire_faults_spoil_what_they_should() -> None:
    clean = [Frame(EPOCH + k * 100_000_000, b"$HEXDR,A,1.0,D,HEEL*58\r\n") for k in range(2000)]
    fault = WireFault(station="one", garbage=0.1, cut=0.1, flipped=0.1, stall_at_s=50.0, stall_for_s=20.0)
    spoilt = spoil_wire(clean, fault, EPOCH, np.random.default_rng(1))
    longer = sum(len(f.data) > len(clean[0].data) for f in spoilt)
    shorter = sum(len(f.data) < len(clean[0].data) for f in spoilt)
    assert 120 < longer < 240
    assert 120 < shorter < 240
    at_once = [f for f in spoilt if f.time_ns == EPOCH + 70 * 10**9]
    assert len(at_once) == 201
    assert [f.time_ns for f in spoilt] == sorted(f.time_ns for f in spoilt)
