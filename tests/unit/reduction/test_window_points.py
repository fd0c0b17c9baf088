"""A day without a GM still tells what became of its windows."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from day_maker import day
from test_limits import judged_by_checks, plan, whole

from quietheel.page.plot import gm_section
from quietheel.page.work import Worked
from reduction.answer_json import answer_json
from reduction.day import reduce_day
from reduction.report.first_page import windows_in_words
from reduction.report.text import render_text
from reduction.types import Maybe
from reduction.window_points import again_in_words, points_of, used_again
from tests.examples_answer import example_answer


def test_windows_are_listed_without_a_gm() -> None:
    whole = example_answer()
    assert whole.gm.value is not None
    assert points_of(whole) == whole.gm.value.points
    none = replace(whole, gm=Maybe(None, "no moments"), day=day(np.array([0.0, 0.02]), 1e-10 * np.eye(2)))
    points = points_of(none)
    assert [p.label for p in points] == ["0", "1"] and points[1].heel == 0.02
    assert all(p.moment == whole.moment[p.label] and not p.used for p in points)
    assert all(np.isnan(p.moment) for p in points_of(replace(none, moment={})))
    assert points_of(replace(none, day=None)) == ()


def test_a_gm_on_rejected_windows_says_so_wherever_it_stands() -> None:
    """Sentence, terminal, report, JSON and page: the same windows, beside the figure."""
    made = reduce_day(judged_by_checks(whole(limits={}), "rejected", tuple("0123456789")))
    assert made.gm.value is not None
    again = used_again(made.day, made.gm.value.points)
    assert again == tuple(p.label for p in made.gm.value.points if p.used) and again
    said = again_in_words(again)
    assert said in made.headline
    assert (
        made.next_step.startswith("Repeat movement ") and "rests on windows that the checks rejected" in made.next_step
    )
    assert "rejected ones" in " ".join(render_text(made, plan()).split())
    assert any(line.startswith("Used although the checks rejected them:") for line in windows_in_words(made, plan()))
    assert answer_json(made)["gm_used_again"] == list(again)
    section = gm_section(Worked(heel=made.day, gm=made.gm.value, displacement=1e6))
    assert section["says"].startswith(said)
    sound = reduce_day(judged_by_checks(whole(), "rejected", ("0",)))
    assert sound.gm.value is not None and used_again(sound.day, sound.gm.value.points) == ()
    assert "used again" not in sound.headline and answer_json(sound)["gm_used_again"] == []
