"""Time one window of 180 s with all its checks: three stations at 20 Hz, the day learnt already.

    python tests/bench/one_window.py [--vessels 8] [--seeds 3892,6304]

Prints for each vessel its roll period, bins of the window and of it with the record before it, milliseconds of the
mean, of laying out the evidence and of the checks, and all of that over one Cholesky factor of the same covariance in
the same run. Medians of the day's nine windows; the bar is 50 ms.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from itertools import count
from pathlib import Path

os.environ["OPENBLAS_NUM_THREADS"] = "1"
sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "statistics"))

import gaussian_day
import numpy as np
from scipy.linalg import cho_factor

from dsp import checks
from dsp.day import NO_ROLL
from dsp.estimate import Evaluated, evaluate_window
from dsp.evidence import evidence_of
from dsp.model import Learnt, learnt_from
from dsp.types import Day, RollMotion


def timed(day: Day, learnt: Learnt) -> tuple[np.ndarray, int, int]:
    """Median ms of mean, evidence, checks and a Cholesky factor; bins of a window, and with the record before it."""
    prepared, model, law = learnt.prepared, learnt.model, learnt.model.law
    roll = RollMotion(1.0 / law.frequency, 0.0, law.damping, 0.0, 0.0) if law else NO_ROLL
    taken, bins, both = [], 0, 0
    for number, (span, own) in enumerate(zip(prepared.windows, model.rolls, strict=True)):
        at = [time.perf_counter()]
        one = evaluate_window(prepared, span, own, model)
        assert isinstance(one, Evaluated)
        at.append(time.perf_counter())
        seen = evidence_of(day, prepared, one, model.low, learnt.wind, roll, 0.0, number, model.still[number])
        at.append(time.perf_counter())
        checks.run(seen)
        at.append(time.perf_counter())
        whole = (seen.led() if seen.led is not None else None) or seen
        cho_factor(whole.covariance, check_finite=False)
        at.append(time.perf_counter())
        taken.append(np.diff(at))
        bins, both = seen.time.size, max(both, whole.time.size)
    return np.median(taken, axis=0) * 1e3, bins, both


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--vessels", type=int, default=8)
    parser.add_argument("--seeds", default="", help="these vessels; rolls of 4.0 s are 3892, 13503, 6304, 19454")
    how = parser.parse_args()
    print("period s   bins   with record   mean   evidence   checks   all ms   over a factor")
    named = [int(seed) for seed in how.seeds.split(",") if seed]
    shown = 0
    for seed in named or count():
        day, truth = gaussian_day.make("quiet", seed, rate=20.0)
        if day.windows[0].stop - day.windows[0].start < 165.0:
            continue
        learnt = learnt_from(day)
        assert not isinstance(learnt, str)
        (mean, evidence, judged, factor), bins, both = timed(day, learnt)
        whole = mean + evidence + judged
        print(
            f"{truth.period:8.1f} {bins:6d} {both:13d} {mean:6.1f} {evidence:10.1f} {judged:8.1f} {whole:8.1f}"
            f" {whole / factor:15.1f}",
            flush=True,
        )
        shown += 1
        if not named and shown == how.vessels:
            break


if __name__ == "__main__":
    main()
