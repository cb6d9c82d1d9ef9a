"""Bends of whole plans' lips on real ground."""

import numpy as np
import pytest
import shapely

from tests.plans.grounds import PlanGround

RADIUS_M = 6.0


@pytest.mark.parametrize("limit", ["3 m trees, 30 %", "6 m trees, 30 %", "8 m trees, 30 %"])
def test_real_lips_keep_the_radius(plan_ground: PlanGround, limit: str) -> None:
    """On 95 % of the length, by the turn over half the two chords' length."""
    length = tight = 0.0
    for line in plan_ground(f"hillside, {limit}").swales.geometry:
        chord = np.diff(shapely.get_coordinates(line), axis=0)
        size = np.hypot(*chord.T)
        heading = np.unwrap(np.arctan2(chord[:, 1], chord[:, 0]))
        half = 0.5 * (size[:-1] + size[1:])
        length += size.sum()
        tight += half[half < 0.99 * RADIUS_M * np.abs(np.diff(heading))].sum()
    assert tight <= 0.05 * length
