"""What is said of a GM beside its figures: assumptions, what bends the plot, what moved, why two methods differ."""

from __future__ import annotations

import numpy as np

from dsp.types import DayHeel
from reduction.gm.budget import ZERO_ASSUMED_U
from reduction.gm.consistency import Scatter
from reduction.types import Bend, ListChange, Maybe, Quantified

FLARE_TOLD = 30.0
"""degrees, flare of which the answer says what it would do to GM where of the hull only BM is known."""
FLARE_TELLS = 0.2
"""Share of GM from which on what flare would do is no figure to tell: she is heeled too far for a bend so steep."""


def bend_words(bend: Bend) -> str:
    """Say what bends the plot."""
    if bend.size < 0.0:
        return (
            f"The plot is straighter than the hull's own curve, by {-bend.size:.1f} m of BM (± {2 * bend.u:.1f}); with "
            "that all windows agree, and GM is taken at upright. Check BM, the moments and the scale of the stations, "
            "and give cross curves or offsets."
        )
    how = (
        "as sides that begin to flare at the waterline would"
        if bend.shape == "knuckled"
        else "as free liquid that pockets or sides that flare would"
    )
    return (
        f"The plot bends by {bend.size:+.1f} m of BM (± {2 * bend.u:.1f}) beyond the hull's own, {how}; with that all "
        "windows agree, and GM is taken at upright. Look for free liquid, check BM, and give cross curves or offsets."
    )


def list_change_words(change: ListChange, day: DayHeel) -> str:
    """Say that her list changed, and what to look for."""
    amount = f"{np.rad2deg(change.size):+.4f} deg (± {2 * np.rad2deg(change.u):.4f})"
    if not change.sudden:
        return (
            f"Her list crept by {amount} from the first window to the last; heels are given in the first list. Find "
            "what moved: a tank that fills, leaks or levels across, a station that drifts, wind or tide that rose."
        )
    spans = [window.span for window in day.windows]
    before = max((s for s in spans if s.start + s.stop <= 2.0 * change.since), key=lambda s: s.start).label
    after = min((s for s in spans if s.start + s.stop > 2.0 * change.since), key=lambda s: s.start).label
    return (
        f"Her list changed by {amount} between windows {before} and {after} and stayed so; heels from window {after} "
        "on are given in the list before. Find what moved: liquid that ran over, a load or people who shifted and "
        "stayed, a station that was knocked."
    )


def scatter_words(scatter: Scatter) -> str:
    """Say that no set of windows agrees."""
    return (
        f"The windows scatter {scatter.ratio:.1f} times as much as their own intervals allow and no few of "
        "them can be held responsible; every uncertainty of heel was widened by what they scatter."
    )


def zero_words(zero_u: float) -> str:
    """Say how far upright (rad, standard uncertainty) was taken as known."""
    why = ", since the windows read so much on the whole: she has that list, or the stations are mounted so."
    return (
        "Not every station's zero is known (stations.calibration.zero_u95_deg); upright was taken as known to "
        f"{2.0 * np.rad2deg(zero_u):.1f} degrees at 95 %" + (why if zero_u > ZERO_ASSUMED_U else ".")
    )


def stiff_words(gm: float, bm: float) -> str:
    """Ask about units where GM (m) is beyond what such a BM lets expect."""
    return (
        f"GM is {gm:.3g} m with a BM of {bm:.3g} m: only a vessel whose weight lies far below her "
        "buoyancy is so stiff. Look at the units of the moments (t m) and at the displacement (t)."
    )


def flare_words(less: float, gm: float) -> str:
    """Say by how much (m) flare, of which BM says nothing, would make GM smaller; nothing where the fit cannot tell."""
    if not abs(less) < FLARE_TELLS * abs(gm):
        return "Of the hull only BM is known and its sides were taken for upright. Cross curves or offsets settle it."
    return (
        "Of the hull only BM is known and its sides were taken for upright: if they flare by "
        f"{FLARE_TOLD:.0f} degrees from end to end, GM is {1000 * less:.0f} mm "
        f"({100 * less / abs(gm):.1f} %) smaller. Cross curves or offsets settle it."
    )


def difference_words(line: Quantified, curve: Maybe[Quantified], carried: str, most: float) -> str:
    """Say how far the two methods are apart and why; ``most`` rad is the largest heel of the windows used."""
    if curve.value is None:
        return f"Only the straight line could be drawn: {curve.reason}."
    apart = line.value - curve.value.value
    more = "more" if apart >= 0 else "less"
    percent = 100 * apart / curve.value.value
    return (
        f"The straight line gives {line.value:.4f} m, the true curve {curve.value.value:.4f} m: "
        f"{abs(apart) * 1000:.1f} mm {more} ({percent:+.2f} %), since the righting arm is no straight line over "
        f"the {np.rad2deg(most):.1f} degrees reached; the {carried} is carried on."
    )
