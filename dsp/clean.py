"""Mark what in a trace is not the vessel's heel: spikes, stuck runs, saturation, gaps. Nothing is removed here."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter

from dsp.types import Array, StationKnowledge, StationMarks, Trace

SPIKE_SCALES = 8.0
"""A sample this many robust standard deviations off the median of its neighbours is a spike."""
STANDS_OFF = 0.6
"""Of what it is off the cubic through its neighbours a spike is off their median as well, at least. Beside a spike, or
where she jumps, the cubic bends at a reading that stands where its neighbours do."""
STUCK_SECONDS = 3.0
"""A run of one value is never called stuck before it has lasted this long."""
STUCK_RUNS = 20.0
"""... and before it is this many times as long as nine in ten of the other runs of the same trace."""
FEWEST_RUNS = 20
"""A trace with fewer changes of value than this is too coarse or too still to tell a stuck run by itself; `dsp.follow`
holds it against the other stations."""
GAP_STEPS = 6.0
"""A pause of this many usual steps between samples, and of at least a second, is a gap."""

Mask = NDArray[np.bool_]


def spread_stamps(time: Array) -> Array:
    """Space samples that share one coarse time stamp evenly over the step to the next stamp.

    A record written with whole seconds gives every reading of a second the same time. Their order is known, their
    rate is even, so each is put at the middle of its share of the step.

    Parameters
    ----------
    time : (n,) s, not decreasing.

    Returns
    -------
    (n,) s, strictly increasing.

    >>> spread_stamps(np.array([0.0, 0.0, 1.0, 1.0, 2.0, 2.0])).round(2).tolist()
    [0.25, 0.75, 1.25, 1.75, 2.25, 2.75]
    """
    if time.size < 2 or not (np.diff(time) <= 0).any():
        return time
    stamps, first, counts = np.unique(time, return_index=True, return_counts=True)
    if stamps.size < 2:
        return time + np.arange(time.size) * 1e-6
    ordered = np.maximum.accumulate(time)
    stamps, first, counts = np.unique(ordered, return_index=True, return_counts=True)
    steps = np.diff(stamps)
    usual = float(np.median(steps))
    width = np.append(np.minimum(steps, 1.5 * usual), usual)
    place = np.arange(time.size) - np.repeat(first, counts)
    return np.asarray(np.repeat(stamps, counts) + (place + 0.5) / np.repeat(counts, counts) * np.repeat(width, counts))


def mark(trace: Trace, knowledge: StationKnowledge) -> StationMarks:
    """Mark every sample of one heel trace and list its gaps.

    Spikes stand out from the median of seven neighbours by more than `SPIKE_SCALES` robust standard deviations (the
    rule of Hampel); the scale is taken from the surrounding hundred samples too, so that heavy roll is no spike. A
    stuck run is judged against the other runs of the same trace, so that coarse resolution on a quiet day is none.

    Parameters
    ----------
    trace : one heel channel.
    knowledge : its range, if known.

    References
    ----------
    R. K. Pearson et al., Generalized Hampel Filters, EURASIP J. Adv. Signal Process. 2016:87, eq. 1-3.
    """
    if trace.count.size and (trace.count > 1).any():
        return _mark_thinned(trace, knowledge)
    value, time = trace.value, trace.time
    n = value.size
    finite = np.isfinite(value) & np.isfinite(time)
    suspect = ~finite
    if trace.suspect.size == n:
        suspect = suspect | trace.suspect
    if n < 3:
        nothing = np.zeros(n, dtype=bool)
        return StationMarks(trace.station, nothing, nothing, nothing, suspect, (), float("nan"), float("nan"), 0.0)
    steps = np.diff(time)
    usual = float(np.median(steps[steps > 0])) if (steps > 0).any() else float("nan")
    filled = value if finite.all() else np.where(finite, value, np.nanmedian(value) if finite.any() else 0.0)
    resolution = _resolution(filled[finite])
    saturated = (
        np.abs(filled) >= knowledge.range - 0.5 * resolution if np.isfinite(knowledge.range) else ~finite & False
    )
    stuck = _stuck(time, filled)
    spike = _spikes(time, filled, stuck, resolution)
    good = finite & ~spike & ~stuck
    pauses = np.flatnonzero(steps > max(GAP_STEPS * usual, 1.0))
    return StationMarks(
        station=trace.station,
        spike=spike,
        stuck=stuck,
        saturated=np.asarray(saturated, dtype=np.bool_),
        suspect=suspect,
        gaps=tuple((float(time[i]), float(time[i + 1])) for i in pauses),
        rate=1.0 / usual if usual > 0 else float("nan"),
        noise=_noise(filled[good]),
        resolution=resolution,
    )


def _mark_thinned(trace: Trace, knowledge: StationKnowledge) -> StationMarks:
    """Mark readings among readings and means among means; rate, noise and resolution are those of the readings."""
    whole = trace.count <= 1
    if whole.sum() < 20:
        whole = ~whole
    marked = []
    for rows in (np.flatnonzero(whole), np.flatnonzero(~whole)):
        # What lies between two parts is closed, so that no run of values spans it.
        steps = np.diff(trace.time[rows])
        usual = float(np.median(steps)) if steps.size else 1.0
        closed = np.concatenate([[0.0], np.cumsum(np.where(np.diff(rows) > 1, usual, steps))])[: rows.size]
        suspect = trace.suspect[rows] if trace.suspect.size == trace.time.size else np.zeros(rows.size, dtype=bool)
        marked.append((rows, mark(Trace(trace.station, closed, trace.value[rows], suspect), knowledge)))
    first = marked[0][1]
    spike, stuck, saturated, suspect = (np.zeros(trace.time.size, dtype=bool) for _ in range(4))
    for rows, made in marked:
        spike[rows], stuck[rows] = made.spike, made.stuck
        saturated[rows], suspect[rows] = made.saturated, made.suspect
    pauses = np.flatnonzero(np.diff(trace.time) > max(GAP_STEPS / first.rate if first.rate > 0 else 0.0, 1.0))
    gaps = tuple((float(trace.time[i]), float(trace.time[i + 1])) for i in pauses)
    return StationMarks(
        trace.station, spike, stuck, saturated, suspect, gaps, first.rate, first.noise, first.resolution
    )


def _resolution(value: Array) -> float:
    """Return the smallest step between different readings, or 0 where steps are too many to show one."""
    levels = np.unique(value[:20000])
    if levels.size < 2:
        return 0.0
    steps = np.diff(levels)
    steps = steps[steps > 1e-12]
    return float(np.percentile(steps, 5)) if steps.size and levels.size < 0.5 * min(value.size, 20000) else 0.0


def _spikes(time: Array, value: Array, stuck: Mask, resolution: float) -> Mask:
    """Off the median of seven, and off the cubic through two neighbours each side, which smooth motion never is.

    The worst of seven neighbours is taken first, bridged, and the rest looked at again, three times. Next to a pause or
    a stuck run, where the record jumps, nothing is called a spike.
    """
    spike = np.zeros(value.size, dtype=bool)
    if value.size < 9:
        return spike
    steps = np.diff(time)
    jump = np.flatnonzero((steps > 3.0 * float(np.median(steps))) | (np.diff(stuck.astype(np.int8)) != 0))
    index, mended, open_to_it = np.arange(value.size), value.copy(), ~stuck
    open_to_it[np.clip(jump[:, None] + np.arange(-3, 5), 0, value.size - 1)] = False
    away = np.zeros(value.size, dtype=bool)
    limits: tuple[Array, Array] | None = None
    part: slice | NDArray[np.intp] = slice(None)
    judged = open_to_it
    for _ in range(3):
        off, bend = _off(mended[part])
        if limits is None:  # medians, which a spike does not move
            limits = SPIKE_SCALES * _scale(off, resolution), SPIKE_SCALES * _scale(bend, resolution)
        away[part] = off > limits[0][part]
        far = away[part] & (bend > limits[1][part]) & (off > STANDS_OFF * bend)
        far &= (off > 2.5 * resolution + 1e-9) & judged[part]
        rows = np.flatnonzero(far)
        beside = np.clip(rows[:, None] + np.arange(-3, 4), 0, far.size - 1)
        # By the median: beside two spikes in a row the cubic bends more at a good neighbour than at either of them.
        rows = rows[off[rows] >= off[beside].max(axis=1, initial=0.0)]
        if not rows.size:
            break
        spike[index[part][rows]] = True
        # By neighbours that are no spikes themselves, found already or not.
        sound = np.flatnonzero(~spike & ~away)
        mended[spike] = np.interp(np.flatnonzero(spike), sound, value[sound])
        # That changes what is said of readings up to four away, who are held against those three further, and they
        # against the median of three more.
        part, judged = np.flatnonzero(_about(spike, 10)), open_to_it & _about(spike, 4)
    return spike


def _off(value: Array) -> tuple[Array, Array]:
    """How far each reading is off the median of seven, and off the cubic through two neighbours each side."""
    off = np.abs(value - median_filter(value, size=7, mode="nearest"))
    padded = np.pad(value, 2, mode="edge")
    cubic = (4.0 * (padded[1:-3] + padded[3:-1]) - padded[:-4] - padded[4:]) / 6.0
    bend = np.abs(value - cubic)
    bend[:2], bend[-2:] = off[:2], off[-2:]
    return off, bend


def _about(mask: Mask, reach: int) -> Mask:
    """Set what is within ``reach`` of a place where the mask is set."""
    found = np.zeros(mask.size, dtype=bool)
    found[np.clip(np.flatnonzero(mask)[:, None] + np.arange(-reach, reach + 1), 0, mask.size - 1)] = True
    return found


def _scale(size: Array, resolution: float) -> Array:
    """Robust standard deviation at each sample: the larger of the whole trace's and that of the hundred around."""
    whole = 1.4826 * float(_median(size))
    block = min(101, size.size)
    count = -(-size.size // block)
    padded = np.pad(size, (0, count * block - size.size), mode="edge").reshape(count, block)
    near = np.maximum(1.4826 * _median(padded), max(whole, 0.35 * resolution))
    return np.repeat(near, block)[: size.size]


def _median(value: Array) -> Array:
    """Along the last axis, of finite values; `np.median` takes several times as long, to look for NaN as well."""
    low, high = (value.shape[-1] - 1) // 2, value.shape[-1] // 2
    parted = np.partition(value, sorted({low, high}))
    return np.asarray(0.5 * (parted[..., low] + parted[..., high]))


def _stuck(time: Array, value: Array) -> Mask:
    change = np.flatnonzero(np.diff(value) != 0.0)
    first = np.concatenate([[0], change + 1])
    last = np.concatenate([change, [value.size - 1]])
    samples = last - first + 1
    lasting = time[last] - time[first]
    mask = np.zeros(value.size, dtype=bool)
    if first.size < FEWEST_RUNS:
        return mask
    usual = float(np.percentile(lasting, 90))
    long_one = (samples >= 8) & (lasting > STUCK_SECONDS) & (lasting > STUCK_RUNS * usual)
    for a, b in zip(first[long_one], last[long_one], strict=True):
        mask[a + 1 : b + 1] = True
    return mask


def _noise(value: Array) -> float:
    """Standard deviation of one reading about smooth motion, from third differences (motion cancels to third order)."""
    if value.size < 8:
        return float("nan")
    third = np.diff(value, 3)
    return float(1.4826 * _median(np.abs(third)) / np.sqrt(20.0))
