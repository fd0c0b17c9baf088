"""What the live page costs: processor share of server and browser, time to first paint, speed of a replay.

    python tests/bench/live_page.py [--seconds 30] [--stations 6] [--rate 10] [--hours 12] [--open]

A writer records as the logger does, a server follows that record, a Chromium shows the page with ten full minutes of
paper and nine windows. With ``--hours`` the record before is so long, six stations, with a window every hour; with
``--open`` a window is open all the while, so that it is evaluated anew each second. Shares are of one core. Bars (issue
of the test day): a tenth of a core each, 200 ms, 200 times.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import random
import shutil
import socket
import statistics
import subprocess
import sys
import tempfile
import time
import urllib.request
from pathlib import Path

# As the command line does (docs/decisions/0003): threads in the linear algebra fight with the server's own.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("OMP_NUM_THREADS", "1")
HERE = Path(__file__).resolve()
sys.path[:0] = [str(HERE.parents[2]), str(HERE.parent)]


def write(folder: Path, stations: int, rate: float, hours: float, opened: bool) -> None:
    """Fill the last forty minutes, or hours, then go on in real time until killed."""
    import page_day
    import reduce_long_day

    from logger.archive.writer import RunWriter
    from logger.events import EventLog
    from logger.records import Channel, Quantity, Reading

    lasting_ns = round((hours * 3600.0 or 2160.0) * 1e9)
    page_day.START_NS = time.time_ns() - lasting_ns
    names = page_day.NAMES[:stations]
    if hours:
        # Writing that much takes some seconds; it ends when this begins.
        reduce_long_day.write_record(folder, hours, round(rate), page_day.START_NS)
        reduce_long_day.mark(folder, hours, max(9, round(hours)), page_day.START_NS)
    channels = [Channel(name, Quantity.HEEL, "deg", "") for name in names]
    channels += [Channel("mast", Quantity.WIND_SPEED, "m/s", ""), Channel("mast", Quantity.WIND_DIRECTION, "deg", "")]
    channels += [Channel("breast line", Quantity.LINE_TENSION, "kN", "")]
    clock = page_day.At(time.time_ns() if hours else page_day.START_NS)
    writer = RunWriter(folder / "record", channels, "", clock)
    writer.start()
    if not hours:
        for readings in page_day._minutes(names, rate, 9, 0):
            clock.ns = readings[-1].host_ns
            writer.append(readings)
            writer.flush(sync=False)
        page_day.mark_day(folder)
    if opened:
        EventLog(folder).append("window_open", "bench", {"movement": page_day.LABELS[-1], "window": "last"})
    assert EventLog(folder).verify().intact
    (folder / "ready").touch()
    number = 1_000_000
    then = time.time()
    while True:
        time.sleep(0.25)
        now = time.time()
        count = max(1, round((now - then) * rate))
        rows = []
        for k in range(count):
            at = then + (k + 1) * (now - then) / count
            roll = 0.05 * math.sin(2.0 * math.pi * at / 8.0) + 0.01 * math.sin(2.0 * math.pi * at / 71.0)
            rows += [
                Reading(
                    n, Quantity.HEEL, int(at * 1e9), None, round(roll + random.gauss(0, 0.004), 3), "", sequence=number
                )
                for n in names
            ]
            number += 1
        rows.append(Reading("mast", Quantity.WIND_SPEED, int(now * 1e9), None, 3.0 + now % 1, "", sequence=number))
        clock.ns = int(now * 1e9)
        writer.append(rows)
        writer.flush()
        then = now


def serve(folder: Path, port: int) -> None:
    """Serve the page of that record."""
    from quietheel.page.server import serve_page

    serve_page(folder, port=port, token="bench")


def measure(seconds: float, stations: int, rate: float, hours: float, opened: bool) -> dict[str, object]:
    """Run all three and watch them."""
    import psutil
    from playwright.sync_api import sync_playwright

    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        import page_day

        (folder / "plan.toml").write_text(page_day.plan_text(stations, rate), encoding="utf-8")
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            port = probe.getsockname()[1]
        environment = {**os.environ, "OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
        common = [str(folder), "--stations", str(stations), "--rate", str(rate), "--port", str(port)]
        common += ["--hours", str(hours), *(["--open"] if opened else [])]
        writer = subprocess.Popen([sys.executable, str(HERE), "--writer", *common], env=environment)
        server = None
        try:
            while not (folder / "ready").exists():
                if writer.poll() is not None:
                    raise SystemExit("the writer ended before it began")
                time.sleep(0.1)
            server = subprocess.Popen([sys.executable, str(HERE), "--server", *common], env=environment)
            started = time.perf_counter()
            while not _listens(port):
                time.sleep(0.05)
            opening = time.perf_counter() - started
            time.sleep(30.0 if hours else 8.0)
            worked_out = _spent(psutil.Process(server.pid))
            with sync_playwright() as driver:
                path = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))))
                browser = driver.chromium.launch(
                    executable_path=path, args=["--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"]
                )
                paints = [_first_paint(browser, port) for _ in range(7)]
                page = browser.new_page(viewport={"width": 1440, "height": 900})
                page.goto(f"http://127.0.0.1:{port}/")
                page.wait_for_timeout(4000)
                drawn = page.evaluate("document.querySelectorAll('.window').length")
                mine = psutil.Process(os.getpid()).children(recursive=True)
                chromium = [p for p in mine if "chrom" in p.name().lower()]
                shown = page.locator("#clock").inner_text()
                with urllib.request.urlopen(f"http://127.0.0.1:{port}/state.json") as answer:
                    newest = json.load(answer)["windows"][0]
                resident = psutil.Process(server.pid).memory_info().rss / 1e6
                before = [sum(_spent(p) for p in chromium), _spent(psutil.Process(server.pid))]
                began = time.perf_counter()
                page.wait_for_timeout(seconds * 1000)
                lasted = time.perf_counter() - began
                after = [sum(_spent(p) for p in chromium), _spent(psutil.Process(server.pid))]
                assert page.locator("#clock").inner_text() != shown, "the page stood still"
                browser.close()
        finally:
            for process in (server, writer):
                if process is not None:
                    process.terminate()
                    process.wait(10)
    return {
        "stations": stations,
        "rate_hz": rate,
        "hours_before": hours,
        "newest_window": newest["words"],
        "windows_on_page": drawn,
        "server_opens_s": round(opening, 2),
        "server_worked_out_cpu_s": round(worked_out, 2),
        "server_mb": round(resident),
        "chromium_processes": len(chromium),
        "browser_share": round((after[0] - before[0]) / lasted, 3),
        "server_share": round((after[1] - before[1]) / lasted, 3),
        "first_paint_ms_median": round(statistics.median(paints), 1),
        "first_paint_ms_all": [round(p, 1) for p in paints],
    }


def _listens(port: int) -> bool:
    with socket.socket() as probe:
        return probe.connect_ex(("127.0.0.1", port)) == 0


def _first_paint(browser, port: int) -> float:  # type: ignore[no-untyped-def]
    context = browser.new_context(viewport={"width": 390, "height": 844})
    page = context.new_page()
    page.goto(f"http://127.0.0.1:{port}/")
    page.wait_for_timeout(800)
    found = page.evaluate("performance.getEntriesByName('first-contentful-paint')[0].startTime")
    context.close()
    return float(found)


def _spent(process) -> float:  # type: ignore[no-untyped-def]
    try:
        times = process.cpu_times()
    except Exception:
        return 0.0
    return float(times.user + times.system)


def replay_speed(stations: int, rate: float) -> dict[str, object]:
    """Play a recorded day through the view, one picture a second of the day."""
    import page_day

    from quietheel.replay.play import play_through

    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "day"
        page_day.make_day(folder, stations=stations, rate=rate)
        return {
            "replay_times_real_time_picture_each_second": round(play_through(folder)),
            "replay_times_real_time_picture_each_20_s": round(play_through(folder, step_s=20.0)),
        }


def main() -> None:
    """Parse, measure, print two JSON objects."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", nargs="?", type=Path)
    parser.add_argument("--writer", action="store_true")
    parser.add_argument("--server", action="store_true")
    parser.add_argument("--port", type=int, default=0)
    parser.add_argument("--seconds", type=float, default=30.0)
    parser.add_argument("--stations", type=int, default=6)
    parser.add_argument("--rate", type=float, default=10.0)
    parser.add_argument("--hours", type=float, default=0.0)
    parser.add_argument("--open", action="store_true", dest="opened")
    given = parser.parse_args()
    if given.writer:
        write(given.folder, given.stations, given.rate, given.hours, given.opened)
    elif given.server:
        serve(given.folder, given.port)
    else:
        found = measure(given.seconds, given.stations, given.rate, given.hours, given.opened)
        print(json.dumps(found, indent=1), flush=True)
        if not given.hours:
            print(json.dumps(replay_speed(given.stations, given.rate), indent=1))


if __name__ == "__main__":
    main()
