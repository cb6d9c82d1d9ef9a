"""Swales of a planting block are spaced by the height of the block's own species."""

import numpy as np
import pytest
import shapely

from tests.plans.grounds import PlanGround

pytestmark = pytest.mark.slow


def test_a_block_is_spaced_and_planted_by_its_species(plan_ground: PlanGround) -> None:
    """Pears grow to 8 m in the table that ships, trees elsewhere to 4 m."""
    planned = plan_ground("plane, pears")
    swales = planned.swales
    middle = shapely.get_coordinates(shapely.centroid(np.asarray(swales.geometry.array)))
    inside = planned.east(middle) < 0.0
    assert inside.any()
    assert not inside.all()
    height = swales.spacing_tree_m * swales.slope_pct / 100.0
    assert height[inside].to_numpy() == pytest.approx(8.0)
    assert height[~inside].to_numpy() == pytest.approx(4.0)
    levels = np.unique(swales.level_m[inside].round(2))
    assert np.diff(levels) == pytest.approx(8.0, abs=0.1)
    trees = planned.layer("trees").merge(swales[["swale_id"]].assign(inside=inside))
    main = trees[trees.group.isin(["fruit", "nut", "timber"])]
    assert set(main.species[main.inside]) == {"Pyrus communis", "Malus domestica"}
