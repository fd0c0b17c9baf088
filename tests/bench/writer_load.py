"""Nothing but the archive under load: 12 stations at 50 Hz into a `RunWriter`; meant to be killed.

python tests/bench/writer_load.py FOLDER
"""

from __future__ import annotations

import sys
import threading
import time
from pathlib import Path

from logger.archive.writer import Limits, RunWriter
from logger.clock import SystemClock
from logger.records import Channel, Flag, Quantity, Reading

STATIONS = [f"station {number}" for number in range(12)]
RATE = 50.0

if __name__ == "__main__":
    clock = SystemClock()
    channels = [Channel(name, Quantity.HEEL, "deg", "load") for name in STATIONS]
    # Small segments, so that a kill also hits sealing.
    writer = RunWriter(Path(sys.argv[1]) / "record", channels, "", clock, Limits(segment_rows=400))
    writer.start()

    def flush() -> None:
        while True:
            writer.flush()
            time.sleep(0.2)

    threading.Thread(target=flush, daemon=True).start()
    number, due = 0, time.monotonic()
    print("recording", flush=True)
    while True:
        now = clock.utc_ns()
        writer.append([Reading(s, Quantity.HEEL, now, None, number * 0.001, "", Flag.NONE, number) for s in STATIONS])
        number += 1
        due += 1 / RATE
        time.sleep(max(0.0, due - time.monotonic()))
