"""Cut a stretch out of one channel, every reading at its own time, without reading the rest of the day."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from logger.archive.arrow import NO_TIME, Column
from logger.archive.pieces import Piece
from logger.archive.timing import Arrivals, Timing, repaired, strictly_increasing

MARGIN_NS = 45_000_000_000
"""Read on either side of a stretch, ns: times are repaired in blocks of 30 s."""

Int = NDArray[np.int64]
Span = tuple[int, int]
"""Start and stop, UTC ns."""
Part = tuple[Int, NDArray[np.float64], NDArray[np.uint16]]
"""Times (strictly increasing), values, flags."""


def touches(piece: Piece, span: Span) -> bool:
    """Whether a piece may hold readings of a stretch; one with late readings reaches back without limit."""
    return piece.last_ns >= span[0] - MARGIN_NS and (piece.first_ns < span[1] + MARGIN_NS or piece.late > 0)


def columns_for(piece: Piece) -> list[str]:
    """Columns that `cut` needs."""
    return ["time", "value", "flags", "sequence", *(["device_time"] if piece.device_times else [])]


def cut(piece: Piece, columns: Mapping[str, Column], span: Span, ordered: bool) -> Arrivals | None:
    """What arrived in a stretch or may belong to it; None where nothing did.

    Parameters
    ----------
    columns : of the piece, as `columns_for` names them.
    ordered : whether the times of arrival never go back.
    """
    time, low, high = columns["time"], span[0] - MARGIN_NS, span[1] + MARGIN_NS
    part: slice | NDArray[np.intp]
    if ordered and not piece.late:
        begin, end = np.searchsorted(time, [low, high])
        part = slice(int(begin), int(end))
    else:
        inside = (time >= low) & (time < high)
        if piece.late and piece.device_times:
            own = columns["device_time"]
            inside |= (own >= low) & (own < high) & (own != NO_TIME)
        part = np.flatnonzero(inside)
    found = Arrivals(
        time[part].copy(),
        columns["device_time"][part].copy() if piece.device_times else None,
        columns["value"][part].copy(),
        columns["flags"][part].copy(),
        columns["sequence"][part].copy(),
    )
    return found if found.host_ns.size else None


def at_their_own_time(cuts: Sequence[Arrivals], span: Span) -> tuple[Part, Timing]:
    """Repair the times of cuts of one run; give the readings of the stretch itself."""
    together = _together(cuts)
    found = repaired(together)
    low, high = np.searchsorted(found.time_ns, span)
    rows = found.rows[low:high]
    return (found.time_ns[low:high], together.value[rows], together.flags[rows]), found.timing


def read_stretch(pieces: Sequence[Piece], span: Span) -> Part:
    """Every reading of one channel in a stretch, all runs together."""
    runs: dict[str, list[Arrivals]] = {}
    for piece in pieces:
        if touches(piece, span):
            columns = piece.load(columns_for(piece))
            found = cut(piece, columns, span, never_back(columns["time"]))
            if found is not None:
                runs.setdefault(piece.run, []).append(found)
    return joined([at_their_own_time(cuts, span)[0] for cuts in runs.values()])


def joined(parts: Sequence[Part]) -> Part:
    """Parts of one channel as one, in order of time."""
    if len(parts) == 1:
        return parts[0]
    if not parts:
        return np.zeros(0, dtype=np.int64), np.zeros(0), np.zeros(0, dtype=np.uint16)
    time, value, flags = (np.concatenate(column) for column in zip(*parts, strict=True))
    order = np.argsort(time, kind="stable")
    return strictly_increasing(time[order]), value[order], flags[order]


def never_back(time: Int) -> bool:
    """Whether times never decrease."""
    return bool((time[1:] >= time[:-1]).all())


def _together(cuts: Sequence[Arrivals]) -> Arrivals:
    if len(cuts) == 1:
        return cuts[0]
    device = None
    if any(one.device_ns is not None for one in cuts):
        device = np.concatenate(
            [np.full(one.host_ns.size, NO_TIME) if one.device_ns is None else one.device_ns for one in cuts]
        )
    return Arrivals(
        np.concatenate([one.host_ns for one in cuts]),
        device,
        np.concatenate([one.value for one in cuts]),
        np.concatenate([one.flags for one in cuts]),
        np.concatenate([one.sequence for one in cuts if one.sequence is not None]),
    )
