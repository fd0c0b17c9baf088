"""Resident memory of this process, as the system counts it."""

from __future__ import annotations

import sys
from pathlib import Path


def resident_mb(pid: int | str = "self") -> float:
    """Of this process or another, now, MB; NaN where the system does not say."""
    try:
        text = Path(f"/proc/{pid}/status").read_text(encoding="ascii")
    except OSError:
        return float("nan")
    sizes = (float(line.split()[1]) / 1024.0 for line in text.splitlines() if line.startswith("VmRSS"))
    return next(sizes, float("nan"))


def peak_mb() -> float:
    """Largest so far, MB; NaN where the system does not say."""
    try:
        import resource
    except ImportError:
        return float("nan")
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak / (1024.0 * 1024.0) if sys.platform == "darwin" else peak / 1024.0
