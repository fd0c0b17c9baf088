"""How long the disk will last."""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from pathlib import Path

BYTES_A_ROW = 60.0
"""What a reading takes in the open journal; sealed it takes 5 to 12 (docs/reliability.md)."""
RESERVE_BYTES = 200_000_000
"""Kept back for sealing one segment, reports and the system."""


@dataclass(frozen=True)
class DiskState:
    """Room on the disk of a record."""

    free_bytes: int
    hours_left: float
    """At the rate given, with the reserve kept back; infinite where nothing comes in."""
    says: str
    """For the screen."""
    low: bool
    """Less than the hours wanted are left."""


def disk_state(
    folder: Path, rows_per_s: float, *, wanted_h: float = 4.0, bytes_a_row: float = BYTES_A_ROW
) -> DiskState:
    """Foresee a full disk.

    Parameters
    ----------
    folder : anywhere on the disk of the record; need not exist yet.
    rows_per_s : readings a second, all channels.
    wanted_h : fewer hours than this is ``low``.
    """
    place = folder.resolve()
    while not place.exists():
        place = place.parent
    return foresee(shutil.disk_usage(place).free, rows_per_s, wanted_h=wanted_h, bytes_a_row=bytes_a_row)


def foresee(
    free_bytes: int, rows_per_s: float, *, wanted_h: float = 4.0, bytes_a_row: float = BYTES_A_ROW
) -> DiskState:
    """Hours left with so much room.

    >>> foresee(2_360_000_000, 600).says
    'disk: 2.4 GB free, room for 17 h'
    """
    room = max(0, free_bytes - RESERVE_BYTES)
    per_hour = rows_per_s * bytes_a_row * 3600.0
    hours = room / per_hour if per_hour > 0 else float("inf")
    spoken = "more than 99 h" if hours > 99 else f"{hours:.1f} h" if hours < 10 else f"{hours:.0f} h"
    return DiskState(free_bytes, hours, f"disk: {free_bytes / 1e9:.1f} GB free, room for {spoken}", hours < wanted_h)
