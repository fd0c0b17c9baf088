"""Against a real mosquitto: acknowledgement, outages, TLS, users, hostile publishers."""

import asyncio
import gc
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from outages import broker_killed
from rig import MOSQUITTO, Mosquitto, Publisher, certificates, run, wait_until

from config.plan import Plan
from config.stations import Broker, ChannelMap, MqttSource, Station
from logger.archive.reader import read_series
from logger.records import Flag
from logger.service import recording

pytestmark = [pytest.mark.broker, pytest.mark.skipif(MOSQUITTO is None, reason="no mosquitto here")]
needs_openssl = pytest.mark.skipif(shutil.which("openssl") is None, reason="no openssl here")


def plan(url, topic="pier/aft", *, timed=True, **broker):
    station = Station(
        name="aft",
        dialect="json",
        source=MqttSource(type="mqtt", topic=topic),
        channels=(ChannelMap(quantity="heel", field="roll", unit="deg"),),
        time_field="t" if timed else "",
        time_format="unix_s",
    )
    return Plan(stations=(station,), broker=Broker(url=url, **broker))


async def until(done, seconds=10.0):
    async with asyncio.timeout(seconds):
        while not done():
            await asyncio.sleep(0.01)


def recorded(folder):
    series = read_series(folder / "record", repair=False)
    return sorted(round(v) for s in series for v in s.value)


@pytest.mark.parametrize(("how", "protocol"), [(signal.SIGTERM, "5"), (signal.SIGKILL, "3.1.1")])
def test_a_broker_killed_and_restarted_costs_no_message(how, protocol):
    result = run(broker_killed(1, how, protocol))
    assert result["missing"] == 0
    assert result["rows twice, not flagged"] == 0
    assert result["back after, worst s"] <= 2.0


@pytest.mark.parametrize("protocol", ["3.1.1", "5"])
def test_what_is_published_while_the_logger_is_away_waits_for_it(tmp_path, protocol):
    async def main():
        with Mosquitto(tmp_path / "broker") as broker:
            the_plan = plan(f"mqtt://127.0.0.1:{broker.port}", protocol=protocol)
            async with recording(the_plan, tmp_path) as first:
                await until(lambda: first.supervisors[0].times_opened)
            publisher = Publisher(broker.port, "pier/aft", 200)
            publisher.start()
            await until(lambda: publisher.sent >= 100)
            await asyncio.to_thread(publisher.finish)
            async with recording(the_plan, tmp_path) as second:
                await until(lambda: second.now().rows >= publisher.sent)
            assert recorded(tmp_path) == list(range(publisher.sent))
            # Everything was acknowledged before the end: a third run gets nothing again.
            async with recording(the_plan, tmp_path) as third:
                await until(lambda: third.supervisors[0].times_opened)
                await asyncio.sleep(0.3)
                assert third.now().rows == 0

    run(main())


LOGGER = """
import asyncio, sys
from pathlib import Path
from config.plan import Plan
from logger.service import recording, run_logger

async def main():
    plan = Plan.model_validate_json(sys.stdin.read())
    async with recording(plan, Path(sys.argv[1])):
        await asyncio.sleep(1000)

run_logger(main())
"""


@pytest.mark.skipif(sys.platform == "win32", reason="kill -9 is of POSIX")
def test_kill_9_of_the_logger_loses_no_message(tmp_path):
    """Twice in the midst of a stream; what was not yet safe comes again to the next run."""
    with Mosquitto(tmp_path / "broker") as broker:
        the_plan = plan(f"mqtt://127.0.0.1:{broker.port}").model_dump_json()
        publisher = Publisher(broker.port, "pier/aft", 100)
        runs = tmp_path / "record"
        for number in range(2):
            logger = subprocess.Popen([sys.executable, "-c", LOGGER, str(tmp_path)], stdin=subprocess.PIPE)
            logger.stdin.write(the_plan.encode())
            logger.stdin.close()
            wait_until(
                lambda n=number: runs.is_dir() and len([r for r in runs.iterdir() if r.is_dir()]) > n, 20, "a run"
            )
            if number == 0:
                time.sleep(0.7)
                publisher.start()
            time.sleep(1.3)
            logger.kill()
            logger.wait()
        publisher.finish()

        async def last():
            async with recording(Plan.model_validate_json(the_plan), tmp_path) as logger:
                await until(lambda: logger.now().rows > 0)
                await asyncio.sleep(1.5)

        run(last())
    assert sorted(set(recorded(tmp_path))) == list(range(publisher.sent))


def test_of_a_station_without_its_own_time_the_burst_after_an_outage_is_flagged_late(tmp_path):
    async def main():
        with Mosquitto(tmp_path / "broker") as broker:
            the_plan = plan(f"mqtt://127.0.0.1:{broker.port}", timed=False)
            async with recording(the_plan, tmp_path) as logger:
                await until(lambda: logger.supervisors[0].times_opened)
            publisher = Publisher(broker.port, "pier/aft", 20)
            publisher.start()
            await asyncio.sleep(2)
            async with recording(the_plan, tmp_path) as logger:
                await asyncio.sleep(1.5)
            await asyncio.to_thread(publisher.finish)

    run(main())
    last = read_series(tmp_path / "record", repair=False)[-1]
    late = (last.flags & Flag.LATE.value) != 0
    assert 30 <= late.sum() <= 50
    assert not late[-15:].any()


def publish(broker, topic, payloads, **options):
    import aiomqtt

    async def main():
        async with aiomqtt.Client("127.0.0.1", broker.port, **options) as client:
            for payload in payloads:
                await client.publish(topic, payload, qos=1)

    return main()


def test_hostile_payloads_and_topics_are_counted_and_harm_nothing(tmp_path):
    hostile = [
        b"",
        b"\x00" * 1000,
        b"[" * 50_000,
        b"{" * 10,
        b"9" * 200_000,
        b'{"roll": "../../etc"}',
        b"\xff" * 290_000,
    ]

    async def main():
        with Mosquitto(tmp_path / "broker") as broker:
            async with recording(plan(f"mqtt://127.0.0.1:{broker.port}", "pier/#"), tmp_path) as logger:
                await until(lambda: logger.supervisors[0].times_opened)
                await publish(broker, "pier/../../../../tmp/evil", hostile)
                await publish(broker, "pier/\u202eevil", [b'{"roll": 1, "t": 1900000000}'])
                await until(lambda: logger.now().rows == 1)
                now = logger.now().stations[0]
                assert logger.supervisors[0].times_lost == 0
                assert now.no_readings >= len(hostile) - 2

    run(main())
    files = {p.relative_to(tmp_path).parts[0] for p in tmp_path.rglob("*")}
    assert files == {"broker", "record"}


@needs_openssl
# A handshake that fails leaves its socket to the garbage collector, inside the libraries.
@pytest.mark.filterwarnings("ignore:Exception ignored in.*SSLSocket:pytest.PytestUnraisableExceptionWarning")
def test_tls_with_certificates_checked_and_a_client_certificate(tmp_path):
    made = certificates(tmp_path / "certs")
    extra = (
        f"cafile {made}/ca.crt\ncertfile {made}/server.crt\nkeyfile {made}/server.key\nrequire_certificate true\n"
        "allow_anonymous true\n"
    )

    async def main():
        with Mosquitto(tmp_path / "broker", extra) as broker:
            url = f"mqtts://127.0.0.1:{broker.port}"
            good = plan(
                url, ca_file="certs/ca.crt", client_certificate="certs/client.crt", client_key="certs/client.key"
            )
            async with recording(good, tmp_path) as logger:
                await until(lambda: logger.supervisors[0].times_opened)
            for wrong in (
                plan(url, client_certificate="certs/client.crt", client_key="certs/client.key"),
                plan(
                    url, ca_file="certs/other.crt", client_certificate="certs/client.crt", client_key="certs/client.key"
                ),
                plan(url, ca_file="certs/ca.crt"),
            ):
                async with recording(wrong, tmp_path) as logger:
                    await until(lambda: logger.supervisors[0].times_lost)
                    await asyncio.sleep(0.3)
                    assert logger.supervisors[0].times_opened == 0

    run(main())
    gc.collect()


def test_user_and_password_and_no_word_of_them_in_the_record(tmp_path, monkeypatch):
    users = tmp_path / "users"
    users.write_text("", encoding="utf-8")
    command = shutil.which("mosquitto_passwd") or "/usr/bin/mosquitto_passwd"
    if not Path(command).exists():
        pytest.skip("no mosquitto_passwd here")
    subprocess.run([command, "-b", str(users), "pier", "sesame"], check=True, capture_output=True)
    users.chmod(0o644)
    said = []

    async def main():
        with Mosquitto(tmp_path / "broker", f"allow_anonymous false\npassword_file {users}\n") as broker:
            url = f"mqtt://127.0.0.1:{broker.port}"
            monkeypatch.setenv("QUIETHEEL_MQTT_USER", "pier")
            for password, opens in (("sesame", True), ("wrong-sesame", False)):
                monkeypatch.setenv("QUIETHEEL_MQTT_PASSWORD", password)
                async with recording(plan(url), tmp_path, say=lambda n: said.append(n.text)) as logger:
                    supervisor = logger.supervisors[0]
                    await until(lambda s=supervisor: s.times_opened or s.times_lost)
                    assert bool(supervisor.times_opened) is opens

    run(main())
    assert any("authori" in text.lower() for text in said)
    words = " ".join(said) + "".join(p.read_text("latin-1") for p in (tmp_path / "record").rglob("*") if p.is_file())
    assert "sesame" not in words
