"""Trees of a plan where little rain falls: in the trench first, and what bears drought."""

import numpy as np
import pytest
import shapely
from scipy.spatial import cKDTree

from tests.plans.grounds import PlanGround

pytestmark = pytest.mark.slow


def test_the_trench_is_planted_all_along_and_the_mound_where_crowns_leave_room(
    plan_ground: PlanGround,
) -> None:
    planned = plan_ground("plane, dry")
    trees, ground = planned.layer("trees"), planned.layer("swale_ground")
    assert {"trench", "below", "uphill"} <= set(trees.band)
    place, crown = shapely.get_coordinates(trees.geometry.array), trees.crown_m.to_numpy()
    pairs = cKDTree(place).query_pairs(crown.max(), output_type="ndarray")
    apart = np.hypot(*(place[pairs[:, 0]] - place[pairs[:, 1]]).T)
    assert np.all(apart >= crown[pairs].mean(axis=1) - 1e-6)
    for swale in planned.swales.itertuples():
        inside = trees[(trees.swale_id == swale.swale_id) & (trees.band == "trench")]
        pond = ground[(ground.swale_id == swale.swale_id) & (ground.part == "ponded")]
        points = np.asarray(inside.geometry.array)
        assert shapely.contains(shapely.union_all(pond.geometry.array), points).all()
        # Sills and routes cost room at some places only.
        assert len(inside) >= 0.6 * swale.length_m / crown.max()
    # Pioneers and fixers of year 1 among them, as elsewhere.
    inside = trees[trees.band == "trench"]
    assert {"pioneer", "nitrogen fixer"} < set(inside.group)
    assert 0.4 < (inside.year == 1).mean() < 0.6
