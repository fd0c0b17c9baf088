"""Every way in which the connection to a broker breaks: it is noticed, said in words, mended, and costs no reading."""

import asyncio
import contextlib
import gc
import shutil
import signal
import sys
import threading

import paho.mqtt.client as paho
import pytest
from rig import MOSQUITTO, Mosquitto, Publisher, Relay, certificates, foreign_certificate, free_port, run

from config.plan import Plan
from config.stations import Broker, ChannelMap, MqttSource, Station
from logger.archive.reader import read_series
from logger.credentials import Credentials
from logger.records import Flag
from logger.service import recording
from logger.sources import mqtt, mqtt_client
from logger.sources.mqtt import AcknowledgingClient
from logger.stations.listing import topics_seen

needs_broker = (pytest.mark.broker, pytest.mark.skipif(MOSQUITTO is None, reason="no mosquitto here"))
needs_openssl = pytest.mark.skipif(shutil.which("openssl") is None, reason="no openssl here")
CONNACK = bytes([0x20, 3, 0, 0, 0])


def plan(port, scheme="mqtt", *, timed=True, **broker):
    station = Station(
        name="aft",
        dialect="json",
        source=MqttSource(type="mqtt", topic="pier/aft"),
        channels=(ChannelMap(quantity="heel", field="roll", unit="deg"),),
        time_field="t" if timed else "",
        time_format="unix_s",
    )
    return Plan(stations=(station,), broker=Broker(url=f"{scheme}://127.0.0.1:{port}", **broker))


async def until(done, seconds=10.0):
    async with asyncio.timeout(seconds):
        while not done():
            await asyncio.sleep(0.01)


def with_broker(test):
    for mark in needs_broker:
        test = mark(test)
    return test


@pytest.fixture
def impatient(monkeypatch):
    """A fifth of the usual patience, so that the tests need not wait for it."""
    monkeypatch.setattr(mqtt, "KEEPALIVE_S", 1)
    monkeypatch.setattr(mqtt_client, "KEEPALIVE_S", 1)
    monkeypatch.setattr(mqtt, "CONNECT_S", 1.0)


def all_there(folder, sent):
    """Every number once, but for what came again and is flagged."""
    (series,) = read_series(folder / "record", repair=False)
    once = (series.flags & Flag.DUPLICATE.value) == 0
    assert sorted(round(value) for value in series.value[once]) == list(range(sent))


@pytest.mark.parametrize(
    "moment",
    [
        "_broken_off",
        pytest.param("_on_connect", marks=needs_broker),
        pytest.param("_on_subscribe", marks=needs_broker),
    ],
)
def test_a_run_ends_that_is_stopped_in_the_very_turn_in_which_the_broker_answers(moment, tmp_path, monkeypatch):
    """`asyncio.wait_for` of Python 3.11 forgets a cancellation that comes then; the logger tried on for ever."""
    stop = asyncio.Event()
    then = getattr(AcknowledgingClient, moment)

    def answered(*given, **named):
        then(*given, **named)
        stop.set()

    monkeypatch.setattr(AcknowledgingClient, moment, answered)

    async def stopped(port):
        async with asyncio.timeout(10), recording(plan(port), tmp_path):
            await stop.wait()

    async def hangs_up(reader, writer):
        await reader.read(1)
        await asyncio.sleep(0.2)  # until the connecting thread is back and the answer is waited for
        writer.transport.abort()

    async def main():
        if moment == "_broken_off":
            async with await asyncio.start_server(hangs_up, "127.0.0.1", 0) as server:
                await stopped(server.sockets[0].getsockname()[1])
                await asyncio.sleep(0.05)
        else:
            with Mosquitto(tmp_path / "broker") as broker:
                await stopped(broker.port)

    run(main())


@with_broker
def test_a_run_stopped_while_it_connects_leaves_no_connection_behind(tmp_path, monkeypatch):
    """Connecting is done in a thread, which cannot be cancelled; what it brings afterwards nobody wants."""
    connect = paho.Client.connect
    go_on = threading.Event()

    async def main():
        loop, begun = asyncio.get_running_loop(), asyncio.Event()

        def slowly(*given):
            loop.call_soon_threadsafe(begun.set)
            go_on.wait(5)
            return connect(*given)

        monkeypatch.setattr(paho.Client, "connect", slowly)
        with Mosquitto(tmp_path / "broker") as broker:
            async with Relay(broker.port) as relay:
                async with recording(plan(relay.port), tmp_path):
                    await begun.wait()
                go_on.set()
                await until(lambda: relay.taken)
                await until(lambda: relay.open == 0, 2)
                assert relay.carried == 0

    run(main())


def test_a_broker_that_hangs_up_before_it_grants_the_subscription_is_left_at_once(tmp_path):
    said = []

    async def half_way(reader, writer):
        await reader.read(1)
        writer.write(CONNACK)
        await reader.readuntil(b"pier/aft")
        writer.transport.abort()

    async def main():
        async with await asyncio.start_server(half_way, "127.0.0.1", 0) as server:
            port = server.sockets[0].getsockname()[1]
            async with recording(plan(port), tmp_path, say=lambda notice: said.append(notice.text)) as logger:
                await until(lambda: logger.supervisors[0].times_lost >= 2, 4)
                assert logger.supervisors[0].times_opened == 0
            await asyncio.sleep(0.05)

    run(main())
    assert any("the broker hung up" in text for text in said)


def test_what_waited_is_late_from_the_first_message_on_though_it_comes_with_the_brokers_answer(tmp_path):
    """On a busy machine the broker's answer and the first messages are read in one turn of the loop."""
    count = 20

    def published(number):
        payload = b'{"roll": %d}' % number
        topic = b"\x00\x08pier/aft"
        body = topic + bytes([0, number + 1, 0]) + payload
        return bytes([0x32, len(body)]) + body

    async def with_the_answer(reader, writer):
        await reader.read(1)
        writer.write(CONNACK[:2] + b"\x01" + CONNACK[3:] + b"".join(published(n) for n in range(count)))
        asked = await reader.readuntil(b"pier/aft")
        mid = asked[-13:-11]
        writer.write(bytes([0x90, 4]) + mid + bytes([0, 1]))
        with contextlib.suppress(OSError):
            while await reader.read(1000):
                pass
        writer.transport.abort()

    async def main():
        async with await asyncio.start_server(with_the_answer, "127.0.0.1", 0) as server:
            port = server.sockets[0].getsockname()[1]
            async with recording(plan(port, timed=False), tmp_path) as logger:
                await until(lambda: logger.supervisors[0].times_opened)
                await until(lambda: logger.now().rows == count)
            await asyncio.sleep(0.05)

    run(main())
    (series,) = read_series(tmp_path / "record", repair=False)
    assert ((series.flags & Flag.LATE.value) != 0).all()


@with_broker
@pytest.mark.parametrize("protocol", ["3.1.1", "5"])
def test_a_network_that_goes_dead_without_a_word_is_noticed_and_costs_no_reading(tmp_path, impatient, protocol):
    said = []

    async def main():
        with Mosquitto(tmp_path / "broker") as broker:
            async with Relay(broker.port) as relay:
                the_plan = plan(relay.port, protocol=protocol)
                async with recording(the_plan, tmp_path, say=lambda notice: said.append(notice)) as logger:
                    supervisor, intake = logger.supervisors[0], logger.lines[0].intake
                    await until(lambda: supervisor.times_opened)
                    publisher = Publisher(broker.port, "pier/aft", 50)
                    publisher.start()
                    await until(lambda: intake.readings > 20)
                    relay.freeze()
                    relay.hold()
                    # Asked after 1 s, given up 1 s later, looked at once a second; then no new connection is answered.
                    await until(lambda: supervisor.times_lost >= 1, 6)
                    await until(lambda: supervisor.times_lost >= 2, 6)
                    assert logger.now().stations[0].state == "lost"
                    assert [trouble.station for trouble in logger.troubles()] == ["aft"]
                    relay.release()
                    had = intake.readings
                    await until(lambda: intake.readings > had, 4)
                    await asyncio.to_thread(publisher.finish)
                    await until(lambda: logger.now().rows >= publisher.sent, 5)
                    await asyncio.sleep(0.5)
                all_there(tmp_path, publisher.sent)

    run(main())
    kinds = [notice.kind for notice in said if notice.station == "aft"]
    assert kinds[0] == "reading"
    assert "reading again" in kinds[kinds.index("lost") :]
    assert any("no answer within 5 s: the broker hangs, or the network between is broken" in n.text for n in said)


@with_broker
@pytest.mark.skipif(sys.platform == "win32", reason="stopping a process is of POSIX")
def test_a_broker_that_freezes_and_thaws_costs_no_reading(tmp_path, impatient):
    said = []

    async def main():
        with Mosquitto(tmp_path / "broker") as broker:
            say = lambda notice: said.append(notice.text)  # noqa: E731
            async with recording(plan(broker.port), tmp_path, say=say) as logger:
                supervisor, intake = logger.supervisors[0], logger.lines[0].intake
                await until(lambda: supervisor.times_opened)
                publisher = Publisher(broker.port, "pier/aft", 50)
                publisher.start()
                await until(lambda: intake.readings > 20)
                broker.signal(signal.SIGSTOP)
                try:
                    await until(lambda: supervisor.times_lost >= 3, 12)
                finally:
                    broker.signal(signal.SIGCONT)
                had = intake.readings
                await until(lambda: intake.readings > had, 6)
                await asyncio.to_thread(publisher.finish)
                await until(lambda: logger.now().rows >= publisher.sent, 5)
                await asyncio.sleep(0.5)
            all_there(tmp_path, publisher.sent)

    run(main())
    assert any("no answer within 5 s: the broker hangs, or the network between is broken" in text for text in said)


@with_broker
@needs_openssl
# A handshake that fails leaves its socket to the garbage collector, inside the libraries.
@pytest.mark.filterwarnings("ignore:Exception ignored in.*SSLSocket:pytest.PytestUnraisableExceptionWarning")
def test_what_is_wrong_with_a_certificate_is_said_and_mended_without_a_new_start(tmp_path):
    """Readings sent while our certificate is refused wait in the session."""
    certs = certificates(tmp_path / "certs")
    good = certs / "client.crt"
    kept = good.read_bytes()
    plain = free_port()
    extra = (
        f"cafile {certs}/ca.crt\ncertfile {certs}/server.crt\nkeyfile {certs}/server.key\nrequire_certificate true\n"
        f"allow_anonymous true\nlistener {plain} 127.0.0.1\n"
    )
    ours = {"client_certificate": "certs/client.crt", "client_key": "certs/client.key"}

    async def refused(the_plan):
        said = []
        async with recording(the_plan, tmp_path / "refused", say=lambda notice: said.append(notice.text)) as logger:
            await until(lambda: logger.supervisors[0].times_lost)
            assert logger.supervisors[0].times_opened == 0
        return " ".join(said)

    async def main():
        for folder in ("refused", "day"):
            (tmp_path / folder).mkdir()
            shutil.copytree(certs, tmp_path / folder / "certs")
        with Mosquitto(tmp_path / "broker", extra) as broker:
            tls = broker.port
            words = await refused(plan(tls, "mqtts", ca_file="certs/ca.crt"))
            assert "the broker asks for a client certificate" in words
            with pytest.raises(OSError, match="the broker asks for a client certificate"):
                await topics_seen(
                    Broker(url=f"mqtts://127.0.0.1:{tls}", ca_file="certs/ca.crt"), tmp_path, Credentials(), 0.5
                )
            words = await refused(plan(tls, "mqtts", ca_file="certs/other.crt", **ours))
            assert "the broker's certificate is not accepted (" in words
            assert "broker.ca_file" in words

            said = []
            mine = tmp_path / "day" / "certs" / "client.crt"
            the_plan = plan(tls, "mqtts", ca_file="certs/ca.crt", **ours)
            async with recording(the_plan, tmp_path / "day", say=lambda notice: said.append(notice.text)) as logger:
                await until(lambda: logger.supervisors[0].times_opened)
            foreign_certificate(certs, mine)
            publisher = Publisher(plain, "pier/aft", 100)
            publisher.start()
            async with recording(the_plan, tmp_path / "day", say=lambda notice: said.append(notice.text)) as logger:
                supervisor = logger.supervisors[0]
                await until(lambda: supervisor.times_lost >= 2)
                assert supervisor.times_opened == 0
                assert "the broker does not accept our client certificate" in logger.now().stations[0].said
                mine.write_text("half a certificate", encoding="utf-8")
                await until(lambda: any("broker.client_certificate: found" in text for text in said))
                mine.write_bytes(kept)
                await until(lambda: supervisor.times_opened)
                await asyncio.to_thread(publisher.finish)
                await until(lambda: logger.now().rows >= publisher.sent)
            series = read_series(tmp_path / "day" / "record", repair=False)
            assert sorted(round(v) for one in series for v in one.value) == list(range(publisher.sent))

    run(main())
    gc.collect()


@with_broker
def test_two_loggers_under_one_name_slow_down_and_say_so(tmp_path):
    said = []

    async def main():
        with Mosquitto(tmp_path / "broker") as broker:
            the_plan = plan(broker.port)
            async with (
                recording(the_plan, tmp_path / "one", say=lambda notice: said.append(notice.text)) as one,
                recording(the_plan, tmp_path / "two", say=lambda notice: said.append(notice.text)) as two,
            ):
                await until(lambda: any("perhaps another client is called 'quietheel-logger'" in t for t in said))
                before = one.supervisors[0].times_opened + two.supervisors[0].times_opened
                await asyncio.sleep(3)
                assert one.supervisors[0].times_opened + two.supervisors[0].times_opened - before <= 12

    run(main())
