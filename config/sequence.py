"""The movements of the test, spelt out: the customary sequence for four weights, or the plan's own."""

from __future__ import annotations

from config.errors import bad
from config.plan import Movement, Plan
from config.words import listed

_FOUR_WEIGHTS_TO_PORT = ((1, 3), (3,), (), (0,), (0, 2), (0, 1, 2), (0, 1, 2, 3), (1, 2, 3), (1, 3))
"""Which of the four weights, by their order in the plan, stand to port in each state: zero, then eight movements.
Layout of the usual calculation sheet, as read at navale-marine.blogspot.com (2017/01, calculation sheet I)."""


def movements(plan: Plan) -> tuple[Movement, ...]:
    """Spell out the states of the weights in order; the first is the starting state.

    Raises
    ------
    BadInput where the customary sequence is asked for with other than four weights.

    >>> from config.plan import Weight
    >>> four = tuple(Weight(name=n, mass_t=1, port_m=(0, -4, 5), starboard_m=(0, 4, 5)) for n in "1234")
    >>> plan = Plan(weights=four, sequence={"standard": "four_weights_eight_movements"})
    >>> [(m.label, m.to_port, m.to_starboard) for m in movements(plan)][:3]
    [('0', ('2', '4'), ('1', '3')), ('1', (), ('2',)), ('2', (), ('4',))]
    """
    if plan.sequence.standard == "own":
        return plan.movements
    if plan.movements:
        raise bad(
            "plan.toml",
            "movements",
            None,
            'no [[movements]] beside a standard sequence; set sequence.standard = "own"',
        )
    if len(plan.weights) != len(_FOUR_WEIGHTS_TO_PORT[0]) * 2:
        wanted = "four [[weights]] for the standard sequence of eight movements"
        raise bad("plan.toml", "weights", f"{len(plan.weights)} weights", wanted)
    names = [weight.name for weight in plan.weights]
    steps = []
    before: set[int] | None = None
    for number, port in enumerate(_FOUR_WEIGHTS_TO_PORT):
        to_port = [i for i in range(4) if i in port and (before is None or i not in before)]
        to_starboard = [i for i in range(4) if i not in port and (before is None or i in before)]
        label = str(number)
        steps.append(
            Movement(
                label=label,
                to_port=tuple(names[i] for i in to_port),
                to_starboard=tuple(names[i] for i in to_starboard),
                note="zero" if number in (0, 4, 8) else "",
            )
        )
        before = set(port)
    return tuple(steps)


def positions(plan: Plan) -> dict[str, dict[str, str]]:
    """Side on which each weight stands in each state: ``{movement label: {weight name: "port" | "starboard"}}``.

    Weights that no movement has named yet stand where the plan says they start.
    """
    now = {weight.name: str(weight.start) for weight in plan.weights}
    states: dict[str, dict[str, str]] = {}
    for movement in movements(plan):
        now = {
            **now,
            **dict.fromkeys(movement.to_port, "port"),
            **dict.fromkeys(movement.to_starboard, "starboard"),
        }
        states[movement.label] = now
    return states


def spell(movement: Movement) -> str:
    """Say a movement as it is called out on deck.

    >>> spell(Movement(label="5", to_port=("1", "3")))
    'movement 5: weights 1 and 3 to port'
    """
    moves = [
        f"weight{'s' if len(names) > 1 else ''} {listed(names)} to {side}"
        for names, side in ((movement.to_port, "port"), (movement.to_starboard, "starboard"))
        if names
    ]
    return f"movement {movement.label}: {', '.join(moves) or 'no weight moves'}"
