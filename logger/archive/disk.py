"""How long the disk will last."""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from pathlib import Path

from logger.clock import wall_s

BYTES_A_ROW = 60.0
"""What a reading takes in the open journal; sealed it takes 5 to 12 (docs/reliability.md)."""
RESERVE_BYTES = 200_000_000
"""Kept back for sealing one segment, reports and the system."""
LOOK_S = 5.0
"""Wall time over which `DiskWatch` counts rows."""


@dataclass(frozen=True)
class DiskState:
    """Room on the disk of a record."""

    free_bytes: int
    hours_left: float
    """At the rate given, with the reserve kept back; infinite where nothing comes in."""


def disk_state(folder: Path, rows_per_s: float) -> DiskState:
    """Foresee a full disk.

    Parameters
    ----------
    folder : anywhere on the disk of the record; need not exist yet.
    rows_per_s : readings a second, all channels.
    """
    place = folder.resolve()
    while not place.exists():
        place = place.parent
    free = shutil.disk_usage(place).free
    return DiskState(free, hours_left(free, rows_per_s))


def hours_left(free_bytes: int, rows_per_s: float) -> float:
    """Hours until so much room is full but for the reserve.

    >>> round(hours_left(2_360_000_000, 600))
    17
    """
    per_hour = rows_per_s * BYTES_A_ROW * 3600.0
    return max(0, free_bytes - RESERVE_BYTES) / per_hour if per_hour > 0 else float("inf")


class DiskWatch:
    """The same for a logger that looks again and again, at the rate of about the last half minute."""

    def __init__(self) -> None:
        self._before: tuple[float, int] | None = None
        self._rate: float | None = None
        self._hours: float | None = None

    def look(self, folder: Path, rows: int) -> float | None:
        """Hours left, given the rows counted so far; None where they cannot be told. Not for two threads at once."""
        now = wall_s()
        if self._before is None:
            self._before = (now, rows)
            return None
        since, before = self._before
        if now - since < LOOK_S:
            return self._hours
        self._before = (now, rows)
        rate = (rows - before) / (now - since)
        self._rate = rate if self._rate is None else 0.8 * self._rate + 0.2 * rate
        try:
            self._hours = disk_state(folder, self._rate).hours_left if self._rate else None
        except OSError:
            self._hours = None
        return self._hours
