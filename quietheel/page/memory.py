"""Memory that was freed goes back to the system."""

from __future__ import annotations

import contextlib
import ctypes
import sys


def give_back() -> None:
    """Hand back what is free; glibc otherwise keeps hundreds of megabytes after a long day was worked out."""
    if sys.platform == "linux":
        with contextlib.suppress(OSError, AttributeError):  # another C library has no such call and no such habit
            ctypes.CDLL(None).malloc_trim(0)
