"""What one reduction is handed: plan, heels, tables and the facts that people marked on the day."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from config.model import Point
from config.plan import Overrule, Plan
from config.tables import Tables
from dsp.types import DayHeel
from reduction.moments import Shift
from reduction.types import Provenance

NO_PROVENANCE = Provenance("", "", ())


@dataclass(frozen=True)
class DayInputs:
    """Everything `reduction.day.reduce_day` needs; whatever is left out makes some results missing, never wrong.

    >>> from config.plan import Plan
    >>> DayInputs(Plan()).day is None
    True
    """

    plan: Plan
    day: DayHeel | None = None
    """Heels of the windows; None before the test or without a record."""
    tables: Tables = field(default_factory=Tables)
    """`config.tables.read_tables` reads them from the folder."""
    movements: Mapping[str, str] = field(default_factory=dict)
    """Window label -> label of the movement after which it was taken; a window not named here belongs to its span's
    ``group``, else to the movement of its own label."""
    moments: Mapping[str, float] = field(default_factory=dict)
    """Window label -> total transverse moment, kg m to starboard, where it was typed or imported."""
    moments_u: Mapping[str, float] = field(default_factory=dict)
    """Window label -> standard uncertainty of that moment, kg m; a window not named here: not known."""
    shifts: tuple[Shift, ...] = ()
    """People at another station than usual, crane, liquids pumped: from the marks."""
    placed: Mapping[str, Mapping[str, Point]] = field(default_factory=dict)
    """Movement -> weight -> position as found, where it did not stand where the plan says."""
    overrules: tuple[Overrule, ...] = ()
    """Decisions on windows from the marks, beside those of the plan's settings."""
    said: tuple[str, ...] = ()
    """Sentences on how marks of the day were taken, to stand among the assumptions."""
    altered: tuple[str, ...] = ()
    """What of the marks and the record is not as it was written, as sentences."""
    provenance: Provenance = NO_PROVENANCE
