"""A recorded run as a source."""

import pytest
from doubles import HEEL, Devices, until
from rig import run

from config.errors import BadInput
from config.plan import Plan
from config.stations import PlaybackSource, Station
from logger.archive.reader import list_runs, read_series
from logger.clock import FastClock
from logger.records import Quantity
from logger.service import recording


def test_a_recorded_run_played_again_fast(tmp_path):
    async def main():
        async with Devices(1) as devices, recording(devices.plan(), tmp_path) as logger:
            await until(lambda: logger.now().rows >= 30)
        first = list_runs(tmp_path / "record")[0]
        source = PlaybackSource(type="playback", run=f"record/{first.name}", speed=2.0)
        plan = Plan(stations=(Station(name="s0", source=source, channels=HEEL),))
        async with recording(plan, tmp_path, clock=FastClock(5.0)) as logger:
            await until(lambda: logger.now().stations[0].state == "ended")
        return first

    first = run(main())
    runs = list_runs(tmp_path / "record")
    played, original = (read_series(info.folder, repair=False)[0] for info in reversed(runs))
    if played.time_ns[0] == original.time_ns[0]:
        played, original = original, played
    assert first.name
    assert list(played.value) == list(original.value)
    assert sorted({played.quantity, original.quantity}) == [Quantity.HEEL]


def test_every_station_of_a_run_is_played(tmp_path):
    async def main():
        async with Devices(2) as devices, recording(devices.plan(), tmp_path) as logger:
            await until(lambda: logger.now().rows >= 40)
        first = list_runs(tmp_path / "record")[0]
        source = PlaybackSource(type="playback", run=f"record/{first.name}", speed=2.0)
        plan = Plan(stations=tuple(Station(name=name, source=source, channels=HEEL) for name in ("s0", "s1")))
        async with recording(plan, tmp_path, clock=FastClock(5.0)) as logger:
            await until(lambda: all(station.state == "ended" for station in logger.now().stations))
            return [station.readings for station in logger.now().stations]

    assert all(count > 10 for count in run(main()))


def test_a_run_that_is_not_there_is_named_with_those_that_are(tmp_path):
    async def main():
        async with Devices(1) as devices, recording(devices.plan(), tmp_path) as logger:
            await until(lambda: logger.now().rows >= 5)
        there = list_runs(tmp_path / "record")[0].name
        (tmp_path / "empty").mkdir()
        runs = {"s0": "no-such-run", "s1": "empty", "s2": f"record/{there}"}
        plan = Plan(
            stations=tuple(
                Station(name=name, source=PlaybackSource(type="playback", run=played), channels=HEEL)
                for name, played in runs.items()
            )
        )
        async with recording(plan, tmp_path) as logger:
            await until(lambda: all(station.said for station in logger.now().stations))
            await until(lambda: logger.now().stations[2].readings > 0)
            now = logger.now()
        return there, {station.name: station.said for station in now.stations}, now.without_readings

    there, said, silent = run(main())
    assert f"no such run: no-such-run; there is record/{there}" in said["s0"]
    assert "the run empty holds no readings" in said["s1"]
    assert [station.name for station in silent] == ["s0", "s1"]


def test_a_run_outside_the_folder_is_not_played(tmp_path):
    async def main():
        source = PlaybackSource(type="playback", run="../../somewhere")
        plan = Plan(stations=(Station(name="s0", source=source, channels=HEEL),))
        with pytest.raises(BadInput, match="inside the test folder"):
            async with recording(plan, tmp_path):
                pass

    run(main())
