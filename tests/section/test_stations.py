"""Figures told of a whole lip from those at its stations."""

from dataclasses import replace

import numpy as np
import pytest

from soakline.section.stations import Chainages
from tests.section.lips import straight


def test_the_mean_along_a_lip_does_not_hang_on_where_its_bends_are() -> None:
    """Nine of ten metres lie on 5 %; every peg but the first stands where it steepens to 15 %."""
    along = np.array([0.0, 90.0, 92.0, 94.0, 96.0, 98.0, 100.0])
    slope = np.array([0.05, 0.05, 0.15, 0.15, 0.15, 0.15, 0.15])
    lip = replace(straight(30.0), at=Chainages(np.array([0, 7]), along), rise=slope, fall=slope)
    assert lip.mean(lip.slope) == pytest.approx([(90 * 0.05 + 2 * 0.10 + 8 * 0.15) / 100.0])
