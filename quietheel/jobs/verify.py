"""Check a test folder: digests, chain of marks, gaps, losses, torn tails, missing stop records."""

from __future__ import annotations

from pathlib import Path

from config.folder import TestFolder
from logger.archive.verify import GAP_S, VerifyReport
from logger.archive.verify import verify as verify_record


def verify(folder: Path | str = ".", *, gap_s: float = GAP_S) -> VerifyReport:
    """Check everything recorded in a test folder; nothing is written.

    Raises
    ------
    BadInput where the folder has no plan.

    >>> import quietheel
    >>> quietheel.verify("demo-day").sound  # doctest: +SKIP
    True
    """
    place = TestFolder(Path(folder))
    place.plan()
    return verify_record(place.path, gap_s=gap_s)
