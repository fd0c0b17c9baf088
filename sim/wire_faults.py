"""What goes wrong between a device and the logger: garbage, bytes cut off, a line that stalls and then bursts."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from config.model import Name, NotNegative, Table
from sim.frames import Frame


class WireFault(Table):
    """Faults of one station's line."""

    station: Name
    garbage: NotNegative = 0.0
    """Fraction of frames with 1 to 60 random bytes before them."""
    cut: NotNegative = 0.0
    """Fraction of frames that lose their end."""
    flipped: NotNegative = 0.0
    """Fraction of frames with one bit turned over."""
    stall_at_s: NotNegative | None = None
    """From here on nothing comes, s from the start of the day ..."""
    stall_for_s: NotNegative = 10.0
    """... and then everything at once."""


def spoil_wire(frames: Sequence[Frame], fault: WireFault, epoch_ns: int, rng: np.random.Generator) -> list[Frame]:
    """Put the faults on a station's frames.

    >>> clean = [Frame(0, b"$A*41\\r\\n")] * 3
    >>> spoil_wire(clean, WireFault(station="aft"), 0, np.random.default_rng(1)) == clean
    True
    """
    draws = rng.random((len(frames), 3))
    found = []
    for frame, (garbage, cut, flipped) in zip(frames, draws, strict=True):
        data = frame.data
        if flipped < fault.flipped and data:
            where = int(rng.integers(len(data)))
            data = data[:where] + bytes([data[where] ^ (1 << int(rng.integers(8)))]) + data[where + 1 :]
        if cut < fault.cut:
            data = data[: int(rng.integers(1, max(len(data), 2)))]
        if garbage < fault.garbage:
            data = rng.bytes(int(rng.integers(1, 61))) + data
        found.append(Frame(_stalled(frame.time_ns, fault, epoch_ns), data))
    return found


def _stalled(time_ns: int, fault: WireFault, epoch_ns: int) -> int:
    if fault.stall_at_s is None:
        return time_ns
    start = epoch_ns + round(fault.stall_at_s * 1e9)
    stop = start + round(fault.stall_for_s * 1e9)
    return stop if start <= time_ns < stop else time_ns
