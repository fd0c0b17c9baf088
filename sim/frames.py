"""Bytes on their way from a device to the logger."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Frame:
    """Bytes that leave a device together."""

    time_ns: int
    """UTC ns at which they arrive at the other end."""
    data: bytes
