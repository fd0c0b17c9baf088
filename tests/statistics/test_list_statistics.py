"""Days on which her list changes for good between two windows: GM as good as without, windows kept."""

from __future__ import annotations

import numpy as np
import pytest
import suite


@pytest.mark.parametrize("kind", ["quiet+list", "people+list"])
def test_a_few_days_on_which_her_list_changes(kind: str) -> None:
    """Reduced: six days."""
    tally = suite.run("gaussian", kind, 6)
    assert np.sum(np.abs(tally.gm) < np.array(tally.gm_half)) >= 5
    assert tally.clean_rejected <= 0.1 * tally.clean


@pytest.mark.statistics
@pytest.mark.timeout(3600)
@pytest.mark.parametrize("generator", ["gaussian", "physical", "wander"])
def test_bars_of_gm_where_her_list_changes(generator: str) -> None:
    tally = suite.run(generator, "quiet+list", 60)
    assert np.sqrt(np.mean(np.square(tally.gm))) <= 0.003
    # Over 60 days a share of 0.95 falls below 0.90 once in thirty times.
    assert np.mean(np.abs(tally.gm) < np.array(tally.gm_half)) >= 0.90
    assert tally.clean_rejected <= 0.04 * tally.clean
