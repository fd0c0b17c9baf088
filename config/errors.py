"""What is said when a file of the test folder cannot be used as it stands."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from config.words import shortened


@dataclass(frozen=True)
class Fault:
    """One thing wrong with one place of one file, in words that let a person mend it."""

    file: str
    """File name as the person knows it, relative to the test folder."""
    where: str
    """Line, key or both, such as ``line 14, weights[2].mass_t``."""
    value: str
    """The value found there, shortened; empty if nothing was there."""
    wanted: str
    """What would be right."""

    def __str__(self) -> str:
        found = f": found {self.value}" if self.value else ""
        return f"{self.file}, {self.where}{found}; {self.wanted}"


class BadInput(Exception):
    """Raised when a file, an option or a payload cannot be used; holds every fault found, not only the first.

    The front door prints each fault on a line of its own and ends with exit code 2.
    """

    def __init__(self, faults: Sequence[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))


def bad(file: str, where: str, value: object, wanted: str) -> BadInput:
    """Build the error for a single fault.

    >>> str(bad("plan.toml", "line 3, vessel.breadth_m", -4, "a length above 0 m"))
    'plan.toml, line 3, vessel.breadth_m: found -4; a length above 0 m'
    """
    return BadInput([Fault(file, where, "" if value is None else shortened(str(value)), wanted)])
