"""Whole plans' lips on real ground: bends kept, with ground, level and footprints as they must be.

However the land is cut up: at four heights of trees, and three limits of slope from the default on,
under which only specks of the hillside can carry a swale.
"""

import numpy as np
import pytest
import shapely

from tests.plans.grounds import HILLSIDE, PlanGround, along_m

pytestmark = pytest.mark.slow

RADIUS_M = 6.0
LOWEST_M, HIGHEST_M = -0.03, 0.15


@pytest.mark.parametrize("name", HILLSIDE)
def test_real_lips_keep_the_radius(plan_ground: PlanGround, name: str) -> None:
    """On 95 % of the length, by the turn over half the two chords' length."""
    length = tight = 0.0
    for line in plan_ground(name).swales.geometry:
        chord = np.diff(shapely.get_coordinates(line), axis=0)
        size = np.hypot(*chord.T)
        heading = np.unwrap(np.arctan2(chord[:, 1], chord[:, 0]))
        half = 0.5 * (size[:-1] + size[1:])
        length += size.sum()
        tight += half[half < 0.99 * RADIUS_M * np.abs(np.diff(heading))].sum()
    assert length > 100.0
    assert tight <= 0.05 * length


@pytest.mark.parametrize("name", HILLSIDE)
def test_real_lips_are_level_on_ground_inside_the_tolerance(
    plan_ground: PlanGround, name: str
) -> None:
    planned = plan_ground(name)
    for level, line in zip(planned.swales.level_m, planned.swales.geometry, strict=True):
        assert np.ptp(shapely.get_coordinates(line, include_z=True)[:, 2]) <= 0.001
        above = planned.ground_at(along_m(line, 0.25)) - level
        assert above.min() >= LOWEST_M
        assert above.max() <= HIGHEST_M


@pytest.mark.parametrize("name", HILLSIDE)
def test_footprints_on_real_ground_stand_apart(plan_ground: PlanGround, name: str) -> None:
    shapes = plan_ground(name).footprints.to_numpy()
    first, second = np.triu_indices(len(shapes), 1)
    assert first.size > 0
    assert shapely.distance(shapes[first], shapes[second]).min() >= 1.0 - 1e-6
