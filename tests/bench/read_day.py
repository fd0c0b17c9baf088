"""Read a long day (made by `long_day.py`) in several ways, each in a process of its own; compare with bare pyarrow.

    python tests/bench/read_day.py FOLDER

Prints for each way: seconds, ratio to bare pyarrow reading the same columns in the same run, and peak resident memory.
"""

from __future__ import annotations

import json
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parent))

MINUTE = 60_000_000_000


def bare(record: Path) -> int:
    """pyarrow alone: time, station and value of every segment, one after another."""
    import pyarrow.parquet as pq

    paths = sorted(record.glob("*/readings-*.parquet"))
    return sum(pq.read_table(path, columns=["time", "station", "value"]).num_rows for path in paths)


def bare_held(record: Path) -> int:
    """pyarrow alone, everything held in memory at the end."""
    import pyarrow.parquet as pq

    return int(
        pq.read_table(sorted(record.glob("*/readings-*.parquet")), columns=["time", "station", "value"]).num_rows
    )


def arrived(record: Path) -> int:
    """read_series without repair of times: every row of every channel."""
    from logger.archive.reader import read_series

    return sum(len(series) for series in read_series(record, quantity="heel", repair=False))


def repaired(record: Path) -> int:
    """read_series with times repaired: every row of every channel."""
    from logger.archive.reader import read_series

    return sum(len(series) for series in read_series(record, quantity="heel"))


def means(record: Path) -> int:
    """read_thinned without spans: the whole day as quarter-second means, for whole-day scans."""
    from logger.archive.thinned import read_thinned
    from logger.records import Quantity

    return sum(int(one.count.sum()) for one in read_thinned(record, (), (Quantity.HEEL,)))


def ten_minutes(record: Path) -> int:
    """read_series, repaired, a stretch of ten minutes in the middle."""
    from logger.archive.reader import list_runs, read_series

    run = list_runs(record)[0]
    middle = (run.started_ns + (run.stopped_ns or run.started_ns)) // 2
    return sum(len(s) for s in read_series(record, quantity="heel", start_ns=middle, stop_ns=middle + 10 * MINUTE))


WAYS: dict[str, Callable[[Path], int]] = {
    way.__name__: way for way in (bare, bare_held, arrived, repaired, means, ten_minutes)
}


def one(way: str, record: Path) -> None:
    """Run one way twice (the second time with the files in the system's cache) and print the figures."""
    from memory import peak_mb, resident_mb

    import logger.archive.reader  # noqa: F401  imports are not part of the reading

    before = resident_mb()
    taken = []
    for _ in range(2):
        begun = time.perf_counter()
        rows = WAYS[way](record)
        taken.append(time.perf_counter() - begun)
    figures = {
        "rows": rows,
        "seconds": round(min(taken), 3),
        "first_s": round(taken[0], 3),
        "peak_mb": round(peak_mb(), 1),
    }
    print(json.dumps({**figures, "before_mb": round(before, 1)}))


def main(folder: Path) -> dict[str, dict[str, float]]:
    """Run every way; returns the figures by way."""
    found: dict[str, dict[str, float]] = {}
    for way in WAYS:
        command = [sys.executable, __file__, "--one", way, str(folder / "record")]
        done = subprocess.run(command, capture_output=True, text=True, check=True)
        found[way] = json.loads(done.stdout)
        found[way]["ratio_to_bare"] = round(found[way]["seconds"] / found["bare"]["seconds"], 2)
        print(f"{way:12} {json.dumps(found[way])}", flush=True)
    return found


if __name__ == "__main__":
    if sys.argv[1] == "--one":
        one(sys.argv[2], Path(sys.argv[3]))
    else:
        main(Path(sys.argv[1]))
