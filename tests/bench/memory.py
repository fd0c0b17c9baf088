"""Resident memory of this process, as the system counts it."""

from __future__ import annotations

import sys
from pathlib import Path


def resident_mb() -> float:
    """Now, MB; NaN where the system does not say."""
    try:
        text = Path("/proc/self/status").read_text(encoding="ascii")
    except OSError:
        return float("nan")
    return next(float(line.split()[1]) for line in text.splitlines() if line.startswith("VmRSS")) / 1024.0


def peak_mb() -> float:
    """Largest so far, MB; NaN where the system does not say."""
    try:
        import resource
    except ImportError:
        return float("nan")
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak / (1024.0 * 1024.0) if sys.platform == "darwin" else peak / 1024.0
