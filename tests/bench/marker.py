"""Marks one note after another and says each on stdout once it is safe; meant to be killed.

python tests/bench/marker.py FOLDER
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

from logger.events import EventLog

if __name__ == "__main__":
    log = EventLog(Path(sys.argv[1]))
    while True:
        mark = log.append("note", "marker", {"text": "still here"})
        print(mark.number, flush=True)
        time.sleep(0.02)
