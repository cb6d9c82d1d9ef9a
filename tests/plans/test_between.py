"""Trees between the swales of a whole plan: on ground of their own, off what is kept clear."""

import numpy as np
import pytest
import shapely
from scipy.spatial import cKDTree

from soakline import __version__
from soakline.verify.plan import verify_plan
from tests.plans.grounds import PlanGround

pytestmark = pytest.mark.slow
NAME = "plane, between"


def test_trees_between_swales_stand_apart_and_off_what_is_kept_clear(
    plan_ground: PlanGround,
) -> None:
    planned = plan_ground(NAME)
    trees = planned.layer("trees")
    between = trees[trees.band == "between"]
    assert len(between) > 200
    assert {"mound", "below", "uphill"} < set(trees.band)
    place, crown = shapely.get_coordinates(trees.geometry.array), trees.crown_m.to_numpy()
    pairs = cKDTree(place).query_pairs(crown.max(), output_type="ndarray")
    apart = np.hypot(*(place[pairs[:, 0]] - place[pairs[:, 1]]).T)
    assert np.all(apart >= crown[pairs].mean(axis=1) - 1e-6)
    points = np.asarray(between.geometry.array)
    for layer, least in {
        "excluded_ground": 0.0, "swale_ground": 0.0, "overflow_routes": 2.0, "spillways": 2.0,
        "crossings": 2.0 + 2.0, "drainage_lines": 2.0,
    }.items():  # fmt: skip
        shapes = shapely.union_all(np.asarray(planned.layer(layer).geometry.array))
        if not shapes.is_empty:
            assert shapely.distance(shapes, points).min() >= least - 1e-3, layer
    given = planned.form.features
    for layer, least in {"buildings": 10.0, "wells": 30.0, "services": 3.5, "tracks": 4.0}.items():
        shapes = shapely.union_all(np.asarray(given[layer].geometry.array))
        assert shapely.distance(shapes, points).min() >= least - 1e-3, layer


def test_they_stand_on_rows_of_the_swale_that_their_ground_drains_to(
    plan_ground: PlanGround,
) -> None:
    """Trees of 4 m lay levels 4 m apart; rows stand in between, none higher than the next."""
    planned = plan_ground(NAME)
    trees, swales = planned.layer("trees"), planned.swales.set_index("swale_id")
    between = trees[trees.band == "between"]
    catchments = planned.layer("swale_catchments").set_index("swale_id").geometry
    for swale_id, own in between.groupby("swale_id"):
        assert shapely.distance(catchments[swale_id], np.asarray(own.geometry.array)).max() < 1e-6
    height = planned.ground_at(shapely.get_coordinates(between.geometry.array))
    over = height - swales.level_m[between.swale_id].to_numpy()
    assert over.min() > 0.0
    assert over.max() < 4.0
    assert set(between.group) <= {"mulch", "nitrogen fixer", "timber"}
    assert between.height_m.max() <= 4.0 + 1e-9


def test_they_are_counted_and_leave_those_beside_swales_as_they_were(
    plan_ground: PlanGround,
) -> None:
    planned, without = plan_ground(NAME), plan_ground("plane, homestead")
    trees, bare = planned.layer("trees"), without.layer("trees")
    amount = planned.layer("quantities").set_index("item").amount
    assert amount[amount.index.str.startswith("trees, year")].sum() == len(trees)
    beside = trees[trees.band != "between"].reset_index(drop=True)
    assert beside.drop(columns="geometry").equals(bare.drop(columns="geometry"))
    assert (beside.geometry == bare.geometry).all()
    assert "between" not in set(bare.band)


def test_a_plan_with_them_holds_what_it_says(plan_ground: PlanGround) -> None:
    lines = [
        line
        for line in verify_plan(plan_ground(NAME).path, (), __version__)
        if line.group == "trees"
    ]
    assert len(lines) == 3
    assert all(line.holds for line in lines)
