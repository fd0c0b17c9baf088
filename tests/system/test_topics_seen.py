"""`stations list` against a real broker: what is published is listed with samples that cannot harm a screen."""

from __future__ import annotations

import importlib.util
import sys
import time
from pathlib import Path

import pytest

from config.stations import Broker
from logger.credentials import Credentials
from logger.service import run_logger
from logger.stations.listing import topics_seen

BENCH = Path(__file__).resolve().parents[1] / "bench"


def _rig():  # type: ignore[no-untyped-def]
    spec = importlib.util.spec_from_file_location("rig_for_topics", BENCH / "rig.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


rig = _rig()


@pytest.mark.broker
@pytest.mark.skipif(not rig.MOSQUITTO, reason="needs mosquitto")
def test_topics_with_samples(tmp_path: Path) -> None:
    with rig.Mosquitto(tmp_path) as broker:
        publisher = rig.Publisher(broker.port, "pier/aft", 50.0, form='{{"roll": {n}}}\x1b[2J')
        publisher.start()
        time.sleep(0.3)
        plan = Broker(url=f"mqtt://127.0.0.1:{broker.port}")
        topics, beyond = run_logger(topics_seen(plan, tmp_path, Credentials(), 1.0))
        publisher.finish()
    assert beyond == 0 and [topic.topic for topic in topics] == ["pier/aft"]
    assert topics[0].rate_hz == pytest.approx(50, rel=0.5) and len(topics[0].samples) == 3
    assert topics[0].samples[0].startswith('{"roll": ') and "\x1b" not in topics[0].samples[0]


def test_no_broker_is_said_as_such(tmp_path: Path) -> None:
    plan = Broker(url=f"mqtt://127.0.0.1:{rig.free_port()}")
    with pytest.raises(OSError, match="broker 127"):
        run_logger(topics_seen(plan, tmp_path, Credentials(), 0.5))
