"""How the invented vessel floated, and what was on board that does not belong to her."""

import numpy as np

from dsp.types import BudgetLine
from reduction.types import Floating, MarkReading, Quantified, SurveyItem, Waterline
from tests.report_example.day import MASS


def example_waterline() -> Waterline:
    """Six draughts and ten freeboards, one of them misread."""
    readings = tuple(
        MarkReading(
            label=f"{kind[0].upper()}{side[0].upper()}{n}",
            kind=kind,
            x=x,
            y=y,
            reading=2.9 - 0.01 * x,
            waterline_z=3.35 - 0.0125 * x + (0.12 if (n, side) == (2, "port") and kind == "freeboard" else 0.004 * n),
            u=0.01,
            residual=0.12 if (n, side) == (2, "port") and kind == "freeboard" else 0.003 * (n - 2),
            used=not ((n, side) == (2, "port") and kind == "freeboard"),
            says="120 mm off: looks misread by 0.10 m" if (n, side) == (2, "port") and kind == "freeboard" else "",
        )
        for kind, xs in (("draught", (2.0, 24.0, 46.0)), ("freeboard", (6.0, 15.0, 24.0, 33.0, 42.0)))
        for side, y in (("starboard", 5.4), ("port", -5.4))
        for n, x in enumerate(xs)
    )
    return Waterline(
        mean_draught=Quantified(3.052, 0.005),
        draught_aft=Quantified(3.351, 0.008),
        draught_forward=Quantified(2.752, 0.008),
        trim=Quantified(0.599, 0.011),
        list=Quantified(0.0021, 0.0008),
        hog=Quantified(0.006, 0.004),
        covariance=np.eye(4) * 1e-5,
        readings=readings,
        density=Quantified(1021.4, 0.3),
    )


def example_floating() -> Floating:
    """Hydrostatics at the waterline."""
    return Floating(
        MASS,
        22.9,
        1.65,
        22.1,
        5.56,
        71.0,
        3.91,
        489_000.0,
        1.68e6,
        "table, at the actual trim",
        (BudgetLine("first trim correction", -3200.0, "layer"), BudgetLine("density", -4050.0, "1021.4 kg/m³")),
    )


def example_survey() -> tuple[SurveyItem, ...]:
    """Deadweight survey: off, on and moved."""
    return (
        SurveyItem("hawser", "off", 640.0, 4.0, 1.5, 6.2, 30.0, 0.3, None, "boatswain's store", "A. North", "survey"),
        SurveyItem(
            "spare pump", "off", 410.0, 12.0, -2.0, 2.1, 15.0, 0.2, None, "engine room", "B. Lindqvist", "survey"
        ),
        SurveyItem("rescue boat", "on", 1250.0, 30.0, 3.9, 8.4, 20.0, 0.1, None, "boat deck", "A. North", "survey"),
        SurveyItem(
            "anchor, spare", "move", 900.0, 44.0, 0.0, 5.2, 10.0, 0.1, (40.0, 1.0, 5.5), "forecastle", "", "survey"
        ),
        *(
            SurveyItem(
                f"weight {n + 1}", "off", 2500.0 + 10 * n, 20.0 + 2 * n, 4.2, 6.0, 1.5, 0.005, group="test weights"
            )
            for n in range(4)
        ),
        SurveyItem("6 people", "off", 468.0, 18.0, 0.0, 7.0, 20.0, 0.3, group="people"),
        SurveyItem("fuel day tank", "off", 3140.0, 14.0, 2.0, 3.1, 40.0, 0.05, None, "", "", "tanks", 1350.0),
    )
