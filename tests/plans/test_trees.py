"""Trees of whole plans, from the file: apart, on their bands, off what is kept clear, counted."""

import numpy as np
import pytest
import shapely
from scipy.spatial import cKDTree

from tests.plans.grounds import PlanGround

pytestmark = [
    pytest.mark.slow,
    pytest.mark.parametrize(
        "name",
        [
            "plane",
            "plane, spoil spread",
            "plane, wind",
            "plane, homestead",
            "cone",
            "valley, turned",
        ],
    ),
]


def test_no_two_trees_stand_nearer_than_their_crowns_allow(
    plan_ground: PlanGround, name: str
) -> None:
    trees = plan_ground(name).layer("trees")
    place, crown = shapely.get_coordinates(trees.geometry.array), trees.crown_m.to_numpy()
    pairs = cKDTree(place).query_pairs(crown.max(), output_type="ndarray")
    apart = np.hypot(*(place[pairs[:, 0]] - place[pairs[:, 1]]).T)
    assert len(pairs) > 0
    assert np.all(apart >= crown[pairs].mean(axis=1) - 1e-6)


def test_every_tree_stands_on_its_band_and_off_what_is_kept_clear(
    plan_ground: PlanGround, name: str
) -> None:
    planned = plan_ground(name)
    trees, ground = planned.layer("trees"), planned.layer("swale_ground")
    points = np.asarray(trees.geometry.array)
    assert shapely.contains(planned.layer("property").geometry[0], points).all()
    excluded = shapely.union_all(planned.layer("excluded_ground").geometry.array)
    assert not shapely.contains_properly(excluded, points).any()
    dug = shapely.union_all(ground.geometry[ground.part != "mound"].array)
    assert not shapely.contains_properly(dug, points).any()
    routes = shapely.union_all(planned.layer("overflow_routes").geometry.array)
    assert shapely.distance(routes, points).min() >= 2.0 - 1e-6
    lips = planned.swales.set_index("swale_id").geometry
    for (swale_id, band), own in trees.groupby(["swale_id", "band"]):
        works = ground[ground.swale_id == swale_id]
        if band == "mound":
            mound = shapely.union_all(works.geometry[works.part == "mound"].array)
            assert shapely.intersects(mound, np.asarray(own.geometry.array)).all()
            continue
        near = [shapely.force_2d(lips[swale_id]), *works.geometry]
        apart = shapely.distance(shapely.union_all(near), np.asarray(own.geometry.array))
        assert band in ("below", "uphill")
        assert apart.max() <= 2.0 + 1e-6


def test_no_trunk_of_the_mound_stands_beside_the_end_of_a_sill(
    plan_ground: PlanGround, name: str
) -> None:
    """Along the lip it keeps 2 m (planting.clearance_m) off the sill, whose middle is the point."""
    planned = plan_ground(name)
    trees, sills = planned.layer("trees"), planned.layer("spillways")
    lips = planned.swales.set_index("swale_id").geometry
    for sill in sills.itertuples():
        lip = shapely.force_2d(lips[sill.swale_id])
        on_mound = trees[(trees.swale_id == sill.swale_id) & (trees.band == "mound")]
        along = shapely.line_locate_point(lip, np.asarray(on_mound.geometry.array))
        middle = shapely.line_locate_point(lip, shapely.force_2d(sill.geometry))
        # A trunk stands downhill of the lip: at a bend its foot on the lip lies a little aside.
        assert np.all(np.abs(along - middle) >= sill.sill_length_m / 2.0 + 2.0 - 0.5)


def test_no_tree_stands_on_or_near_what_it_keeps_off(plan_ground: PlanGround, name: str) -> None:
    """Trunks keep 2 m off (planting.clearance_m) beside what setbacks exclude."""
    planned = plan_ground(name)
    points = np.asarray(planned.layer("trees").geometry.array)
    given = planned.form.features
    off_m = {"buildings": 10.0, "wells": 30.0, "services": 3.0 + 0.5, "saline": 0.0}
    off_m |= {"tracks": 2.0 + 2.0, "protected": 0.0}
    for layer, least in off_m.items():
        if layer in given:
            shapes = shapely.union_all(np.asarray(given[layer].geometry.array))
            # Round buffers are drawn with corners: 1 mm.
            assert shapely.distance(shapes, points).min() >= least - 1e-3, layer
    spillways = np.asarray(planned.layer("spillways").geometry.array)
    assert shapely.distance(shapely.union_all(spillways), points).min() >= 2.0 - 1e-6
    crossings = planned.layer("crossings")
    if len(crossings):
        middle = shapely.union_all(np.asarray(crossings.geometry.array))
        width = crossings.width_m.min()
        assert shapely.distance(middle, points).min() >= width / 2.0 + 2.0 - 0.1
    assert ("tracks" in given) == (len(crossings) > 0)
    drains = shapely.union_all(np.asarray(planned.layer("drainage_lines").geometry.array))
    if not drains.is_empty:
        assert shapely.distance(drains, points).min() >= 2.0 - 1e-3


def test_quantities_are_the_counts_of_the_layer(plan_ground: PlanGround, name: str) -> None:
    planned = plan_ground(name)
    trees = planned.layer("trees")
    amount = planned.layer("quantities").set_index("item").amount
    for (year, species), own in trees.groupby(["year", "species"]):
        assert amount[f"trees, year {year}, {species}"] == len(own)
    assert amount[amount.index.str.startswith("trees, year")].sum() == len(trees)
    assert amount["tree guards"] == len(trees)
    # A ring of 1 m, 0.1 m deep.
    assert amount["mulch round trees"] == pytest.approx(len(trees) * np.pi / 4.0 * 0.1)
    assert set(trees.year[trees.group.isin(["pioneer", "nitrogen fixer"])]) == {1}
    assert set(trees.year[trees.group.isin(["fruit", "nut", "timber"])]) == {3}


def test_sight_lines_run_from_tree_tops_to_the_lip_above(
    plan_ground: PlanGround, name: str
) -> None:
    planned = plan_ground(name)
    pairs, swales = planned.layer("tree_projection"), planned.swales.set_index("swale_id")
    assert len(pairs) > 0
    above, below = (swales.loc[pairs[own]] for own in ("swale_id", "below_id"))
    drop = above.level_m.to_numpy() - below.level_m.to_numpy()
    assert pairs.drop_m.to_numpy() == pytest.approx(drop)
    assert pairs.height_needed_m.to_numpy() == pytest.approx(drop)
    assert pairs.seen_m.to_numpy() - pairs.hidden_m.to_numpy() == pytest.approx(
        drop - pairs.tree_height_m.to_numpy()
    )
    lower, upper = (np.asarray(own.geometry.array) for own in (below, above))
    apart = shapely.distance(shapely.force_2d(lower), shapely.force_2d(upper))
    assert pairs.distance_m.to_numpy() == pytest.approx(apart)
    ends = shapely.get_coordinates(pairs.geometry.array, include_z=True).reshape(-1, 2, 3)
    top = below.level_m.to_numpy() + pairs.tree_height_m.to_numpy()
    assert ends[:, 0, 2] == pytest.approx(top)
    assert ends[:, 1, 2] == pytest.approx(above.level_m.to_numpy())
    # By the rule of tree height a line from the top meets the hill just at the swale above.
    assert np.median(pairs.seen_m) == pytest.approx(0.0, abs=0.05)
