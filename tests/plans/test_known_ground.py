"""Where lines lie and what drains to them, against closed form."""

import numpy as np
import pytest
import shapely

from soakline.grid import BoolArray
from tests.plans.grounds import PlanGround, Planned, along_m
from tests.terrain_analytic.ground import CENTRE_HEIGHT_M

PLANES = ("plane", "plane, turned", "plane, noisy")
VALLEYS = ("valley", "valley, turned", "valley, noisy")


def down_the_fall(planned: Planned) -> dict[float, float]:
    """Mean distance down the fall of all lips of each level."""
    places: dict[float, list[np.ndarray]] = {}
    for level, line in zip(planned.swales.level_m, planned.swales.geometry, strict=True):
        places.setdefault(level, []).append(planned.along_fall(along_m(line, 1.0)))
    return {level: float(np.concatenate(at).mean()) for level, at in places.items()}


@pytest.mark.parametrize("name", PLANES)
def test_swales_on_a_plane_stand_one_tree_height_apart(plan_ground: PlanGround, name: str) -> None:
    """8 m of tree on 8 % of slope: 100 m."""
    fall = down_the_fall(plan_ground(name))
    levels = sorted(fall, reverse=True)
    assert len(levels) >= 3
    assert np.diff(levels) == pytest.approx(-8.0, abs=1e-9)
    assert np.diff([fall[level] for level in levels]) == pytest.approx(100.0, abs=0.5)


def test_swales_spaced_by_runoff_on_a_plane_hold_the_design_storms(plan_ground: PlanGround) -> None:
    """Wider apart than 2 m of tree asks for, and yet none is short of room.

    No water comes from beyond the crest, which no spacing could hold.
    """
    planned = plan_ground("plane below a crest")
    fall = sorted(down_the_fall(planned).values())
    assert len(fall) >= 3
    apart = np.diff(fall)
    assert apart.min() > 2.0 / 0.08
    assert set(planned.swales.spacing_rule) == {"runoff"}
    assert "capacity_short" not in set(planned.layer("findings").code)
    assert (planned.swales.design_overflow_m3 == 0.0).all()


def test_where_spoil_is_spread_the_water_stands_at_the_sill(plan_ground: PlanGround) -> None:
    """No mound holds it: the sill is cut 0.10 m lower than the lip, and water is no higher."""
    planned = plan_ground("plane, spoil spread")
    swales = planned.swales.set_index("swale_id")
    sills = planned.layer("spillways").groupby("swale_id").sill_level_m.max()
    assert len(swales) >= 2
    assert swales.mound_height_m.max() == 0.0
    assert (swales.level_m - sills).to_numpy() == pytest.approx(0.10, abs=1e-9)
    depth = swales.depth_m - 0.10
    width = swales.base_width_m + 2.0 * swales.batter * depth
    assert swales.top_width_m.to_numpy() == pytest.approx(width.to_numpy())
    ponded = planned.layer("swale_catchments").set_index("swale_id").ponded_m2
    assert ponded.to_numpy() == pytest.approx((width * swales.length_m).to_numpy(), rel=0.01)
    # The ends are battered: a little less than the section times the length.
    section = depth * (swales.base_width_m + swales.batter * depth) * swales.length_m
    assert np.all((swales.capacity_m3 < section) & (swales.capacity_m3 > 0.95 * section))


def test_where_trees_ask_for_more_room_than_runoff_their_rule_binds(
    plan_ground: PlanGround,
) -> None:
    assert set(plan_ground("plane").swales.spacing_rule) == {"tree-height"}


@pytest.mark.parametrize("name", PLANES)
def test_lines_on_a_plane_are_straight(plan_ground: PlanGround, name: str) -> None:
    planned = plan_ground(name)
    for line in planned.swales.geometry:
        assert np.ptp(planned.along_fall(along_m(line, 1.0))) < 1.0
        assert len(line.coords) < 10 + line.length / 10.0


@pytest.mark.parametrize("name", PLANES)
def test_measured_spacing_is_that_between_neighbours(plan_ground: PlanGround, name: str) -> None:
    swales = plan_ground(name).swales
    # On turned ground the pegs beyond the end of a shorter line above see it at a slant.
    whole = swales[swales.length_m > 300.0].iloc[1:]
    whole = whole[whole.spacing_above_m.notna()]
    assert len(whole) >= 2
    assert whole.interval_above_m.to_numpy() == pytest.approx(8.0)
    assert whole.spacing_above_m.iloc[-1] == pytest.approx(100.0, abs=0.5)


@pytest.mark.parametrize("name", PLANES)
def test_a_plane_has_no_drainage_line(plan_ground: PlanGround, name: str) -> None:
    assert len(plan_ground(name).layer("drainage_lines")) == 0


def test_catchment_of_a_straight_line_is_its_length_times_the_spacing(
    plan_ground: PlanGround,
) -> None:
    swales = plan_ground("plane").swales
    assert swales.catchment_m2[1:].to_numpy() == pytest.approx(
        100.0 * swales.length_m[1:].to_numpy(), rel=0.01
    )


def whole_strips(planned: Planned) -> BoolArray:
    """Swales with a whole line above them: the strip between the two drains to them."""
    long = planned.swales.length_m.to_numpy() > 300.0
    below = long & np.roll(long, 1)
    below[0] = False
    assert below.sum() >= 2
    return below


def test_catchment_at_an_odd_angle_is_within_a_twentieth(plan_ground: PlanGround) -> None:
    planned = plan_ground("plane, turned")
    swales = planned.swales[whole_strips(planned)]
    assert swales.catchment_m2.to_numpy() == pytest.approx(
        100.0 * swales.length_m.to_numpy(), rel=0.05
    )


def test_catchment_on_noisy_ground_is_the_strip_above_to_a_twentieth(
    plan_ground: PlanGround,
) -> None:
    """And what noise leads on to a line of water that ran down past the ends of those above."""
    planned = plan_ground("plane, noisy")
    swales, below = planned.swales, whole_strips(planned)
    lips = shapely.force_2d(swales.geometry.to_numpy())
    strips = shapely.convex_hull(shapely.union(lips[below], lips[np.roll(below, -1)]))
    assert shapely.area(strips) == pytest.approx(100.0 * swales.length_m[below], rel=0.01)
    catchments = planned.layer("swale_catchments").set_index("swale_id").geometry
    own = shapely.intersection(catchments[swales.swale_id[below]].to_numpy(), strips)
    assert shapely.area(own) == pytest.approx(shapely.area(strips), rel=0.05)


def test_rings_on_a_cone_stand_80_m_apart_in_radius(plan_ground: PlanGround) -> None:
    """8 m of tree on 10 % of slope: 80 m. A chord dips inside its ring by centimetres only."""
    planned = plan_ground("cone")
    rings: dict[float, list[np.ndarray]] = {}
    for level, line in zip(planned.swales.level_m, planned.swales.geometry, strict=True):
        places = along_m(line, 1.0)
        radius = np.hypot(planned.east(places), planned.north(places))
        assert radius == pytest.approx((CENTRE_HEIGHT_M - level) / 0.10, abs=0.6)
        rings.setdefault(level, []).append(radius)
    mean = [float(np.concatenate(rings[level]).mean()) for level in sorted(rings, reverse=True)]
    assert len(mean) >= 3
    assert np.diff(mean) == pytest.approx(80.0, abs=0.5)
    measured = planned.swales.spacing_above_m.dropna()
    assert measured.to_numpy() == pytest.approx(80.0, abs=0.5)


def test_catchment_of_an_arc_is_its_share_of_the_annulus(plan_ground: PlanGround) -> None:
    planned = plan_ground("cone")
    arcs = planned.swales[planned.swales.spacing_above_m.notna()]
    assert len(arcs) >= 6
    radius = (CENTRE_HEIGHT_M - arcs.level_m) / 0.10
    annulus = (radius**2 - (radius - 80.0) ** 2) / (2.0 * radius)
    assert arcs.catchment_m2.to_numpy() == pytest.approx(
        (arcs.length_m * annulus).to_numpy(), rel=0.05
    )


@pytest.mark.parametrize("name", VALLEYS)
def test_a_valley_has_one_drainage_line_on_its_axis(plan_ground: PlanGround, name: str) -> None:
    planned = plan_ground(name)
    lines = planned.layer("drainage_lines")
    assert len(lines) == 1
    assert np.abs(planned.across_fall(along_m(lines.geometry[0], 1.0))).max() < 2.0
    assert lines.order_strahler[0] == 1
    # All water of the valley is in it where it leaves the DEM.
    assert lines.contributing_m2[0] > 0.5 * planned.grid.cells * planned.grid.cell_area_m2


@pytest.mark.parametrize("name", VALLEYS)
def test_no_footprint_comes_nearer_to_a_valley_s_axis_than_the_setback(
    plan_ground: PlanGround, name: str
) -> None:
    planned = plan_ground(name)
    drainage = shapely.union_all(planned.layer("drainage_lines").geometry.array)
    for shape in planned.footprints:
        assert shapely.distance(shape, drainage) >= 10.0 - 1e-6
        # The line is drawn through cell centres, so it may lie a cell beside the true axis.
        assert np.abs(planned.across_fall(shapely.get_coordinates(shape))).min() >= 8.0


@pytest.mark.parametrize("name", VALLEYS)
def test_a_valley_has_swales_on_both_sides_at_the_same_levels(
    plan_ground: PlanGround, name: str
) -> None:
    planned = plan_ground(name)
    sides: dict[float, set[bool]] = {}
    for level, line in zip(planned.swales.level_m, planned.swales.geometry, strict=True):
        across = planned.across_fall(along_m(line, 5.0))
        assert np.all(across > 0.0) or np.all(across < 0.0)
        sides.setdefault(level, set()).add(bool(across[0] > 0.0))
    assert all(both == {True, False} for both in sides.values())


@pytest.mark.parametrize("name", VALLEYS)
def test_every_route_in_a_valley_ends_in_its_drainage_line_or_a_swale(
    plan_ground: PlanGround, name: str
) -> None:
    planned = plan_ground(name)
    assert set(planned.layer("overflow_routes").to_kind) <= {"drainage_line", "swale"}
    assert "no_safe_end" not in set(planned.layer("findings").code)


def test_a_spur_has_lines_on_both_sides_of_its_crest(plan_ground: PlanGround) -> None:
    planned = plan_ground("spur")
    assert len(planned.layer("drainage_lines")) == 0
    lips = shapely.union_all(planned.swales.geometry.array)
    across = (
        planned.across_fall(along_m(lips, 1.0))
        if lips.geom_type == "LineString"
        else (planned.across_fall(shapely.get_coordinates(shapely.segmentize(lips, 1.0))))
    )
    assert (across < -20.0).mean() == pytest.approx((across > 20.0).mean(), abs=0.2)
    assert (across < -20.0).mean() > 0.2


def test_a_saddle_has_lines_on_both_hills_and_none_across_a_drainage_line(
    plan_ground: PlanGround,
) -> None:
    planned = plan_ground("saddle")
    east = np.array([planned.east(along_m(line, 5.0)).mean() for line in planned.swales.geometry])
    assert (east < -30.0).any()
    assert (east > 30.0).any()
    for line in planned.layer("drainage_lines").geometry:
        assert not shapely.intersects(planned.swales.geometry.array, line).any()


def test_all_hillsides_take_the_same_levels(plan_ground: PlanGround) -> None:
    for name in ("saddle", "knoll", "spur", "cone"):
        levels = plan_ground(name).swales.level_m
        steps = (levels.max() - levels) / 8.0
        assert steps.to_numpy() == pytest.approx(np.rint(steps.to_numpy()), abs=1e-6), name
