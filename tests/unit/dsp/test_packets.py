"""Runs and packets of pushes: how many independent ones they come to, and what is usual beside the strongest."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.special import gammaincc

from dsp.alike import habit
from dsp.checks.budget import REJECT
from dsp.checks.burst import PACKETS, RUNS, _lengths, _runs_as_many
from dsp.checks.packets import _strongest_of, as_many, calm, packets_in
from dsp.checks.swing import SHARED, Swing

DAYS = 20000


def pushed(rng: np.random.Generator, days: int, size: int) -> NDArray[np.complex128]:
    """(days, size) complex normal pushes of unit mean square; neighbours share a quarter, as averages of a walk do."""
    share = 2.0 - np.sqrt(3.0)
    z = (rng.standard_normal((days, size + 1)) + 1j * rng.standard_normal((days, size + 1))) / np.sqrt(2.0)
    return np.asarray((z[:, 1:] + share * z[:, :-1]) / np.sqrt(1.0 + share**2))


def swing(push: NDArray[np.complex128], keep: float = 0.85) -> Swing:
    amplitude = np.zeros(push.size + 1, dtype=np.complex128)
    return Swing(np.arange(push.size + 1.0), amplitude, push, keep, 0, push.size + 1)


def strongest(push: NDArray[np.complex128], keep: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Score (mean squares) and energy of the strongest packet of each day."""
    made = packets_in(swing(push[0], keep), np.ones(push.shape[1]))
    dying = keep ** np.arange(push.shape[1])
    dying /= np.linalg.norm(dying)
    along = np.abs((push - np.outer(push @ dying, dying)) @ made.shape.T) ** 2
    best = np.argmax(along / made.spread, axis=1)
    energy = np.take_along_axis(along, best[:, None], axis=1)[:, 0]
    return energy / made.spread[best], energy


@pytest.mark.parametrize(("size", "keep"), [(5, 0.9), (8, 0.75), (15, 0.85), (40, 0.85)])
def test_a_record_without_waves_is_a_burst_no_oftener_than_is_said(size: int, keep: float) -> None:
    push = pushed(np.random.default_rng(size), DAYS, size)
    score, _ = strongest(push, keep)
    made = packets_in(swing(push[0], keep), np.ones(size))
    heights = np.linspace(1.0, 30.0, 200)
    packet = np.interp(score, heights, [np.exp(-u) * as_many(made, float(np.exp(-u))) for u in heights])
    total = np.concatenate([np.zeros((DAYS, 1)), np.cumsum(np.abs(push) ** 2, axis=1)], axis=1)
    run, tried = np.ones(DAYS), 0
    for count in _lengths(size):
        free = 2.0 * count / (1.0 if count == 1 else SHARED)
        inside = (total[:, count:] - total[:, :-count]).max(axis=1)
        tried += size - count + 1
        run = np.minimum(run, gammaincc(free / 2.0, inside / count * free / 2.0))
    called = np.minimum(run * _runs_as_many(tried) / RUNS, packet / PACKETS)
    rate = float(np.mean(called < REJECT["burst"]))
    # 20 000 days tell it to an eighth; a third at the least, or bursts are missed that need not be.
    assert 0.33 * REJECT["burst"] < rate < 1.1 * REJECT["burst"]


@pytest.mark.parametrize("size", [5, 8, 15, 40, 100])
def test_what_is_left_beside_the_strongest_packet_is_made_up_for(size: int) -> None:
    push = pushed(np.random.default_rng(size), 2500, size)
    _, energy = strongest(push, 0.85)
    assert float(energy.mean()) == pytest.approx(_strongest_of(size), rel=0.08)
    usual, dof = np.array([calm(swing(one)) for one in push]).T
    assert float(usual.mean()) == pytest.approx(1.0, abs=0.06)
    assert 2.0 / float(usual.var()) == pytest.approx(float(dof.mean()), rel=0.35)


def test_wash_in_three_windows_does_not_make_the_others_unlike() -> None:
    rng = np.random.default_rng(3)
    size = 20
    place = np.arange(size + 1.0)
    sure = []
    for _ in range(60):
        push = pushed(rng, 8, size)
        for day in push[:3]:
            packet = 4.0 * np.exp(-0.5 * ((place - rng.uniform(6.0, 14.0)) / 1.5) ** 2)
            day += (packet[1:] - 0.85 * packet[:-1]) * np.exp(2j * np.pi * rng.random()) * np.sqrt(2.0)
        whole = habit(np.array([np.mean(np.abs(one) ** 2) for one in push]), np.full(8, 2.0 * size / SHARED))
        without = habit(*np.array([calm(swing(one)) for one in push]).T)
        sure.append([float(h.weight[h.dof > 20.0].sum()) for h in (whole, without)])
    told = np.median(sure, axis=0)
    assert told[1] > 0.8 and told[1] > told[0] + 0.1


def test_few_pushes_are_taken_as_they_are() -> None:
    push = pushed(np.random.default_rng(1), 1, 4)[0]
    assert calm(swing(push)) == (pytest.approx(float(np.mean(np.abs(push) ** 2))), pytest.approx(8.0 / SHARED))


def test_windows_as_unlike_as_can_be_leave_numbers_to_every_hypothesis() -> None:
    """Strengths ten decades apart rule out that windows are alike, beyond what a number holds."""
    strength = np.array([8.2, 0.058, 9e-6, 0.00039, 679.0, 0.74, 0.18, 19100.0])
    told = habit(strength, np.array([188.0, 229.0, 21.0, 57.0, 540.0, 117.0, 126.0, 23.0]))
    assert np.isfinite(told.usual).all() and bool(np.all(told.usual > 0.0))
    assert float(told.weight.sum()) == pytest.approx(1.0)
    assert told.weight[0] < 1e-6
