"""18 hours of 6 stations at 100 Hz (38.9 M rows) with marked windows: wall time, CPU and memory of what a person runs.

    python tests/bench/reduce_long_day.py FOLDER [--hours 18] [--windows 18] [--make-only] [--runs 2]

Writes FOLDER once, straight into sealed segments, then runs ``windows``, ``windows --suggest`` and ``reduce`` each in a
process of its own, beside pyarrow merely reading time, station and value of the same record; and plays the day through.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parent))

from page_day import LABELS, NAMES, START_NS, At, heel_at, plan_text

from config.files import digest
from logger.archive.arrow import from_numpy, strings
from logger.archive.journal import Journal
from logger.archive.layout import channel_to_json, run_name, segment_path, write_json
from logger.archive.schema import CONVENTIONS
from logger.archive.seal import seal
from logger.events import EventLog
from logger.records import Channel, Quantity

RATE = 100
SEGMENT_S = 660
WINDOW_S = 240.0
STATES = len(LABELS)
WORDS = strings([f"{code / 1000:.3f} deg" for code in range(-9000, 9001)])
BARS = {"seconds": 5.0, "memory_mb": 1000.0, "scan_ratio": 2.5}


def motion(seconds: float, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """(time s, heel deg) at 10 Hz: levels of the movements, swing after each, roll pushed at random, slow heel."""
    from scipy.signal import lfilter

    time_s = np.arange(round(seconds * 10) + 11) / 10.0
    state_s = seconds / STATES
    into = time_s % state_s
    # The movements of the short day, each in the first four minutes of its state, which then lasts.
    short = np.minimum(time_s // state_s, STATES - 1) * 240.0 + np.minimum(into, 239.0)
    heel = np.where(into < 200.0, heel_at(short, STATES), heel_at(np.floor(short / 240.0) * 240.0 + 239.0, STATES))
    fade = np.exp(-0.1 / 60.0)
    slow = lfilter([1.0], [1.0, -fade], rng.normal(0, 0.004 * np.sqrt(1 - fade**2), time_s.size))
    pole = np.exp((-0.03 + 1j) * 2 * np.pi / 8.0 * 0.1)
    pushed = lfilter([1.0], [1.0, -2 * pole.real, abs(pole) ** 2], rng.normal(0, 1.0, time_s.size))
    return time_s, heel + slow + 0.03 * pushed / np.std(pushed)


def write_record(folder: Path, hours: float, rate: int = RATE, start_ns: int = START_NS) -> None:
    """Write one run of sealed segments with start and stop record."""
    rng = np.random.default_rng(5)
    names = NAMES[:6]
    channels = [Channel(name, Quantity.HEEL, "deg", f"mqtt:{name}") for name in names]
    channels += [Channel("mast", Quantity.WIND_SPEED, "m/s", "mqtt:mast")]
    run = folder / "record" / run_name(start_ns, 1)
    run.mkdir(parents=True)
    start = {"run": run.name, "started_ns": start_ns, "plan_digest": digest(folder / "plan.toml")}
    write_json(
        run / "start.json", {**start, "channels": [channel_to_json(c) for c in channels], "conventions": CONVENTIONS}
    )
    seconds = hours * 3600.0
    time_s, heel = motion(seconds, rng)
    sealed, first = [], 0
    for number, begin in enumerate(np.arange(0.0, seconds, SEGMENT_S), 1):
        journal = Journal(run / f"journal-{number:04d}.arrows", channels, run.name, number, first)
        length = min(SEGMENT_S, seconds - begin)
        parts = []
        for place, offset in enumerate((0.031, -0.044, 0.012, 0.06, -0.02, 0.005)):
            at = begin + np.arange(round(length * rate)) / rate
            value = np.interp(at, time_s, heel) + offset + rng.normal(0, 0.004, at.size)
            parts.append((place, at + 0.001 * place, np.rint(value * 1000).astype(np.int64)))
        at = begin + np.arange(round(length))
        speed = 3.0 + 0.8 * np.sin(at / 37.0) + rng.normal(0, 0.3, at.size)
        parts.append((len(names), at + 0.0, np.rint(np.maximum(speed, 0.0) * 1000).astype(np.int64)))
        _write(journal, parts, rng, rate, start_ns)
        done = seal(journal.path, segment_path(run, number))
        journal.path.unlink()
        sealed.append({"file": done.path.name, "rows": done.rows, "first_row": done.first_row, "sha256": done.sha256})
        first += done.rows
    stopped = start_ns + round(seconds * 1e9)
    write_json(
        run / "stop.json",
        {
            "stopped_ns": stopped,
            "reason": "end of the day",
            "segments": sealed,
            "sha256": {"start.json": digest(run / "start.json")},
        },
    )


def _write(
    journal: Journal,
    parts: list[tuple[int, np.ndarray, np.ndarray]],
    rng: np.random.Generator,
    rate: int,
    start_ns: int,
) -> None:
    import pyarrow as pa

    channel = np.concatenate([np.full(at.size, place, dtype=np.int16) for place, at, _ in parts])
    host = np.concatenate(
        [
            np.maximum.accumulate(
                start_ns + (at * 1e9).astype(np.int64) + rng.exponential(2e6, at.size).astype(np.int64)
            )
            for _, at, _ in parts
        ]
    )
    code = np.concatenate([code for _, _, code in parts])
    sequence = np.concatenate(
        [np.rint((at - 0.001 * p) * (rate if p < 6 else 1)).astype(np.int64) for p, at, _ in parts]
    )
    order = np.argsort(host, kind="stable")
    host, channel, code, sequence = host[order], channel[order], code[order], sequence[order]
    none = np.zeros(host.size, dtype=np.int64)
    kind = pa.timestamp("ns", tz="UTC")
    batch = pa.record_batch(
        [
            from_numpy(host).view(kind),
            from_numpy(none, np.zeros(host.size, dtype=bool)).view(kind),
            from_numpy(channel),
            from_numpy(code / 1000.0),
            _words(code),
            from_numpy(np.zeros(host.size, dtype=np.uint16)),
            from_numpy(sequence),
        ],
        schema=journal.schema,
    )
    journal.encode(batch)
    journal.write()
    journal.close()


def _words(code: np.ndarray) -> Any:
    """Texts as sent, in buffers that end where they end, as the journal's check sum wants them."""
    import pyarrow as pa

    taken = WORDS.take(from_numpy(code + 9000))
    _, offsets, data = taken.buffers()
    ends = offsets.slice(0, 4 * (code.size + 1))
    last = int(np.frombuffer(ends, np.int32)[-1])
    return pa.Array.from_buffers(pa.utf8(), code.size, [None, ends, data.slice(0, last)])


def mark(folder: Path, hours: float, windows: int, start_ns: int = START_NS) -> None:
    """Mark the windows, evenly over the states of the weights."""
    log = EventLog(folder, At(start_ns))
    state_s = hours * 3600.0 / STATES
    for n in range(STATES):
        begin = n * state_s

        def at(seconds: float, begin: float = begin) -> int:
            return start_ns + round((begin + seconds) * 1e9)

        if n:
            log.append("movement", "technician", {"movement": LABELS[n]}, at(52))
        if n == 3:
            log.append("people", "mate", {"person": "mate", "place": "wheelhouse"}, at(60))
        count = windows // STATES + (n < windows % STATES)
        for k in range(count):
            opens = 300.0 + k * (state_s - 400.0) / max(count, 1)
            confirmed = ["lines", "clear", "muster", "crane", "quiet"]
            log.append("confirm", "technician", {"what": confirmed}, at(opens - 20.0))
            log.append("window_open", "technician", {"movement": LABELS[n]}, at(opens))
            log.append("window_close", "technician", {}, at(opens + WINDOW_S))


def make(folder: Path, hours: float, windows: int) -> None:
    """Write plan, record and marks, unless they are there."""
    if (folder / "events.jsonl").exists():
        return
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "plan.toml").write_text(plan_text(6, RATE), encoding="utf-8")
    write_record(folder, hours)
    mark(folder, hours, windows)


def measured(command: list[str], runs: int) -> dict[str, float]:
    """Run a command some times: the least wall time, with CPU time and peak resident memory of that run."""
    best: dict[str, float] = {}
    for _ in range(runs):
        begun = time.perf_counter()
        child = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
        errors = child.stderr.read().decode() if child.stderr else ""
        _, status, used = os.wait4(child.pid, 0)
        child.returncode = os.waitstatus_to_exitcode(status)
        taken = time.perf_counter() - begun
        if child.returncode not in (0, 1):
            raise SystemExit(errors)
        if not best or taken < best["seconds"]:
            peak = used.ru_maxrss / (1024.0**2 if sys.platform == "darwin" else 1024.0)
            cpu = used.ru_utime + used.ru_stime
            best = {
                "seconds": round(taken, 2),
                "cpu_s": round(cpu, 2),
                "peak_mb": round(peak),
                "exit": child.returncode,
            }
    return best


BARE = """
import sys, pathlib, pyarrow.parquet as pq
paths = sorted(pathlib.Path(sys.argv[1]).glob("record/*/readings-*.parquet"))
sum(pq.read_table(path, columns=["time", "station", "value"]).num_rows for path in paths)
"""


SCAN = """
import sys, time, pathlib, pyarrow.parquet as pq
from dsp.live import suggest_windows
from quietheel.jobs.day import scanned_day

def bare():
    for path in sorted(pathlib.Path(sys.argv[1]).glob("record/*/readings-*.parquet")):
        pq.read_table(path, columns=["time", "station", "value"])

def scan():
    return suggest_windows(scanned_day(sys.argv[1]).day)

least = {}
for _ in range(5):
    for way in (bare, scan):
        wall, cpu = time.perf_counter(), time.process_time()
        found = way()
        spent = time.perf_counter() - wall, time.process_time() - cpu
        least[way] = tuple(map(min, spent, least.get(way, spent)))
(wall, cpu), (scan_wall, scan_cpu) = least[bare], least[scan]
print(f"scan for settled heel: pyarrow {wall:.2f} s ({cpu:.2f} s of processor), scan {scan_wall:.2f} s "
      f"({scan_cpu:.2f} s), {scan_wall / wall:.2f} times ({scan_cpu / cpu:.2f} times); {len(found)} found")
"""


REPLAY = """
import pathlib, resource, sys, time
from config.folder import TestFolder
from quietheel.page.view import DayView
from quietheel.replay.play import play_through
from quietheel.replay.source import ReplaySource

def peak():
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / (1024.0**2 if sys.platform == "darwin" else 1024.0)

begun = time.perf_counter()
place = TestFolder(pathlib.Path(sys.argv[1]))
view = DayView(place, ReplaySource(place))
view.step()
print(f"replay: open in {time.perf_counter() - begun:.2f} s, {peak():.0f} MB", flush=True)
view.close()
for step in (100.0, 20.0):
    times = play_through(sys.argv[1], step_s=step)
    print(f"replay, a picture for every {step:g} s of day: {times:.0f} times real time, {peak():.0f} MB", flush=True)
"""


def main(folder: Path, runs: int) -> None:
    """Print the figures of every way."""
    program = [sys.executable, "-m", "quietheel"]
    ways = {
        "pyarrow": [sys.executable, "-c", BARE, str(folder)],
        "windows": [*program, "windows", str(folder), "--json"],
        "windows --suggest": [*program, "windows", str(folder), "--suggest", "--json"],
        "reduce": [*program, "reduce", str(folder), "--json"],
    }
    print(
        subprocess.run([sys.executable, "-c", SCAN, str(folder)], capture_output=True, text=True, check=True).stdout,
        end="",
    )
    subprocess.run([sys.executable, "-c", REPLAY, str(folder)], check=True)
    bare = 0.0
    for way, command in ways.items():
        figures = measured(command, runs)
        bare = bare or figures["seconds"]
        print(
            f"{way:18} {json.dumps({**figures, 'ratio_to_pyarrow': round(figures['seconds'] / bare, 2)})}", flush=True
        )
    print(json.dumps({"bars": BARS, "cores": os.cpu_count(), "load": os.getloadavg()[0]}))


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--hours", type=float, default=18.0)
    parser.add_argument("--windows", type=int, default=18)
    parser.add_argument("--make-only", action="store_true")
    parser.add_argument("--runs", type=int, default=2)
    given = parser.parse_args()
    make(given.folder, given.hours, given.windows)
    if not given.make_only:
        main(given.folder, given.runs)
