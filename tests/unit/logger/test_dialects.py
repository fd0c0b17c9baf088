import json
import struct

import pynmeagps
import pytest

from config.errors import BadInput
from config.stations import (
    ChannelMap,
    LineFormat,
    ManualSource,
    ModbusSource,
    RegisterMap,
    Station,
)
from logger.dialects import DIALECTS, dialect_of
from logger.dialects.json import values_at
from logger.dialects.nmea import checksum, sentence, tag_time, zda_time
from logger.dialects.senml import resolve
from logger.framing import NoReading
from logger.records import Flag, Quantity

T0 = 1_904_978_527_000_000_000


def decoder(dialect, channels=({"quantity": "heel"},), **more):
    station = Station(name="aft", dialect=dialect, channels=[ChannelMap(**c) for c in channels], **more)
    return dialect_of(station).decoder(station)


def values(result):
    assert not isinstance(result, NoReading), result
    return [(r.quantity.value, r.value, r.device_ns) for r in result]


# --- NMEA 0183 -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "body",
    [
        "GPGLL,4916.45,N,12311.12,W,225444,A",
        "HEXDR,A,-1.25,D,ROLL,A,0.40,D,PITCH",
        "HEHRM,-2.1,7.9,0.4,0.5,A,0.6,0.7,101500,14,05",
        "WIMWV,270.5,R,14.2,N,A",
        "GPZDA,084207.25,14,05,2030,00,00",
    ],
)
def test_the_checksum_is_that_of_a_general_purpose_parser(body):
    assert f"{checksum(body.encode()):02X}" == pynmeagps.calc_checksum(body)
    # The parser itself takes our sentence as valid.
    message = pynmeagps.NMEAReader.parse(sentence(body), validate=pynmeagps.VALCKSUM)
    assert message.msgID == body[2:5]


def test_xdr_angles_as_the_general_purpose_parser_reads_them():
    raw = sentence("HEXDR,A,-1.25,D,ROLL,A,0.40,D,PITCH,C,11.5,C,BOX")
    oracle = pynmeagps.NMEAReader.parse(raw)
    found = decoder(
        "nmea",
        [
            {"quantity": "heel", "field": "ROLL"},
            {"quantity": "trim", "field": "PITCH"},
            {"quantity": "temperature", "field": "BOX"},
        ],
    ).decode(raw.strip(), T0)
    assert [r.value for r in found] == [oracle.data_01, oracle.data_02, oracle.data_03] == [-1.25, 0.40, 11.5]
    assert [r.sent for r in found] == ["-1.25 deg", "0.40 deg", "11.5 degC"]


def test_hrm_heel_as_the_general_purpose_parser_reads_it():
    raw = sentence("HEHRM,-2.1,7.9,0.4,0.5,A,0.6,0.7,101500,14,05")
    (found,) = decoder("nmea").decode(raw.strip(), T0)
    assert found.value == pynmeagps.NMEAReader.parse(raw).heel == -2.1
    (invalid,) = decoder("nmea").decode(sentence("HEHRM,-2.1,7.9,0.4,0.5,V,0.6,0.7,101500,14,05").strip(), T0)
    assert invalid.flags == Flag.SUSPECT


@pytest.mark.parametrize(("letter", "speed"), [("N", 14.2 * 1852 / 3600), ("M", 14.2), ("K", 14.2 / 3.6)])
def test_wind_in_each_of_its_units(letter, speed):
    raw = sentence(f"WIMWV,270.5,R,14.2,{letter},A")
    wind = decoder("nmea", [{"quantity": "wind_speed"}, {"quantity": "wind_direction"}])
    found = {r.quantity: r.value for r in wind.decode(raw.strip(), T0)}
    assert found == {Quantity.WIND_SPEED: pytest.approx(speed), Quantity.WIND_DIRECTION: 270.5}
    assert pynmeagps.NMEAReader.parse(raw).speed == 14.2


def test_wind_by_its_reference():
    wind = decoder("nmea", [{"quantity": "wind_speed", "field": "T"}])
    assert wind.decode(sentence("WIMWV,270.5,R,14.2,M,A").strip(), T0) == []
    assert len(wind.decode(sentence("WIMWV,270.5,T,14.2,M,A").strip(), T0)) == 1


def test_without_a_field_heel_takes_the_customary_name_or_the_only_angle():
    one = decoder("nmea")
    assert values(one.decode(sentence("HEXDR,A,1.5,D,HEEL").strip(), T0)) == [("heel", 1.5, None)]
    assert values(one.decode(sentence("HEXDR,A,0.4,D,PITCH,A,1.6,D,ROLL").strip(), T0)) == [("heel", 1.6, None)]
    assert values(one.decode(sentence("HEXDR,A,1.7,D,SENSOR7").strip(), T0)) == [("heel", 1.7, None)]
    assert one.decode(sentence("HEXDR,A,1.7,D,S1,A,0.2,D,S2").strip(), T0) == []
    assert one.decode(sentence("HEXDR,A,1.7,D,PITCH").strip(), T0) == []


def test_zda_gives_its_time_to_the_next_reading_of_each_channel_only():
    one = decoder("nmea")
    assert one.decode(sentence("GPZDA,084207.25,14,05,2030,00,00").strip(), T0) == []
    first = one.decode(sentence("HEXDR,A,1.5,D,HEEL").strip(), T0)
    second = one.decode(sentence("HEXDR,A,1.5,D,HEEL").strip(), T0)
    assert (first[0].device_ns, second[0].device_ns) == (1_904_978_527_250_000_000, None)
    oracle = pynmeagps.NMEAReader.parse(sentence("GPZDA,084207.25,14,05,2030,00,00"))
    assert (oracle.time.hour, oracle.time.minute, oracle.time.second, oracle.year) == (8, 42, 7, 2030)


@pytest.mark.parametrize(
    "bad",
    [
        "",
        "GPZDA",
        "GPZDA,246060,14,05,2030",
        "GPZDA,084207,31,02,2030",
        "GPZDA,084207,1,99999999999,2030",
        "GPZDA,08420x,1,1,1",
        "GPZDA,084207.25,14,05,2300,00,00",
    ],
)
def test_what_is_no_zda_gives_no_time(bad):
    assert zda_time(bad.split(",")) is None


def test_a_tag_block_gives_its_time():
    body = b"s:IN0001,c:1904978527"
    tag = b"\\%s*%02X\\" % (body, checksum(body))
    framer = DIALECTS["nmea"].stream()
    (frame,), junk = framer.feed(tag + sentence("HEXDR,A,1.5,D,HEEL"))
    assert not junk
    assert values(decoder("nmea").decode(frame, T0)) == [("heel", 1.5, T0)]
    assert tag_time(b"c:1904978527123*%02X" % checksum(b"c:1904978527123")) == 1_904_978_527_123_000_000
    assert tag_time(b"c:1904978527*00") is None
    # In the year 2268, beyond what 64 bits of ns hold.
    assert tag_time(b"c:9410978527*%02X" % checksum(b"c:9410978527")) is None


@pytest.mark.parametrize(
    "frame",
    [
        b"$HEXDR,A,1.5,D,HEEL",
        b"$HEXDR,A,1.5,D,HEEL*00",
        b"$HEXDR,A,1.5,D,HEEL*5",
        b"$HEXDR,A,1.5,D,HEEL*5Ax",
        b"HEXDR,A,1.5,D,HEEL*65",
        b"$*",
        b"$",
        b"\\\\",
        sentence("HEXDR,A,abc,D,HEEL").strip(),
        sentence("HEXDR,A,nan,D,HEEL").strip(),
        sentence("HEHRM").strip(),
        sentence("HEHRM,,,,,A").strip(),
    ],
)
def test_what_is_no_sentence_is_no_reading(frame):
    assert isinstance(decoder("nmea").decode(frame, T0), NoReading)


def test_no_single_flipped_bit_of_a_sentence_gives_a_value_unnoticed():
    raw = sentence("HEXDR,A,1.25,D,HEEL").strip()
    for at in range(len(raw)):
        for bit in range(8):
            flipped = bytearray(raw)
            flipped[at] ^= 1 << bit
            result = decoder("nmea").decode(bytes(flipped), T0)
            if not isinstance(result, NoReading) and result:
                # Only the letter case of the checksum's own digits may differ.
                assert flipped.upper() == raw


def test_an_empty_field_is_nothing_rather_than_zero():
    assert decoder("nmea").decode(sentence("HEXDR,A,,D,HEEL").strip(), T0) == []


def test_glued_sentences_are_both_read_and_junk_before_them_is_kept():
    framer = DIALECTS["nmea"].stream()
    one = sentence("HEXDR,A,1.5,D,HEEL").strip()
    frames, junk = framer.feed(b"\x00\xff" + one + one + b"\r\n")
    assert frames == [one, one]
    assert [j.data for j in junk] == [b"\x00\xff"]


# --- delimited lines -----------------------------------------------------------------------------------------------


def test_lines_with_names_prefix_and_time():
    form = LineFormat(prefix="#T", columns=("stamp", "roll", "pitch"), time_column="stamp", time_format="unix_ms")
    one = decoder(
        "lines",
        [{"quantity": "heel", "field": "roll", "positive": "port"}, {"quantity": "trim", "field": "pitch"}],
        line_format=form,
    )
    assert values(one.decode(b"#T,1904978527000, 1.25, 0.5", T0)) == [("heel", -1.25, T0), ("trim", 0.5, T0)]
    for bad in (
        b"1904978527000,1.25,0.5",
        b"#T,x,1.25,0.5",
        b"#T,1904978527000,1.25",
        b"#T,1904978527000,a,b",
        b"\xff",
    ):
        assert isinstance(one.decode(bad, T0), NoReading)


def test_lines_by_number_with_white_space_and_decimal_comma():
    one = decoder(
        "lines",
        [{"quantity": "heel", "field": "2", "unit": "mrad"}],
        line_format=LineFormat(delimiter=" ", decimal_comma=True),
    )
    assert values(one.decode(b"A1   10,5\t7", T0)) == [("heel", pytest.approx(0.60160568), None)]


def test_a_bare_number_on_a_line():
    assert values(decoder("lines").decode(b"-0.125", T0)) == [("heel", -0.125, None)]


def test_a_column_that_does_not_exist_is_bad_input():
    with pytest.raises(BadInput, match="one of a, b"):
        decoder("lines", [{"quantity": "heel", "field": "roll"}], line_format=LineFormat(columns=("a", "b")))


# --- JSON ----------------------------------------------------------------------------------------------------------


def test_json_with_key_path_and_time():
    one = decoder("json", [{"quantity": "heel", "field": "tilt.roll"}], time_field="at")
    payload = json.dumps({"at": "2030-05-14T08:42:07Z", "tilt": {"roll": 1.25}}).encode()
    assert values(one.decode(payload, T0)) == [("heel", 1.25, T0)]


def test_json_batches_of_objects_and_of_arrays():
    one = decoder("json", [{"quantity": "heel", "field": "roll"}], time_field="t", time_format="unix_s")
    batch = [{"t": 1904978527 + n, "roll": n / 10} for n in range(3)]
    expected = [("heel", n / 10, T0 + n * 10**9) for n in range(3)]
    assert values(one.decode(json.dumps(batch).encode(), T0)) == expected
    arrays = {"t": [b["t"] for b in batch], "roll": [b["roll"] for b in batch]}
    assert values(one.decode(json.dumps(arrays).encode(), T0)) == expected
    nested = decoder("json", [{"quantity": "heel", "field": "s.roll"}], time_field="s.t", time_format="unix_s")
    assert values(nested.decode(json.dumps({"s": batch}).encode(), T0)) == expected


def test_a_bare_number_and_numbers_in_quotes():
    assert values(decoder("json").decode(b"1.25", T0)) == [("heel", 1.25, None)]
    assert values(decoder("json").decode(b'"1.25"', T0)) == [("heel", 1.25, None)]


@pytest.mark.parametrize(
    "payload",
    [
        b"",
        b"{",
        b"NaN",
        b"Infinity",
        b'{"roll": NaN}',
        b'{"roll": true}',
        b'{"roll": null}',
        b'{"roll": 1e999}',
        b'{"pitch": 1}',
        b"\xff\xfe",
        b"[" * 100_000,
        b"9" * 5000,
        b'{"roll": ' + b"9" * 4000 + b"}",
        b'{"roll": {"roll": 1}}',
    ],
)
def test_what_is_no_json_reading(payload):
    assert isinstance(decoder("json", [{"quantity": "heel", "field": "roll"}]).decode(payload, T0), NoReading)


def test_a_reading_without_the_time_it_should_have_is_none():
    one = decoder("json", [{"quantity": "heel", "field": "roll"}], time_field="t")
    assert isinstance(one.decode(b'{"roll": 1}', T0), NoReading)


def test_a_batch_has_an_end():
    one = decoder("json", [{"quantity": "heel", "field": "roll"}])
    assert isinstance(one.decode(json.dumps([{"roll": 1}] * 10_001).encode(), T0), NoReading)


def test_key_paths_with_indices():
    assert values_at({"a": [{"b": 1}, {"b": 2}]}, ["a", "1", "b"]) == [2]
    assert values_at({"a": 1}, ["a", "b"]) == []
    assert values_at([1, 2], ["99"]) == []


# --- SenML ---------------------------------------------------------------------------------------------------------


def test_the_examples_of_rfc_8428():
    # Section 5.1.1: one value.
    (one,) = resolve(json.loads('[{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}]'))
    assert (one.name, one.unit, one.value, one.time_s) == ("urn:dev:ow:10e2073a01080063", "Cel", 23.1, 0.0)
    # Section 5.1.3, base name, time, unit and value worked in as section 5.1.4 resolves them.
    pack = """[{"bn":"urn:dev:ow:10e2073a0108006:","bt":1.276020076001e+09,"bu":"A","bver":5,
                "n":"voltage","u":"V","v":120.1},
               {"n":"current","t":-5,"v":1.2}, {"n":"current","t":-4,"v":1.3}]"""
    found = resolve(json.loads(pack))
    assert [r.name.rpartition(":")[2] for r in found] == ["voltage", "current", "current"]
    assert [r.unit for r in found] == ["V", "A", "A"]
    assert [r.time_s for r in found] == pytest.approx([1276020076.001, 1276020071.001, 1276020072.001], abs=1e-6)


def test_senml_readings_with_base_value_and_time():
    one = decoder("senml", [{"quantity": "heel", "field": "roll"}, {"quantity": "temperature", "field": "box"}])
    pack = [
        {"bn": "aft/", "bt": 1904978527, "bv": 1.0, "bu": "deg", "n": "roll", "v": 0.25},
        {"n": "roll", "v": 0.5, "t": 0.5},
        {"n": "box", "u": "Cel", "bv": 0, "v": 11},
        {"n": "door", "vb": True},
    ]
    assert values(one.decode(json.dumps(pack).encode(), T0)) == [
        ("heel", 1.25, T0),
        ("heel", 1.5, T0 + 500_000_000),
        ("temperature", 11.0, T0),
    ]


def test_senml_times_relative_to_now():
    one = decoder("senml")
    pack = [{"n": "roll", "u": "deg", "v": 1, "t": -2}, {"n": "roll", "u": "deg", "v": 2}]
    assert values(one.decode(json.dumps(pack).encode(), T0)) == [
        ("heel", 1.0, T0 - 2 * 10**9),
        ("heel", 2.0, None),
    ]


@pytest.mark.parametrize(
    "pack",
    [
        b"{}",
        b"[1]",
        b'[{"n":"roll","v":"x"}]',
        b'[{"n":1,"v":1}]',
        b'[{"bver":11,"n":"roll","v":1}]',
        b'[{"must_":1,"n":"roll","v":1}]',
        b'[{"n":"roll","u":"V","v":1}]',
        b'[{"n":"roll","v":1e999}]',
        b'[{"bt":true,"n":"roll","v":1}]',
    ],
)
def test_what_is_no_senml_reading(pack):
    assert isinstance(decoder("senml").decode(pack, T0), NoReading)


def test_senml_times_that_are_none_do_no_harm():
    one = decoder("senml")
    for time in ("1e999", "-1e999", "1e300", "-5e8"):
        (found,) = one.decode(f'[{{"n":"roll","v":1,"t":{time}}}]'.encode(), T0)
        assert found.device_ns is None


# --- registers -----------------------------------------------------------------------------------------------------


def test_registers_of_every_kind():
    registers = [
        RegisterMap(name="a", address=0, kind="int16"),
        RegisterMap(name="b", address=1, kind="uint16"),
        RegisterMap(name="c", address=2, kind="int32"),
        RegisterMap(name="d", address=4, kind="float32"),
        RegisterMap(name="e", address=6, kind="uint32", word_order="little"),
    ]
    source = ModbusSource(type="modbus", port="COM9", unit_address=1, registers=registers)
    channels = [
        {"quantity": "heel", "field": "a", "factor": 0.001},
        {"quantity": "trim", "field": "d"},
        {"quantity": "voltage", "field": "e"},
    ]
    one = decoder("", channels, source=source)
    frame = struct.pack(">hHif", -1250, 65535, -70000, 0.5) + struct.pack(">HH", 1, 2)
    found = one.decode(frame, T0)
    assert [(r.value, r.sent) for r in found] == [(-1.25, "-1250"), (0.5, "0.5"), (131073.0, "131073")]
    assert isinstance(one.decode(frame[:-1], T0), NoReading)
    nan = frame[:8] + struct.pack(">f", float("nan")) + frame[12:]
    assert [r.quantity for r in one.decode(nan, T0)] == ["heel", "voltage"]


def test_an_unknown_dialect_or_register_is_bad_input():
    with pytest.raises(BadInput, match="one of nmea, lines, json, senml, registers"):
        dialect_of(Station(name="x", dialect="morse", source=ManualSource(type="manual")))
    source = ModbusSource(type="modbus", port="c", unit_address=1, registers=[RegisterMap(name="a", address=0)])
    with pytest.raises(BadInput, match="one of a"):
        decoder("", [{"quantity": "heel", "field": "b"}], source=source)
    with pytest.raises(BadInput, match="modbus source"):
        decoder("registers")
