import math

import pytest

from config.stations import Calibration, ChannelMap, Station
from logger.gauge import Gauge, QuickestDelay, conversion
from logger.records import CANONICAL_UNIT, Flag, Quantity

S = 1_000_000_000


@pytest.mark.parametrize(
    ("quantity", "unit", "sent", "stored"),
    [
        ("heel", "deg", 1.5, 1.5),
        ("heel", "D", 1.5, 1.5),
        ("heel", "", 1.5, 1.5),
        ("heel", "rad", 0.01, math.degrees(0.01)),
        ("trim", "mrad", 10.0, math.degrees(0.01)),
        ("heel", "arcmin", 30.0, 0.5),
        ("heel", "arcsec", 1800.0, 0.5),
        ("wind_speed", "kn", 10.0, 18520.0 / 3600.0),
        ("wind_speed", "km/h", 36.0, 10.0),
        ("wind_speed", "m/s", 7.0, 7.0),
        ("wind_direction", "deg", 270.0, 270.0),
        ("line_tension", "N", 2500.0, 2.5),
        ("line_tension", "kN", 2.5, 2.5),
        ("line_tension", "tf", 1.0, 9.80665),
        ("temperature", "K", 283.15, 10.0),
        ("temperature", "Cel", 10.0, 10.0),
        ("acceleration", "g", 1.0, 9.80665),
        ("voltage", "mV", 1500.0, 1.5),
    ],
)
def test_every_unit_comes_out_in_the_canonical_one(quantity, unit, sent, stored):
    found = conversion(ChannelMap(quantity=quantity), unit)
    assert found.factor * sent + found.offset == pytest.approx(stored, rel=1e-12)


@pytest.mark.parametrize(
    ("quantity", "positive", "sign"),
    [("heel", "", 1), ("heel", "starboard", 1), ("heel", "port", -1), ("trim", "stern", 1), ("trim", "bow", -1)],
)
def test_the_record_counts_starboard_down_and_by_the_stern_as_positive(quantity, positive, sign):
    found = conversion(ChannelMap(quantity=quantity, positive=positive), "deg")
    assert found.factor == sign


def test_factor_and_offset_are_in_the_unit_as_sent():
    # A 4-20 mA loop in raw counts: 0.01 deg each, zero at count 500, and port down counts up.
    found = conversion(ChannelMap(quantity="heel", factor=0.01, offset=-5.0, positive="port", unit="deg"), "deg")
    assert found.factor * 620 + found.offset == pytest.approx(-1.2)


def test_a_unit_of_something_else_is_refused():
    assert conversion(ChannelMap(quantity="heel"), "kn") is None
    assert set(CANONICAL_UNIT) == set(Quantity)


def gauge(**calibration):
    station = Station(name="aft", calibration=Calibration(**calibration))
    return Gauge(station, station.channels[0])


def test_readings_are_numbered_and_hold_what_was_sent():
    one = gauge()
    first, second = (one.reading(0.1 * n, f"{0.1 * n}", "deg", n, None) for n in (1, 2))
    assert (first.sequence, second.sequence) == (0, 1)
    assert first.sent == "0.1 deg"


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf, 1e300])
def test_what_is_no_finite_number_is_no_reading_and_takes_no_number(value):
    one = gauge()
    assert one.reading(value, "", "deg", 1, None) is None
    assert one.reading(1.0, "", "deg", 2, None).sequence == 0


def test_at_the_end_of_its_range_a_device_is_saturated():
    one = gauge(range_deg=15.0)
    assert one.reading(-15.0, "", "deg", 1, None).flags == Flag.SATURATED
    assert one.reading(14.9, "", "deg", 1, None).flags == Flag.NONE


def test_a_loss_makes_the_number_jump_and_flags_the_next_reading_only():
    one = gauge()
    one.reading(1.0, "", "deg", 1, None)
    one.lost(7)
    after = one.reading(1.0, "", "deg", 2, None)
    assert (after.sequence, after.flags) == (8, Flag.DROPPED_BEFORE)
    assert one.reading(1.0, "", "deg", 3, None).flags == Flag.NONE


def test_duplicates_are_known_by_device_time_and_value_also_out_of_order():
    one = gauge()
    for n in range(20):
        one.reading(0.0, "", "deg", (100 + n) * S, (100 + n) * S)
    sent = [(1, 0.1), (2, 0.2), (3, 0.3), (2, 0.2), (3, 0.31), (1, 0.1)]
    flags = [one.reading(v, "", "deg", 10 * S, t * S).flags for t, v in sent]
    duplicate = [bool(f & Flag.DUPLICATE) for f in flags]
    assert duplicate == [False, False, False, True, False, True]


def test_a_clock_of_whole_seconds_makes_no_duplicates():
    one = gauge()
    flags = [one.reading(0.1 * (n % 3), "", "deg", n * S // 10, n // 10 * S).flags for n in range(1, 500)]
    assert not any(f & Flag.DUPLICATE for f in flags)


def test_late_is_measured_against_the_quickest_not_against_our_clock():
    delay = QuickestDelay()
    wrong_by = 7200 * S
    assert not any(delay.late(n * S, n * S - wrong_by) for n in range(100))
    assert delay.late(200 * S, 150 * S - wrong_by)
    assert not delay.late(201 * S, 201 * S - wrong_by - S)


def test_a_device_clock_put_back_makes_things_late_for_minutes_only():
    delay = QuickestDelay()
    late = [delay.late(n * S, (n - 3600 * (n > 100)) * S) for n in range(1500)]
    assert not any(late[:101])
    assert late[101]
    assert not any(late[800:])
