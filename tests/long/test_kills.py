"""Killed at any moment, the next run ends as one that nobody disturbed."""

from pathlib import Path

import pytest

from tests.long.kills import DEMO, Runs, killed_runs

pytestmark = pytest.mark.long


def test_runs_killed_at_random_moments_end_as_a_whole_one(tmp_path: Path) -> None:
    figures = killed_runs(Runs(DEMO, tmp_path), kills=4, seed=3, cells=0)
    assert figures.faults == []
    assert sum(figures.by_signal.values()) == sum(figures.by_stage.values()) == 4
