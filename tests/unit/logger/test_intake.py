import pytest

from config.stations import Calibration, ChannelMap, MqttSource, SerialSource, Station
from logger.byte_queue import Chunk
from logger.dialects.nmea import sentence
from logger.intake import DECODER_FAILED, Intake
from logger.records import Flag, Quantity

S = 1_000_000_000


def intake(**more):
    station = Station(
        name="aft",
        dialect="nmea",
        source=SerialSource(type="serial", port="COM4"),
        channels=(ChannelMap(quantity="heel", field="HEEL", unit="deg"),),
        **more,
    )
    return Intake(station, "serial:COM4@9600")


def heel(value):
    return sentence(f"HEXDR,A,{value},D,HEEL")


def test_the_channels_tell_what_a_reader_needs_in_ten_years():
    (channel,) = intake(calibration=Calibration(scale=1.001, scale_u95_percent=0.2)).channels
    assert (channel.station, channel.quantity, channel.unit) == ("aft", Quantity.HEEL, "deg")
    assert channel.source == "serial:COM4@9600"
    assert channel.calibration["scale"] == 1.001


def test_the_calibration_is_recorded_and_not_applied():
    (reading,) = intake(calibration=Calibration(scale=2.0, zero_deg=1.0)).take(heel(1.5), 1)
    assert reading.value == 1.5


def test_dropped_bytes_flag_the_next_reading_and_leave_a_gap_in_the_numbers():
    one = intake()
    one.chunk(Chunk(heel(1)[:9], 1), 1)
    readings = one.chunk(Chunk(heel(2), 2, dropped_bytes=60, dropped_lines=2), 2)
    assert [(r.value, r.sequence, r.flags) for r in readings] == [(2.0, 2, Flag.DROPPED_BEFORE)]
    assert one.raw.newest[-1].reason == "cut off by an interruption"
    assert one.chunk(Chunk(heel(3), 3), 3)[0].flags == Flag.NONE


def test_half_a_line_before_replugging_is_not_joined_to_what_follows():
    one = intake()
    one.chunk(Chunk(b"$HEXDR,A,1", 1), 1)
    readings = one.chunk(Chunk(heel(2), 2, resumed=True), 2)
    assert [r.value for r in readings] == [2.0]
    assert one.raw.count == 1


def test_after_a_step_of_the_clock_every_reading_says_so():
    one = intake()
    assert one.take(heel(1), 1)[0].flags == Flag.NONE
    one.clock_stepped()
    assert {r.flags for n in range(3) for r in one.take(heel(n), n + 2)} == {Flag.CLOCK_STEPPED}


def test_only_what_carries_no_time_of_its_own_is_late_after_an_outage():
    station = Station(
        name="fwd",
        dialect="senml",
        source=MqttSource(type="mqtt", topic="a"),
        channels=(ChannelMap(quantity="heel"),),
    )
    one = Intake(station, "mqtt")
    bare, timed = b'[{"n":"r","u":"deg","v":1}]', b'[{"n":"r","u":"deg","v":1,"t":1900000000}]'
    now = 1_900_000_000 * S
    assert one.take(bare, now, Flag.LATE)[0].flags == Flag.LATE
    assert one.take(timed, now + S, Flag.LATE)[0].flags == Flag.NONE
    assert one.take(bare, now + 2 * S)[0].flags == Flag.NONE


def test_counters_and_the_last_values_for_the_live_view():
    one = intake()
    for n in range(30):
        one.take(heel(n) + b"junk\n" + sentence("GPGLL,,,,,,"), n * S // 10)
    assert (one.readings, one.raw.count, one.others) == (30, 30, 30)
    (now,) = [meter.now(3 * S) for meter in one.meters]
    assert (now.value, now.sequence, now.rate_hz) == (29.0, 29, pytest.approx(10.0))


def test_a_fault_in_a_decoder_is_kept_with_its_bytes_and_stops_nothing(monkeypatch):
    one = intake()

    def broken(frame, host_ns):
        raise ZeroDivisionError("oh")

    monkeypatch.setattr(one._decoder, "decode", broken)
    assert one.take(heel(1), 1) == []
    assert one.raw.newest[0].reason == f"{DECODER_FAILED}: ZeroDivisionError: oh"


def test_what_is_played_back_is_numbered_and_counted():
    one = intake()
    first, second = (one.adopt(Quantity.HEEL, 1.0, n, Flag.LATE) for n in (1, 2))
    assert (first.sequence, second.sequence, second.flags) == (0, 1, Flag.LATE)
    assert one.adopt(Quantity.TRIM, 1.0, 3) is None
    assert (one.readings, one.others) == (2, 1)
