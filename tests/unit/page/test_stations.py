"""What is said of every station, whoever reads it."""

from __future__ import annotations

from config.plan import Plan
from config.stations import ChannelMap, Station
from logger.records import Quantity
from quietheel.page.source import LoggerState
from quietheel.page.stations import lanes, pulse_of, stations_section


def test_a_station_of_an_imported_record_is_not_read_by_hand() -> None:
    aft = Station(name="aft", channels=(ChannelMap(quantity="heel"),))
    pendulum = Station(name="pendulum", kind="pendulum", length_m=4.5)
    plan = Plan(stations=(aft, pendulum))
    pulses = {("aft", Quantity.HEEL): pulse_of(aft, Quantity.HEEL)}
    electronic, by_hand = stations_section(plan, pulses, LoggerState(), (), 0)
    assert electronic["says"] == "no reading yet"
    assert by_hand["says"] == "read by hand"
    assert [lane.station for lane in lanes(plan)] == ["aft"]
