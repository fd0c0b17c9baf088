"""Every figure of the report, drawn with matplotlib into SVG that is the same bytes at each rebuild."""

from reduction.report.figures.budget import budget_bars, gathered, shares
from reduction.report.figures.evidence import drawable, evidence
from reduction.report.figures.hull import allowable_kg, waterline_profile
from reduction.report.figures.moment import moment_tangent
from reduction.report.figures.spectrum import heel_spectrum
from reduction.report.figures.traces import day_traces, window_close_up

__all__ = [
    "allowable_kg",
    "budget_bars",
    "day_traces",
    "drawable",
    "evidence",
    "gathered",
    "heel_spectrum",
    "moment_tangent",
    "shares",
    "waterline_profile",
    "window_close_up",
]
