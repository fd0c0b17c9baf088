"""Columns of the record, in the open journal and in sealed segments, with words that explain them in ten years."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pyarrow as pa

from logger.archive.arrow import from_numpy, strings
from logger.archive.layout import channel_from_json, channel_to_json
from logger.records import Channel, Flag, Quantity, Reading

CONVENTIONS = {
    "heel": "degrees, starboard side down is positive",
    "trim": "degrees, down by the stern is positive (draught aft minus draught forward)",
    "wind_direction": "degrees clockwise, where the wind comes from; reference in the plan's station",
    "axes": "x forward of the aft perpendicular, y to starboard, z up from the moulded baseline, m",
    "time": "UTC; integer nanoseconds since 1970-01-01T00:00:00Z",
    "calibration": "recorded beside each channel, not applied to the stored values",
}
"""Sign conventions, stated once and written into every start record and every segment."""

COLUMNS = {
    "time": "arrival at the logger, UTC, carried on the monotonic clock from the anchor of the run",
    "device_time": "the station's own time stamp, UTC; empty where it sends none",
    "station": "name of the station in the plan",
    "quantity": "what was measured; unit and sign by quantity in the metadata",
    "channel": "position (from 0) in the metadata's list of channels",
    "value": "value in the channel's unit, signs as the trade has them, calibration not applied",
    "sent": "value and unit as sent; empty where equal to value",
    "flags": "bits: " + ", ".join(f"{flag.value} {flag.name.lower()}" for flag in Flag if flag.name and flag.value),
    "sequence": "running number of the channel within the run; a jump is a loss",
}
"""What each column holds."""

_UTC = pa.timestamp("ns", tz="UTC")
LARGEST_NS = 2**63 - 1
Key = tuple[str, Quantity]


def journal_schema(channels: Sequence[Channel], run: str, segment: int) -> Any:
    """Arrow schema of a journal."""
    return pa.schema(
        [
            _field("time", _UTC, nullable=False),
            _field("device_time", _UTC),
            _field("channel", pa.int16(), nullable=False),
            _field("value", pa.float64(), nullable=False),
            _field("sent", pa.utf8(), nullable=False),
            _field("flags", pa.uint16(), nullable=False),
            _field("sequence", pa.int64(), nullable=False),
        ],
        metadata=_metadata(channels, run, segment),
    )


def sealed_schema(metadata: Mapping[bytes, bytes]) -> Any:
    """Arrow schema of a sealed segment; ``metadata`` is that of its journal."""
    names = pa.dictionary(pa.int32(), pa.utf8())
    return pa.schema(
        [
            _field("time", _UTC, nullable=False),
            _field("device_time", _UTC),
            _field("station", names, nullable=False),
            _field("quantity", names, nullable=False),
            _field("value", pa.float64(), nullable=False),
            _field("sent", pa.utf8(), nullable=False),
            _field("flags", pa.uint16(), nullable=False),
            _field("sequence", pa.int64(), nullable=False),
        ],
        metadata=dict(metadata),
    )


def channels_of(metadata: Mapping[bytes, bytes]) -> tuple[Channel, ...]:
    """Channels written into a schema's metadata."""
    return tuple(channel_from_json(item) for item in json.loads(metadata[b"quietheel.channels"]))


def batch_of(readings: Sequence[Reading], index: Mapping[Key, int], schema: Any) -> Any:
    """Turn readings into one record batch of the journal.

    A device time beyond the range of int64 ns is stored as none, text that is not valid Unicode with its bad
    characters replaced; nothing that a station sends may stop the logger.
    """
    station, quantity, host, device, value, sent, flags, sequence = zip(*readings, strict=True)
    columns = [
        from_numpy(np.array(host, dtype=np.int64)).view(_UTC),
        _device_times(device).view(_UTC),
        from_numpy(np.array([index[key] for key in zip(station, quantity, strict=True)], dtype=np.int16)),
        from_numpy(np.array(value, dtype=np.float64)),
        strings(sent),
        from_numpy((np.array(flags, dtype=np.int64) & 0xFFFF).astype(np.uint16)),
        from_numpy(np.array(sequence, dtype=np.int64)),
    ]
    return pa.record_batch(columns, schema=schema)


def _device_times(device: Sequence[int | None]) -> Any:
    if device.count(None) == len(device):
        return from_numpy(np.zeros(len(device), dtype=np.int64), np.zeros(len(device), dtype=np.bool_))
    within = [_within(ns) for ns in device]
    there = np.array([ns is not None for ns in within])
    return from_numpy(np.array([ns or 0 for ns in within], dtype=np.int64), None if there.all() else there)


def _within(ns: int | None) -> int | None:
    return ns if ns is not None and -LARGEST_NS <= ns <= LARGEST_NS else None


def _field(name: str, kind: Any, *, nullable: bool = True) -> Any:
    return pa.field(name, kind, nullable=nullable, metadata={"description": COLUMNS[name]})


def _metadata(channels: Sequence[Channel], run: str, segment: int) -> dict[str, str]:
    return {
        "quietheel.format": "1",
        "quietheel.about": "Readings of one run of a vessel's stability test. One row a reading, in order of arrival "
        "(in a sealed segment: by channel, then in order of arrival).",
        "quietheel.run": run,
        "quietheel.segment": str(segment),
        "quietheel.channels": json.dumps([channel_to_json(c) for c in channels], ensure_ascii=False, default=str),
        "quietheel.conventions": json.dumps(CONVENTIONS),
        "quietheel.columns": json.dumps(COLUMNS),
    }
