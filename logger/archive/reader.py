"""Read a record: series for the analysis, a table for a notebook.

Runs are merged, a run that was cut off is read up to its last whole batch, and nothing is ever written.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from config.errors import bad
from logger.archive.arrow import Column
from logger.archive.layout import RUN_NAME, RunInfo, list_runs, run_info
from logger.archive.pieces import Piece, pieces_of, select
from logger.archive.timing import Arrivals, Timing, as_arrived, repaired, strictly_increasing, tell
from logger.records import Quantity, Series

if TYPE_CHECKING:
    import pandas as pd

MARGIN_NS = 120_000_000_000
"""Read on either side of a stretch so that its times are repaired as those of the whole day would be."""
STRETCH_ROWS = 100_000
"""Pieces are repaired together up to so many rows, so that memory stays small."""
WORKERS = 2
FRAME_COLUMNS = ["time", "device_time", "run", "station", "quantity", "unit", "value", "sent", "flags", "sequence"]

__all__ = ["list_runs", "read_arrivals", "read_series", "read_with_timing", "runs_of", "to_frame"]


def read_series(
    record: Path,
    *,
    quantity: Quantity | str | None = None,
    station: str | None = None,
    start_ns: int | None = None,
    stop_ns: int | None = None,
    runs: Sequence[str | RunInfo] | None = None,
    repair: bool = True,
) -> list[Series]:
    """Read the channels of a record, one series each, in order of station and quantity.

    Parameters
    ----------
    record : ``record/`` of a test folder, or the folder of one run.
    quantity, station : only these; None for all.
    start_ns, stop_ns : UTC ns, ``start_ns <= time < stop_ns``; None for no limit.
    runs : only these runs (names or `RunInfo`); None for all.
    repair : True: jitter removed, device time used where it can be trusted, duplicates dropped, late bursts at their
        own time (`logger.archive.timing`); False: times of arrival, in order.

    Returns
    -------
    list of Series, values as recorded (calibration not applied), times strictly increasing; what was done stands in
    ``Series.history``. Empty where there is nothing.

    Example
    -------
    ``read_series(Path("merrowby/record"), quantity="heel")[0].value.mean()``
    """
    return [
        series
        for series, _ in read_with_timing(
            record,
            quantity=quantity,
            station=station,
            start_ns=start_ns,
            stop_ns=stop_ns,
            runs=runs,
            repair=repair,
        )
    ]


def read_with_timing(
    record: Path,
    *,
    quantity: Quantity | str | None = None,
    station: str | None = None,
    start_ns: int | None = None,
    stop_ns: int | None = None,
    runs: Sequence[str | RunInfo] | None = None,
    repair: bool = True,
) -> list[tuple[Series, tuple[Timing, ...]]]:
    """Like `read_series`, each series with what was found about its times, run by run (empty without repair)."""
    margin = MARGIN_NS if repair else 0
    grouped = _grouped(
        record,
        runs,
        quantity=None if quantity is None else str(quantity),
        station=station,
        start_ns=None if start_ns is None else start_ns - margin,
        stop_ns=None if stop_ns is None else stop_ns + margin,
    )
    low = -(2**63) if start_ns is None else start_ns
    high = 2**63 - 1 if stop_ns is None else stop_ns

    with ThreadPoolExecutor(max_workers=WORKERS) as pool:
        found = [_channel(pool, parts, low, high, repair) for parts in grouped]
    return [(series, timing) for series, timing in found if len(series)]


def runs_of(record: Path, runs: Sequence[str | RunInfo] | None = None) -> list[RunInfo]:
    """Runs of a record folder, or the one run whose folder was given; only those asked for.

    Raises
    ------
    BadInput for the name of a run that is not there.
    """
    if RUN_NAME.match(record.name) and (record / "start.json").exists():
        found = [run_info(record)]
    else:
        found = list_runs(record)
    if runs is None:
        return found
    wanted = [run if isinstance(run, str) else run.name for run in runs]
    names = {run.name for run in found}
    for name in wanted:
        if name not in names:
            raise bad("record", "run", name, f"one of {', '.join(sorted(names)) or 'none: nothing was recorded yet'}")
    return [run for run in found if run.name in wanted]


def _grouped(
    record: Path,
    runs: Sequence[str | RunInfo] | None,
    *,
    quantity: str | None,
    station: str | None,
    start_ns: int | None,
    stop_ns: int | None,
) -> list[list[Piece]]:
    """Pieces by channel, channels in order of station and quantity, pieces in order of run and arrival."""
    channels: dict[tuple[str, str], list[Piece]] = {}
    for run in runs_of(record, runs):
        for piece in select(pieces_of(run), quantity=quantity, station=station, start_ns=start_ns, stop_ns=stop_ns):
            channels.setdefault((piece.station, piece.quantity), []).append(piece)
    return [channels[key] for key in sorted(channels)]


def channel_pieces(record: Path, runs: Sequence[str | RunInfo] | None = None) -> list[list[Piece]]:
    """Pieces of every channel of a record, channels in order of station and quantity; nothing is loaded yet."""
    return _grouped(record, runs, quantity=None, station=None, start_ns=None, stop_ns=None)


def read_channel(pool: ThreadPoolExecutor, pieces: list[Piece]) -> tuple[Series, tuple[Timing, ...]]:
    """One channel with times repaired, from all its pieces; see `read_with_timing`."""
    return _channel(pool, pieces, -(2**63), 2**63 - 1, repair=True)


def read_arrivals(parts: Sequence[Piece]) -> Arrivals:
    """Load pieces of one channel of one run as they arrived."""
    timed = any(piece.device_times for piece in parts)
    names = ["time", "value", "flags", "sequence", *(["device_time"] if timed else [])]
    loaded = [piece.load(names) for piece in parts]
    columns = {name: _joined([columns[name] for columns in loaded]) for name in names}
    return Arrivals(
        columns["time"], columns.get("device_time"), columns["value"], columns["flags"], columns["sequence"]
    )


def _joined(arrays: list[Column]) -> Column:
    return arrays[0] if len(arrays) == 1 else np.concatenate(arrays)


@dataclass(frozen=True)
class _Part:
    time: np.ndarray[Any, np.dtype[np.int64]]
    value: np.ndarray[Any, np.dtype[np.float64]]
    flags: np.ndarray[Any, np.dtype[np.uint16]]
    timing: Timing


def _channel(
    pool: ThreadPoolExecutor, pieces: list[Piece], low: int, high: int, repair: bool
) -> tuple[Series, tuple[Timing, ...]]:
    total = sum(piece.rows for piece in pieces)
    time = np.empty(total, dtype=np.int64)
    value = np.empty(total, dtype=np.float64)
    flags: NDArray[np.uint16] | None = None
    filled = 0
    timing = []
    stretches = list(_stretches(pieces))
    # A few stretches at a time: what is loaded and not yet copied stays small beside the result.
    for begin in range(0, len(stretches), 2 * WORKERS):
        for part in pool.map(lambda s: _part(s, low, high, repair), stretches[begin : begin + 2 * WORKERS]):
            end = filled + part.time.size
            time[filled:end], value[filled:end] = part.time, part.value
            if flags is None and part.flags.any():
                flags = np.zeros(total, dtype=np.uint16)
            if flags is not None:
                flags[filled:end] = part.flags
            filled = end
            timing.append(part.timing)
    time, value = time[:filled], value[:filled]
    # No flag in the whole series takes no memory.
    bits = np.broadcast_to(np.uint16(0), filled) if flags is None else flags[:filled]
    if not _rising(time):
        order = np.argsort(time, kind="stable")
        time, value, bits = strictly_increasing(time[order]), value[order], bits[order]
    names = sorted({piece.run for piece in pieces})
    first = pieces[0]
    history = (f"{filled} readings from {'run' if len(names) == 1 else 'runs'} {', '.join(names)}", tell(tuple(timing)))
    return Series(first.station, first.quantity, time, value, first.unit, bits, history), tuple(timing)


def _stretches(pieces: list[Piece]) -> Iterator[list[Piece]]:
    current: list[Piece] = []
    for piece in pieces:
        if current and (piece.run != current[0].run or sum(p.rows for p in current) + piece.rows > STRETCH_ROWS):
            yield current
            current = []
        current.append(piece)
    if current:
        yield current


def _part(pieces: list[Piece], low: int, high: int, repair: bool) -> _Part:
    if repair:
        arrivals = read_arrivals(pieces)
        found = repaired(arrivals)
    else:
        loaded = [piece.load(["time", "value", "flags"]) for piece in pieces]
        time, value, flags = (_joined([columns[name] for columns in loaded]) for name in ("time", "value", "flags"))
        arrivals = Arrivals(time, None, value, flags)
        found = as_arrived(arrivals)
    first, last = np.searchsorted(found.time_ns, [low, high])
    rows = found.rows[first:last]
    return _Part(found.time_ns[first:last], arrivals.value[rows], arrivals.flags[rows], found.timing)


def _rising(time: np.ndarray[Any, np.dtype[np.int64]]) -> bool:
    """Strictly increasing; in blocks, so that no array of the size of the day is made."""
    return all(
        bool((time[i + 1 : i + 500_001] > time[i : i + 500_000][: time.size - i - 1]).all())
        for i in range(0, time.size, 500_000)
    )


def to_frame(record: Path | str, *, start_ns: int | None = None, stop_ns: int | None = None) -> pd.DataFrame:
    """Every stored reading of a record, or of the folder of one run, as a pandas frame; nothing repaired or dropped.

    Returns
    -------
    DataFrame in order of arrival with columns time (UTC), device_time, run, station, quantity, unit, value, sent,
    flags, sequence.

    Example
    -------
    ``to_frame("merrowby/record").query("quantity == 'heel'").set_index("time").groupby("station").value.plot()``
    """
    import pandas as pd

    frames = []
    for run in runs_of(Path(record)):
        for piece in select(pieces_of(run), start_ns=start_ns, stop_ns=stop_ns):
            columns = piece.load(["time", "device_time", "value", "sent", "flags", "sequence"])
            frame = pd.DataFrame(columns)
            for name in ("time", "device_time"):
                frame[name] = pd.to_datetime(frame[name], utc=True)  # NO_TIME is pandas' own NaT
            for place, (name, text) in enumerate(
                [("run", run.name), ("station", piece.station), ("quantity", str(piece.quantity)), ("unit", piece.unit)]
            ):
                frame.insert(2 + place, name, text)
            frames.append(frame)
    if not frames:
        return pd.DataFrame(columns=FRAME_COLUMNS)
    joined = pd.concat(frames, ignore_index=True).sort_values("time", kind="stable", ignore_index=True)
    for name in ("run", "station", "quantity", "unit"):
        joined[name] = joined[name].astype("category")
    low = None if start_ns is None else pd.Timestamp(start_ns, tz="UTC")
    high = None if stop_ns is None else pd.Timestamp(stop_ns, tz="UTC")
    kept = joined if low is None else joined[joined["time"] >= low]
    return kept if high is None else kept[kept["time"] < high]
