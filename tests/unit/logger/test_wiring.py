"""Which stations share a line, a port or a broker, and what happens when it goes."""

import sys
import threading

import pytest
from doubles import HEEL, Devices, MemoryWriter, until
from rig import DroppableLine, free_port, run

from config.errors import BadInput
from config.plan import Plan
from config.stations import Broker, ChannelMap, MqttSource, SerialSource, Station
from logger.dialects.nmea import sentence
from logger.service import recording


def test_stations_may_share_a_line_and_each_takes_its_own(tmp_path):
    async def main():
        writer = MemoryWriter()
        async with Devices(1) as devices:
            first = devices.plan().stations[0]
            wind = Station(
                name="mast", dialect="nmea", source=first.source, channels=(ChannelMap(quantity="wind_speed"),)
            )
            async with recording(Plan(stations=(first, wind)), tmp_path, writer=writer) as logger:
                await until(lambda: logger.now().rows > 10)
                assert len(logger.supervisors) == 1
                mast = logger.now().stations[1]
                assert mast.readings == 0
                assert mast.no_readings == 0
                assert mast.others > 5

    run(main())


@pytest.mark.parametrize("differing", [({"baud": 4800}, {"baud": 9600}), ({}, {"usb_serial": "A9X"})])
def test_one_port_with_two_settings_is_bad_input(tmp_path, differing):
    stations = [
        Station(name=f"s{n}", dialect="nmea", source=SerialSource(type="serial", port="COM4", **own), channels=HEEL)
        for n, own in enumerate(differing)
    ]

    async def main():
        with pytest.raises(BadInput, match="the same settings"):
            async with recording(Plan(stations=stations), tmp_path):
                pass

    run(main())


def test_two_ports_of_one_adapter_are_two_sources(tmp_path):
    """An adapter with several ports shows one USB serial number for all of them."""
    made = [SerialSource(type="serial", port=f"/nowhere/{n}", usb_serial="A9X") for n in "ab"]
    stations = [Station(name=s.port[-1], dialect="nmea", source=s, channels=HEEL) for s in made]

    async def main():
        async with recording(Plan(stations=stations), tmp_path) as logger:
            assert [len(one.stations) for one in logger.supervisors] == [1, 1]

    run(main())


@pytest.mark.parametrize(("ports", "gather"), [(1, False), (8, False), (9, True)])
def test_readings_gather_only_where_there_are_many_ports(tmp_path, ports, gather):
    made = [SerialSource(type="serial", port=f"/nowhere/{n}") for n in range(ports)]
    stations = [Station(name=f"s{n}", dialect="nmea", source=s, channels=HEEL) for n, s in enumerate(made)]

    async def main():
        async with recording(Plan(stations=stations), tmp_path) as logger:
            assert {bool(one.source._gather_s) for one in logger.supervisors} == {gather}

    run(main())


@pytest.mark.skipif(sys.platform == "win32", reason="no ptys here")
def test_a_serial_line_pulled_out_and_put_back(tmp_path):
    line = DroppableLine(tmp_path / "dev")
    stop = threading.Event()

    def talk():
        number = 0
        while not stop.wait(0.02):
            line.write(sentence(f"HEXDR,A,{number},D,HEEL"))
            number += 1

    async def main():
        source = SerialSource(type="serial", port=str(line.path))
        plan = Plan(stations=(Station(name="aft", dialect="nmea", source=source, channels=HEEL),))
        writer, said = MemoryWriter(), []
        async with recording(plan, tmp_path, writer=writer, say=said.append) as logger:
            await until(lambda: logger.now().rows > 5)
            line.unplug()
            await until(lambda: logger.now().stations[0].state == "lost", 2)
            line.plug()
            had = logger.now().rows
            await until(lambda: logger.now().rows > had, 2)
        assert [n.kind for n in said] == ["reading", "lost", "reading again"]
        # Half a line from before the break is never joined to what came after it.
        values = [r.value for r in writer.rows]
        assert values == sorted(values)

    thread = threading.Thread(target=talk)
    thread.start()
    try:
        run(main())
    finally:
        stop.set()
        thread.join()
        line.close()


def test_the_embedded_broker_and_what_it_does_not_promise(tmp_path):
    pytest.importorskip("amqtt")
    import aiomqtt

    async def main():
        said = []
        port = free_port()
        station = Station(
            name="fwd",
            dialect="senml",
            source=MqttSource(type="mqtt", topic="pier/fwd"),
            channels=(ChannelMap(quantity="heel"),),
        )
        plan = Plan(stations=(station,), broker=Broker(port=port))
        async with recording(plan, tmp_path, say=said.append) as logger:
            await until(lambda: logger.supervisors[0].times_opened)
            async with aiomqtt.Client("127.0.0.1", port) as client:
                for n in range(20):
                    await client.publish("pier/fwd", '[{"n":"roll","u":"deg","v":%d}]' % n, qos=1)  # noqa: UP031
            await until(lambda: logger.now().rows == 20)
            with pytest.raises(BadInput, match="a free port"):
                async with recording(plan, tmp_path / "other"):
                    pass
        return said

    said = run(main())
    assert "keeps nothing while the logger is away" in said[0].text
