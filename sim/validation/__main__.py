"""``python -m sim.validation``: print every figure as a Markdown table; exit code 1 if one fails."""

from __future__ import annotations

import sys

from sim.validation import air_and_devices, roll, speed, statics
from sim.validation.figure import HEADER


def main() -> int:
    """Print the table."""
    print(HEADER)
    failed = 0
    for page in (roll, statics, air_and_devices, speed):
        for figure in page.figures():
            failed += not figure.holds
            print(figure.line(), flush=True)
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
