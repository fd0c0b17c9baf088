"""Readings handed on in bursts of any size, and how right their times are after the repair.

    python tests/bench/handed_on.py

What hands them on: an adapter with a latency timer or a wireless gateway, which empties itself every so often, evenly
or not; or a reader that waits for the first reading, stamps it exactly, and what comes in the next moment at its end.
The table: 1 to 200 Hz through gulps of 1 ms to 1 s; errors against the truth less a constant, in beats of the station.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from logger.archive.timing import Arrivals, Repaired, repaired

T0 = 1_778_743_800_000_000_000


@dataclass(frozen=True)
class Line:
    """A station and what its readings go through on their way."""

    rate: float
    """Hz, as it says of itself."""
    gulp: float
    """s between two times of handing on."""
    reader: bool = False
    """True: as the logger's own reader does it; False: an adapter or gateway by its own clock."""
    unsteady: float = 0.0
    """Scatter of the gulps, relative."""
    jitter_ms: float = 1.0
    """Mean of a further exponential delay before that."""
    lost: float = 0.0
    off: float = 0.0
    """Error of its rate, relative."""
    drift: float = 0.0
    """Change of its rate from the first to the last sample, relative."""
    pause: float = 0.0
    """s in which it sends nothing, once."""
    resolution: float = 1e-4
    """deg."""
    seconds: float = 300.0


@dataclass(frozen=True)
class Outcome:
    found: Repaired
    error_ms: NDArray[np.float64]
    """Against the truth, less the constant that cannot be known."""
    sent: int
    came: int


def through(line: Line, seed: int = 1) -> Outcome:
    rng = np.random.default_rng(seed)
    sent = max(100, int(line.seconds * line.rate))
    own = np.arange(sent) / line.rate / (1.0 + line.off)
    own = own + 0.5 * line.drift * own**2 / own[-1]
    own = own + np.where(own > 0.4 * own[-1], line.pause, 0.0)
    own = own[rng.random(sent) >= line.lost]
    ready = np.maximum.accumulate(own + 0.005 + rng.exponential(line.jitter_ms / 1e3, own.size))
    if line.reader:
        host = np.empty_like(ready)
        begin = 0
        while begin < ready.size:
            end = int(np.searchsorted(ready, ready[begin] + line.gulp, side="right"))
            host[begin], host[begin + 1 : end] = ready[begin], ready[begin] + line.gulp
            begin = end
    else:
        many = int(1.5 * ready[-1] / line.gulp) + 10
        steps = line.gulp * (1.0 + line.unsteady * rng.standard_normal(many)).clip(0.1, 5.0)
        handed = np.cumsum(steps) - rng.random() * line.gulp
        host = handed[np.searchsorted(handed, ready)]
    value = np.round(2.0 * np.sin(2.0 * np.pi * own / 8.0) / line.resolution) * line.resolution
    host_ns = T0 + (host * 1e9).astype(np.int64)
    found = repaired(Arrivals(host_ns, None, value, np.zeros(own.size, np.uint16), np.arange(own.size)))
    error = (found.time_ns - (T0 + np.round(own * 1e9).astype(np.int64))[found.rows]) / 1e6
    return Outcome(found, error - np.median(error), sent, own.size)


KINDS = {
    "nothing lost": [{}, {"off": 0.013}, {"drift": 1e-4}, {"resolution": 0.1}, {"jitter_ms": 10.0}, {"unsteady": 0.3}],
    "a pause of 3.3 s": [{"pause": 3.3}],
    "1 in 500 lost": [{"lost": 0.002}],
    "1 in 50 lost": [{"lost": 0.02}],
}


def main() -> None:
    print(f"{'':<20}{'cases':>6}{'counted':>9}   99 % of errors within, beats: median, 95 % of cases, worst")
    for kind, changes in KINDS.items():
        worst, counted = [], 0
        for rate in (1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0):
            for gulp in (0.001, 0.016, 0.03, 0.1, 0.3, 1.0):
                for reader in (False, True) if gulp <= 0.1 else (False,):
                    line = Line(rate, gulp, reader, seconds=max(300.0, 600.0 / rate))
                    for change in changes:
                        outcome = through(replace(line, **change))
                        counted += outcome.found.timing.way == "counted samples"
                        worst.append(float(np.quantile(np.abs(outcome.error_ms), 0.99)) * rate / 1e3)
        low, high = np.quantile(worst, [0.5, 0.95])
        print(f"{kind:<20}{len(worst):>6}{counted:>9}   {low:.2f}, {high:.2f}, {max(worst):.2f}")


if __name__ == "__main__":
    main()
