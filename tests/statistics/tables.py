"""Print the tables of coverage, error against the limit, and GM: ``python tests/statistics/tables.py --days 200``.

Three generators: ``gaussian`` (own, exact covariance, best linear unbiased limit computed), ``physical`` (the
simulator of ``sim/``) and ``wander`` (by somebody who had not seen the mathematics). Seeds run from ``--first``; a line
with the worst day's seed follows each kind on ``--seeds``. On days of ``--kinds quiet+list`` her list changes.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path


def main() -> None:
    sys.path[:0] = [str(Path(__file__).parent), str(Path(__file__).parents[2])]
    import gaussian_day
    import numpy as np
    import physical_day
    import suite
    import wander_day

    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--generator", choices=["gaussian", "physical", "wander"], default="gaussian")
    asked.add_argument("--days", type=int, default=20)
    asked.add_argument("--first", type=int, default=0)
    asked.add_argument("--kinds", default="")
    asked.add_argument("--without-wind", action="store_true", help="wind is not measured")
    asked.add_argument(
        "--cross-curves", action="store_true", help="first generator: the hull's curve is told, not BM alone"
    )
    asked.add_argument("--seeds", action="store_true", help="name the seed of the day with the worst GM")
    how = asked.parse_args()
    if how.cross_curves and how.generator != "gaussian":
        asked.error("--cross-curves: only the first generator's hulls are known to have upright sides")
    of = {"gaussian": gaussian_day.KINDS, "physical": physical_day.KINDS, "wander": wander_day.KINDS}
    kinds = how.kinds.split(",") if how.kinds else list(of[how.generator])
    print(suite.HEAD)
    for kind in kinds:
        tally = suite.run(how.generator, kind, how.days, how.first, not how.without_wind, how.cross_curves)
        print(suite.row(tally), flush=True)
        if how.seeds:
            worst = int(np.argmax(np.abs(tally.gm)))
            print(f"    worst GM: seed {how.first + worst}, {100 * tally.gm[worst]:+.3f} %")


if __name__ == "__main__":
    main()
