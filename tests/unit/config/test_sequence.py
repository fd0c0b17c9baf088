import pytest

from config.errors import BadInput
from config.plan import Movement, Plan, Weight
from config.sequence import movements, positions, spell


def plan(count: int = 4, **more: object) -> Plan:
    weights = tuple(
        Weight(name=str(i + 1), mass_t=1, start=side, port_m=(0, -4, 5), starboard_m=(0, 4, 5))
        for i, side in zip(range(count), ["starboard", "port"] * 3, strict=False)
    )
    return Plan(weights=weights, sequence={"standard": "four_weights_eight_movements"}, **more)


def test_the_customary_sequence_is_the_published_table() -> None:
    # navale-marine.blogspot.com, calculation sheet I: weights to port after each movement
    to_port = ["24", "4", "", "1", "13", "123", "1234", "234", "24"]
    found = [
        "".join(sorted(name for name, side in state.items() if side == "port")) for state in positions(plan()).values()
    ]
    assert found == to_port


def test_one_weight_a_movement_after_zero() -> None:
    assert all(len(m.to_port) + len(m.to_starboard) == 1 for m in movements(plan())[1:])


def test_three_weights_cannot_do_it() -> None:
    with pytest.raises(BadInput, match="four"):
        movements(plan(3))
    with pytest.raises(BadInput, match="own"):
        movements(plan(movements=(Movement(label="1"),)))


def test_how_it_is_called_out() -> None:
    assert spell(Movement(label="2", to_starboard=("A", "B", "C"))) == "movement 2: weights A, B and C to starboard"
