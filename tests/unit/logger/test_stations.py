"""Stations found, checked, calibrated, and the result in the plan with everything else left as it was."""

from __future__ import annotations

import datetime as dt
import math
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from config.errors import BadInput
from config.load import load_plan
from config.stations import Calibration, Station
from logger.records import Flag, Quantity, Series
from logger.stations.calibrate import KnownAngle, scale_by_angles, sine_bar, slope_angle, zero_by_reversal
from logger.stations.check import check_channel, check_sign, cross_talk
from logger.stations.listing import PortSeen, ports_seen, shown
from logger.stations.plan_table import with_calibration, write_calibration
from logger.stations.steady import resolution, steady_mean

T0 = 1_778_743_800_000_000_000


def series(value: np.ndarray, rate: float = 10.0, quantity: Quantity = Quantity.HEEL, station: str = "aft") -> Series:  # type: ignore[type-arg]
    time = T0 + np.round(np.arange(value.size) * 1e9 / rate).astype(np.int64)
    return Series(station, quantity, time, value, "deg", np.zeros(value.size, dtype=np.uint16))


def noise(count: int, sigma: float = 0.005, seed: int = 0) -> np.ndarray:  # type: ignore[type-arg]
    return np.random.default_rng(seed).normal(0, sigma, count)


def test_a_healthy_channel() -> None:
    found = check_channel(series(np.round(0.3 + noise(600), 3)), Station(name="aft", rate_hz=10))
    assert found.problems == ()
    assert found.rate_hz == pytest.approx(10, rel=1e-4)
    assert found.noise == pytest.approx(0.005, rel=0.15)
    assert found.resolution == 0.001


def test_what_a_technician_is_told() -> None:
    value = np.round(0.3 + noise(600), 3)
    value[200:300] = value[200]
    one = series(value)
    time = one.time_ns.copy()
    time[400:] += 3_000_000_000
    flags = one.flags.copy()
    flags[:4] = Flag.SUSPECT
    one = Series("aft", Quantity.HEEL, time, value, "deg", flags)
    station = Station(name="aft", rate_hz=20, calibration=Calibration(noise_deg=0.001))
    text = "\n".join(check_channel(one, station).problems)
    assert "silent 1 times, longest 3.1 s" in text
    assert "10 Hz where the plan says 20 Hz" in text
    assert "stood at one value for 9.9 s" in text
    assert "4 of 600 readings are marked suspect" in text
    assert "on the bench it was 0.001" in text


def test_a_coarse_sensor_is_not_called_stuck() -> None:
    value = np.round((0.03 * np.sin(np.arange(3000) / 40) + noise(3000, 0.01)) / 0.05) * 0.05
    assert check_channel(series(value)).stuck_s == 0.0


def test_few_readings_and_none() -> None:
    assert check_channel(series(np.zeros(0))).problems == ("aft, heel: nothing came",)
    assert math.isnan(check_channel(series(np.array([0.1, 0.2]))).rate_hz)


@pytest.mark.parametrize(("shift", "right"), [(0.2, True), (-0.2, False), (0.0005, None)])
def test_sign_when_the_starboard_side_is_pressed(shift: float, right: bool | None) -> None:
    found = check_sign(series(0.1 + noise(50)), series(0.1 + shift + noise(50, seed=1)))
    assert found.right is right
    assert {True: "right", False: 'positive to "port"', None: "press harder"}[right] in found.says
    stern = check_sign(series(noise(50), quantity=Quantity.TRIM), series(0.3 + noise(50), quantity=Quantity.TRIM))
    assert stern.pressed == "stern"


@pytest.mark.parametrize("psi", [-6.0, 0.4, 5.0])
@pytest.mark.parametrize("tilt", [1.5, -1.5])
def test_a_turned_mounting_shows_in_the_trim(psi: float, tilt: float) -> None:
    heel, trim = tilt * math.cos(math.radians(psi)), -tilt * math.sin(math.radians(psi))
    found = cross_talk(
        series(0.2 + noise(100, 0.002)),
        series(0.2 + heel + noise(100, 0.002, 1)),
        series(0.1 + noise(100, 0.002, 2), quantity=Quantity.TRIM),
        series(0.1 + trim + noise(100, 0.002, 3), quantity=Quantity.TRIM),
    )
    assert found.turned_deg == pytest.approx(psi, abs=0.1)
    assert ("align it" in found.says) == (abs(psi) > 2)


def test_the_interval_of_a_mean_knows_of_slow_noise() -> None:
    rng = np.random.default_rng(4)
    inside = 0
    for _ in range(300):
        slow = np.convolve(rng.normal(size=1100), np.ones(20) / 20, mode="valid")[:1000]
        found = steady_mean(slow)
        inside += abs(found.value) <= found.u95()
    assert 270 <= inside <= 297


def test_resolution_of_a_fine_sensor_cannot_be_told() -> None:
    assert math.isnan(resolution(noise(500)))
    assert math.isnan(resolution(np.full(10, 0.5)))
    assert resolution(np.round(noise(30, 0.01), 3)) == 0.001


def test_face_reversal_finds_the_zero_whatever_the_tilt() -> None:
    inside = 0
    for seed in range(200):
        rng = np.random.default_rng(seed)
        pairs = []
        for _ in range(4):
            seat = rng.normal(0, 0.003, 2)
            pairs.append(
                tuple(
                    steady_mean(0.05 + side * 0.7 + seat[n] + rng.normal(0, 0.01, 300))
                    for n, side in enumerate((1, -1))
                )
            )
        found = zero_by_reversal(pairs)  # type: ignore[arg-type]
        inside += abs(found.zero_deg - 0.05) <= found.u95_deg
    assert 182 <= inside <= 199
    assert found.tilt_deg == pytest.approx(0.7, abs=0.01) and "reseating included" in found.says
    with pytest.raises(BadInput):
        zero_by_reversal([])


def test_scale_from_a_sine_bar() -> None:
    inside = 0
    for seed in range(200):
        rng = np.random.default_rng(seed)
        angles = []
        for height in (-10.0, -5.0, 0.0, 5.0, 10.0):
            true, u = sine_bar(height, 200.0, 0.01)
            shown_angle = 0.04 + (true + rng.normal(0, u)) / 1.004
            angles.append(KnownAngle(true, u, steady_mean(shown_angle + rng.normal(0, 0.01, 300))))
        found = scale_by_angles(angles)
        inside += abs(found.scale / 1.004 - 1) * 100 <= found.u95_percent
    assert 182 <= inside <= 199
    assert scale_by_angles(angles, 0.2).u95_percent == pytest.approx(math.hypot(found.u95_percent, 0.392), rel=0.01)


def test_scale_refuses_what_tells_nothing() -> None:
    mean = steady_mean(noise(100))
    with pytest.raises(BadInput, match="two or more"):
        scale_by_angles([KnownAngle(1.0, 0.001, mean)])
    with pytest.raises(BadInput, match="rise with the true"):
        scale_by_angles([KnownAngle(a, 0.001, steady_mean(-a + noise(100))) for a in (0.0, 1.0, 2.0)])
    with pytest.raises(BadInput):
        sine_bar(300, 200, 0.01)
    assert slope_angle(17.4551, 0.02)[0] == pytest.approx(1.0, abs=1e-5)


PLAN = """# Plan of the day
[test]
name = "Merrowby"   # the vessel

[[stations]]
name = "aft"
source = { type = "serial", port = "COM4" }
  [stations.calibration]
  # certificate = ""
  scale = 1.0                   # true over indicated
  scale_u95_percent = 0.2       # left out, 0.5 % is assumed

[[stations]]   # the second
name = "forward"
calibration = { scale = 1.1, certificate = "A, 1" }  # inline

# the third
[[stations]]
name = "bridge"
  [stations.source]
  type = "mqtt"
  topic = "pier/bridge"

# --- weights ---
[[weights]]
name = "1"
mass_t = 2.5
port_m = [1, -4, 5]
starboard_m = [1, 4, 5]
"""


@pytest.mark.parametrize("newline", ["\n", "\r\n"])
@pytest.mark.parametrize("station", ["aft", "forward", "bridge"])
def test_a_calibration_goes_into_the_plan_and_all_else_stays(tmp_path: Path, station: str, newline: str) -> None:
    path = tmp_path / "plan.toml"
    path.write_bytes(PLAN.replace("\n", newline).encode())
    before = load_plan(path)
    values = {"made_on": dt.date(2026, 5, 14), "made_by": 'A "tech" # 1', "scale": 1.0042, "zero_deg": -0.0031}
    plan = write_calibration(path, station, values)
    found = next(one for one in plan.stations if one.name == station).calibration
    assert (found.scale, found.zero_deg, found.made_by, found.made_on) == (
        1.0042,
        -0.0031,
        'A "tech" # 1',
        values["made_on"],
    )
    assert load_plan(path) == plan
    for old, new in zip(before.stations, plan.stations, strict=True):
        if old.name != station:
            assert old == new
        else:
            assert old.model_copy(update={"calibration": new.calibration}) == new
    text = path.read_bytes().decode()
    assert text.count("\n") == text.count(newline)
    for comment in (
        "# the vessel",
        "# the second",
        "# the third",
        "# --- weights ---",
        "# inline",
        "# true over indicated",
    ):
        assert comment in text
    again = with_calibration(text, station, values)
    assert again == text


def test_scale_keeps_its_comment_in_its_column() -> None:
    text = with_calibration(PLAN, "aft", {"scale": 1.0042})
    assert "  scale = 1.0042                # true over indicated\n" in text


def test_a_calibration_the_plan_would_not_take_changes_nothing(tmp_path: Path) -> None:
    path = tmp_path / "plan.toml"
    path.write_text(PLAN, encoding="utf-8", newline="\n")
    with pytest.raises(BadInput, match="scale"):
        write_calibration(path, "aft", {"scale": -1.0})
    with pytest.raises(BadInput, match="one of aft, forward, bridge"):
        write_calibration(path, "mast", {"scale": 1.0})
    assert path.read_text(encoding="utf-8") == PLAN


def heard_at(port: str) -> PortSeen:
    info = SimpleNamespace(device=port, description="adapter", serial_number="")
    return ports_seen(0.05, (9600,), ports=lambda: [info])[0]


def test_ports_with_sample_lines() -> None:
    info = SimpleNamespace(device="loop://", description="adapter", serial_number="AB12")
    seen = ports_seen(0.05, (9600,), ports=lambda: [info])
    assert (seen[0].port, seen[0].usb_serial, seen[0].samples) == ("loop://", "AB12", ())
    assert ports_seen(ports=lambda: [info], busy=frozenset({"loop://"}))[0].problem == "in use"
    assert heard_at("/dev/no-such-port").problem
    assert shown(b"\xff\x00abc\r\n" + b"x" * 500).startswith("\ufffd.abc..") and len(shown(b"x" * 500)) == 120


@pytest.mark.parametrize("fault", [TypeError("'NoneType' object"), OSError(5, "Input/output error"), ValueError("odd")])
def test_a_port_that_vanishes_while_it_is_listed_is_a_problem_in_words(
    monkeypatch: pytest.MonkeyPatch, fault: Exception
) -> None:
    def vanish(*_: object, **__: object) -> None:
        raise fault

    monkeypatch.setattr("logger.stations.listing.serial.serial_for_url", vanish)
    assert heard_at("COM4").problem == str(fault)
