"""What the invented day is held against: the estimate, limits of KG, published guidance."""

from reduction.types import Advice, ConditionAnswer, Deviation, Quantified


def example_deviations() -> tuple[Deviation, ...]:
    """Lightship against the builder's estimate."""
    return (
        Deviation("mass", 1.8, 2.0, "%", "1.8 % heavier than the builder's estimate.", "SOLAS II-1/5.5", "within"),
        Deviation("LCG", 0.9, 1.0, "% of length", "0.43 m further aft.", "SOLAS II-1/5.5", "too close to call"),
    )


def example_conditions() -> tuple[ConditionAnswer, ...]:
    """One condition clear of its limit, one too close to call."""
    return (
        ConditionAnswer(
            "departure, full deck cargo",
            Quantified(4.71, 0.012),
            4.95,
            0.24,
            "clear",
            0.0001,
            "Departure with full deck cargo: KG 4.710 m against 4.950 m allowed, 0.24 m to spare.",
        ),
        ConditionAnswer(
            "arrival, ice on deck",
            Quantified(4.93, 0.012),
            4.94,
            0.01,
            "too close to call",
            0.21,
            "Arrival with ice: KG 4.930 m against 4.940 m allowed; the interval reaches over it.",
        ),
    )


def example_advice() -> tuple[Advice, ...]:
    """Held, not held and not known."""
    return (
        Advice(
            "heel",
            "Heel reaches 1.7 deg to starboard and 1.7 deg to port; 1 to 4 deg each side are wanted.",
            True,
            "2008 IS Code, Annex 1, 2.3.1",
            "from memory",
        ),
        Advice(
            "devices",
            "3 electronic stations and 1 pendulum; at least 2 devices are wanted.",
            True,
            "2008 IS Code, Annex 1, 2.4",
            "from memory",
        ),
        Advice(
            "freeboards",
            "5 freeboards each side, about equally spaced; 5 are wanted.",
            True,
            "2008 IS Code Part B, 8.4.1.1",
            "read",
        ),
        Advice(
            "trim",
            "Trim 0.60 m is 1.2 % of length; at most 1 % unless hydrostatics are for the actual trim.",
            False,
            "plan-review guideline of a flag administration",
            "read",
            "hydrostatics at the actual trim are used",
        ),
        Advice("depth", "Depth of water is not in this folder.", None, "2008 IS Code Part B, 8.2.2.6", "read"),
    )
