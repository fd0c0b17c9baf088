"""The demo's day over many seeds: GM against the truth, the two spoilt windows and no other.

Run ``pytest -m statistics tests/statistics/test_demo_seeds.py -s`` for all twenty with a table.
"""

from pathlib import Path

import pytest

from quietheel.jobs.reduce import reduce_folder
from quietheel.jobs.simulate import simulate


def look(seed: int, folder: Path) -> dict[str, object]:
    truth = simulate("merrowby", folder, seed=seed).truth
    gm = reduce_folder(folder).answer.gm.value
    assert gm is not None
    rejected = {point.label: point.reasons for point in gm.points if point.verdict == "rejected"}
    error = gm.gm.value / truth.gm_m - 1.0
    print(f"seed {seed:3d}  GM {100 * error:+.3f} %  interval {100 * gm.gm.u95() / truth.gm_m:.3f} %  {rejected}")
    return {
        "error": error,
        "inside": abs(gm.gm.value - truth.gm_m) <= gm.gm.u95(),
        "taut": "taut" in rejected.get("2", ()),
        "people": "people" in rejected.get("6", ()),
        "clean": len(rejected.keys() - {"2", "6"}),
    }


@pytest.mark.parametrize("seed", [1, 2, 3, 4, 5])
def test_a_day_of_the_demo(seed: int, tmp_path: Path) -> None:
    found = look(seed, tmp_path / "day")
    assert found["inside"]
    assert abs(float(str(found["error"]))) < 0.005
    assert found["taut"] and found["people"] and not found["clean"]


@pytest.mark.statistics
@pytest.mark.timeout(600)
def test_twenty_days_of_the_demo(tmp_path: Path) -> None:
    found = [look(seed, tmp_path / str(seed)) for seed in range(1, 21)]
    assert all(day["inside"] for day in found)
    assert all(abs(float(str(day["error"]))) < 0.005 for day in found)
    assert all(day["taut"] for day in found)
    assert all(day["people"] for day in found)
    assert not any(day["clean"] for day in found)
