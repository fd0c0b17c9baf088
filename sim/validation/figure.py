"""One figure of the simulator beside what it should be."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Figure:
    """One comparison."""

    what: str
    found: float
    wanted: float
    unit: str
    bar: float
    """Largest difference allowed: relative, or absolute in ``unit`` where ``wanted`` is 0 or ``absolute`` is set."""
    source: str
    absolute: bool = False

    @property
    def error(self) -> float:
        """Difference, relative or absolute as the bar is."""
        if self.absolute or self.wanted == 0.0:
            return abs(self.found - self.wanted)
        return abs(self.found / self.wanted - 1.0)

    @property
    def holds(self) -> bool:
        """Within its bar."""
        return self.error <= self.bar

    def line(self) -> str:
        """One row of a Markdown table."""
        if self.absolute or self.wanted == 0.0:
            error, bar = f"{self.error:.2g}", f"{self.bar:g}"
        else:
            error, bar = f"{100 * self.error:.2g} %", f"{100 * self.bar:g} %"
        verdict = "holds" if self.holds else "FAILS"
        cells = (self.what, f"{self.found:.6g}", f"{self.wanted:.6g}", self.unit, error, bar, verdict, self.source)
        return f"| {' | '.join(cells)} |"


HEADER = "| what | found | wanted | unit | difference | bar | | source |\n|---|---|---|---|---|---|---|---|"
