"""What the invented day was reduced to."""

from dsp.types import BudgetLine
from reduction.types import Answer, AsInclined, Centre, GmResult, Maybe, Provenance, Quantified
from tests.report_example.afloat import example_floating, example_survey, example_waterline
from tests.report_example.day import GM, MASS
from tests.report_example.judged import example_advice, example_conditions, example_deviations
from tests.report_example.windows import example_windows


def example_answer(name: str = "Merrowby") -> Answer:
    """Every part filled."""
    budget = (
        BudgetLine("scale of the stations", 0.0018, "calibration 0.2 % at 95 %"),
        BudgetLine("displacement", 0.0031, "from the waterline"),
        BudgetLine("low-frequency heel", 0.0022, "pooled over the day"),
        BudgetLine("wind", 0.0009),
        BudgetLine("masses of the weights", 0.0007),
        BudgetLine("distances", 0.0011),
    )
    gm = Quantified(GM, 0.0045, 14.0, budget, "m")
    light = (
        BudgetLine("displacement as inclined", 2600.0, "waterline and hydrostatics"),
        BudgetLine("deadweight survey", 900.0),
    )
    points, day = example_windows()
    kg = Quantified(4.318, 0.013, 40.0, (BudgetLine("KM", 0.0115), BudgetLine("GM", 0.0045)), "m")
    return Answer(
        name=name,
        confidence=0.95,
        headline="GM is 1.213 m, give or take 0.010 m; the lightship has 1131 t with its centre 4.36 m up, and "
        "departure with full deck cargo stays clear of the allowable KG.",
        outlook="clear",
        next_step="Repeat movement 6 with the aft breast line slack: it narrows the interval to 0.008 m.",
        gm=Maybe(
            GmResult(
                carried="curve",
                gm=gm,
                line=Quantified(1.2192, 0.0046, 14.0),
                curve=Maybe(gm),
                line_all=Quantified(1.2431, 0.0091, 14.0),
                curve_all=Maybe(Quantified(1.2370, 0.0089, 14.0)),
                list_upright=Quantified(0.0002, 0.0001),
                points=points,
                difference="The straight line over-reads by 6 mm: a wall-sided hull stiffens with heel (BM 2.9 m).",
                assumptions=("Hull wall-sided over the heel of the test.",),
                heel_scatter=4e-5,
            )
        ),
        waterline=Maybe(example_waterline()),
        floating=Maybe(example_floating()),
        as_inclined=Maybe(
            AsInclined(
                displacement=Quantified(MASS, 2600.0, budget=light),
                km=Quantified(5.56, 0.0115),
                gm_fluid=gm,
                free_surface=Quantified(34000.0, 2000.0),
                kg=kg,
                lcg=Maybe(Quantified(22.41, 0.03)),
                tcg=Maybe(None, "list has no calibrated zero"),
                roll_period=Maybe(Quantified(8.31, 0.03)),
                radius_ratio=Maybe(Quantified(0.414, 0.003, note="usual 0.36 to 0.44")),
            )
        ),
        survey=example_survey(),
        lightship=Maybe(
            Centre(
                Quantified(1_131_200.0, 2750.0, budget=light),
                Quantified(4.361, 0.0142, budget=(BudgetLine("KG as inclined", 0.013), BudgetLine("survey", 0.005))),
                Quantified(22.62, 0.035),
                Quantified(-0.012, 0.006),
            )
        ),
        deviations=example_deviations(),
        conditions=example_conditions(),
        advice=example_advice(),
        monte_carlo=Maybe(
            {
                "gm": (1.2032, 1.2229),
                "kg": (4.292, 4.344),
                "mass": (1_125_700.0, 1_136_600.0),
                "vcg": (4.333, 4.389),
                "lcg": (22.55, 22.69),
                "tcg": (-0.024, 0.0),
            }
        ),
        assumptions=("Scale of the pendulum was not stated; 0.5 % assumed.", "A person weighs 78 kg, as stated."),
        missing={"tcg": "list has no calibrated zero"},
        day=day,
        provenance=Provenance(
            "0.1.0",
            "2030-05-14T14:05:00Z",
            (
                ("plan.toml", "9f2c" * 16),
                ("events.jsonl", "04ab" * 16),
                ("record/20300514T0710Z/readings.parquet", "77d1" * 16),
            ),
            {"gm_carried": "curve", "confidence": 0.95, "seed": 20260101},
        ),
    )
