"""A mast that fell silent is told, with the windows it left alone."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

import quietheel
from dsp.types import Day, Wind, WindowSpan
from quietheel.jobs.importing import import_readings
from quietheel.jobs.wind_gaps import wind_gaps

SPANS = tuple(WindowSpan(str(n), 600.0 * n, 600.0 * n + 120.0) for n in range(4))


def day(until: float, every: float = 1.0) -> Day:
    time = np.arange(0.0, until, every)
    return Day(0, (), SPANS, wind=Wind(time, np.full(time.size, 6.0)))


def test_windows_in_which_the_mast_was_silent_are_named() -> None:
    (said,) = wind_gaps(day(1260.0))
    assert said.startswith("Wind was not measured in windows 2 and 3, or in part only")
    (said,) = wind_gaps(day(1800.0))
    assert said.startswith("Wind was not measured in window 3,")


def test_a_mast_that_is_heard_and_a_day_without_one_say_nothing() -> None:
    assert wind_gaps(day(2000.0)) == wind_gaps(day(2000.0, every=25.0)) == ()
    assert wind_gaps(replace(day(2000.0), wind=None)) == ()
    assert wind_gaps(day(10.0)) == ()


def test_it_stands_among_the_assumptions_of_the_answer(tmp_path: Path) -> None:
    rng = np.random.default_rng(3)
    stamp = np.datetime64("2030-05-14T08:00:00", "s")
    rows = ["time,sensor,quantity,value,unit"]
    moments = (0.0, 20.0, -20.0, 0.0)
    for second in range(4 * 180):
        at = f"{stamp + np.timedelta64(second, 's')}Z"
        heel = np.degrees(np.arctan(moments[second // 180] / 1000.0))
        rows.append(f"{at},aft,heel,{heel + 0.05 * np.sin(second / 1.3) + rng.normal(0.0, 0.003):.5f},deg")
        if second < 400:
            rows.append(f"{at},mast,wind_speed,{4.0 + rng.normal(0.0, 0.5):.2f},m/s")
    spans = [f"{n},{stamp + 180 * n + 30}Z,{stamp + 180 * n + 150}Z,{m}" for n, m in enumerate(moments)]
    (tmp_path / "readings.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    (tmp_path / "windows.csv").write_text("movement,start,stop,moment_tm\n" + "\n".join(spans) + "\n", encoding="utf-8")
    import_readings(
        tmp_path / "made", tmp_path / "readings.csv", tmp_path / "windows.csv", displacement_t=1000.0, bm_m=3.0
    )
    said = quietheel.reduce(tmp_path / "made").assumptions
    assert sum(line.startswith("Wind was not measured in windows 2 and 3") for line in said) == 1
