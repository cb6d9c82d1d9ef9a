"""Excluded ground, burnt lines, catchments and ends."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import ndimage

from soakline.siting.catchments import burn_lines, catchments_of, share_cut_off
from soakline.siting.ends import End, end_map
from soakline.siting.excluded import REASONS, buffered
from soakline.siting.spacing import tree_spacing_m, width_ratio
from soakline.terrain.compass import END
from soakline.terrain.flow import flow_over
from soakline.terrain.hollows import fill_hollows
from tests.siting.land import excluded_of, features_of, layer, property_of, terrain_of
from tests.terrain_analytic.ground import (
    CENTRE_EASTING_M,
    CENTRE_NORTHING_M,
    Height,
    centred_grid,
    hollow,
    plane,
    sample,
    spur,
    v_valley,
)

SOUTH = 6  # code of that neighbour

# Never on a cell's edge, where it is a matter of taste which cell a line passes.
places = st.integers(-14_500, 14_499).map(lambda thousandth: thousandth / 1000.0 + 0.00037)


@settings(deadline=None)
@given(st.lists(st.tuples(places, places), min_size=2, max_size=6, unique=True))
def test_burnt_lines_are_4_connected_and_hold_every_cell_passed(
    corners: list[tuple[float, float]],
) -> None:
    grid = centred_grid(30.0, 30.0)
    line = np.add(corners, (CENTRE_EASTING_M, CENTRE_NORTHING_M))
    burnt = burn_lines([line], grid)
    _, patches = ndimage.label(burnt)  # joined over edges only
    assert patches == 1
    along = shapely.segmentize(shapely.LineString(line), 0.05)
    row, column = grid.row_column(*shapely.get_coordinates(along).T)
    assert (burnt[np.rint(row).astype(int), np.rint(column).astype(int)] == 1).mean() > 0.999


@settings(deadline=None)
@given(st.integers(0, 2**32 - 1), st.floats(0.0, 180.0))
def test_no_water_slips_diagonally_through_a_line(seed: int, angle_deg: float) -> None:
    """Any ground, a line right across it: nothing gets from above to below unmet."""
    random = np.random.default_rng(seed)
    dem, grid = sample(plane(10.0, angle_deg), width_m=40.0)
    dem += random.normal(0.0, 0.3, dem.shape).astype(np.float32)
    filled = fill_hollows(dem)
    direction = flow_over(filled.filled_m, filled.valid, filled.domain).direction
    along = np.radians(angle_deg + 90.0)
    reach = 60.0 * np.array([np.sin(along), np.cos(along)])
    centre = np.array([CENTRE_EASTING_M, CENTRE_NORTHING_M])
    line = np.array([centre - reach, centre + random.uniform(-3, 3, 2), centre + reach])
    burnt = burn_lines([line], grid) > 0
    side, _ = ndimage.label(~burnt)
    rows, columns = np.nonzero((direction < END) & ~burnt)
    step = np.array([(0, 1), (-1, 1), (-1, 0), (-1, -1), (0, -1), (1, -1), (1, 0), (1, 1)])
    to = np.column_stack([rows, columns]) + step[direction[rows, columns]]
    arrives = side[to[:, 0], to[:, 1]]
    assert np.all((arrives == side[rows, columns]) | (arrives == 0))


@settings(deadline=None, max_examples=25)
@given(st.integers(0, 2**32 - 1), st.integers(1, 6))
def test_catchments_and_bypass_are_the_valid_area_exactly(seed: int, count: int) -> None:
    random = np.random.default_rng(seed)
    dem, grid = sample(plane(5.0, 200.0), width_m=50.0, cell_m=0.5)
    dem += random.normal(0.0, 0.2, dem.shape).astype(np.float32)
    dem[random.random(dem.shape) < 0.01] = np.nan
    filled = fill_hollows(dem)
    direction = flow_over(filled.filled_m, filled.valid, filled.domain).direction
    centre = [CENTRE_EASTING_M, CENTRE_NORTHING_M]
    lines = [random.uniform(-20.0, 20.0, (3, 2)) + centre for _ in range(count)]
    found = catchments_of(lines, direction, filled.valid, grid)
    valid_m2 = np.count_nonzero(filled.valid) * 0.25
    assert found.area_m2.sum() + found.bypass_m2 == valid_m2
    assert np.all(found.label[~filled.valid] == 0)
    own = [np.count_nonzero(found.label == i + 1) * 0.25 for i in range(count)]
    assert found.area_m2.tolist() == own


def test_share_cut_off_is_what_drains_along_ways_that_a_higher_rim_would_feed() -> None:
    """Water runs due south to two lines side by side; the rim stands over five columns of one.

    It would feed the cells below it and diagonally below it: six columns. Nine of the ten cells of
    each, the line's own being the tenth, are of the first line's ten columns. A rim that is level
    with the cells beside it feeds nothing.
    """
    direction = np.full((20, 20), SOUTH, np.uint8)
    direction[0] = direction[-1] = END
    surface = np.repeat(np.arange(20.0, 0.0, -1.0), 20).reshape(20, 20).astype(np.float32)
    surface[0] = surface[1]
    surface[0, :5] += 1.0
    grid = centred_grid(20.0, 20.0)
    _, middle = grid.easting_northing(np.array([10.0]), np.array([0.0]))
    west, _, east, _ = grid.bounds
    ends = [(west + 0.1, west + 9.9), (west + 10.1, east - 0.1)]
    lines = [np.array([[one, middle[0]], [other, middle[0]]]) for one, other in ends]
    found = catchments_of(lines, direction, np.ones((20, 20), dtype=bool), grid)
    assert found.area_m2.tolist() == [100.0, 100.0]
    assert share_cut_off(found, direction, surface).tolist() == [0.54, 0.0]
    assert share_cut_off(found, direction, np.ones_like(surface)).tolist() == [0.0, 0.0]


@pytest.mark.parametrize(
    ("form", "share"), [(plane(8.0), 1.0), (spur(8.0, 0.0, rounding_m=1.0), 0.0)]
)
def test_a_line_below_the_dem_s_upper_edge_is_cut_off_and_one_below_a_crest_is_not(
    form: Height, share: float
) -> None:
    """The spur's level crest runs through the middle from north to south."""
    dem, grid = sample(form, width_m=60.0)
    terrain = terrain_of(dem, grid)
    across = [[-20.0, -10.0], [20.0, -10.0]] if share else [[-10.0, 20.0], [-10.0, -20.0]]
    line = np.add(across, (CENTRE_EASTING_M, CENTRE_NORTHING_M))
    found = catchments_of([line], terrain.flow.direction, np.isfinite(dem), grid)
    assert share_cut_off(found, terrain.flow.direction, dem) == pytest.approx(share, abs=0.05)


def test_excluded_ground_is_a_partition_by_first_reason() -> None:
    """A well beside a protected wood on a slope with a track: each square metre counts once."""
    dem, grid = sample(plane(8.0), width_m=240.0)
    terrain = terrain_of(dem, grid)
    centre = shapely.Point(CENTRE_EASTING_M, CENTRE_NORTHING_M)
    wood = shapely.box(*centre.buffer(40.0).bounds)
    track = shapely.LineString(
        [(CENTRE_EASTING_M - 90.0, CENTRE_NORTHING_M), (CENTRE_EASTING_M + 90.0, CENTRE_NORTHING_M)]
    )
    features = features_of(
        grid,
        wells=layer(grid, centre),
        protected=layer(grid, wood),
        tracks=layer(grid, track, width_m=4.0),
    )
    area = property_of(grid)
    excluded = excluded_of(terrain, features, area, cross_tracks=False)
    by_reason = {reason: shape for reason, shape, _ in excluded.parts}
    assert list(by_reason) == [r for r in REASONS if r in by_reason]
    assert set(by_reason) == {"boundary", "well", "track", "protected"}
    union = shapely.union_all(list(by_reason.values()))
    assert union.area == pytest.approx(sum(m2 for *_, m2 in excluded.parts), rel=1e-9)
    # The well comes first, at its 30 m; the wood has what neither well nor track took.
    assert by_reason["well"].area == pytest.approx(np.pi * 30.0**2, rel=0.005)
    strip = track.buffer(5.0)
    left = shapely.difference(wood, shapely.union(strip, centre.buffer(30.0, quad_segs=64)))
    assert by_reason["protected"].area == pytest.approx(left.area, rel=0.01)


def test_a_setback_is_nowhere_cut_short() -> None:
    """Arcs are drawn by chords outside the true circle."""
    (ring,) = buffered(np.array([shapely.Point(0.0, 0.0)], dtype=object), 30.0)
    assert ring.exterior.distance(shapely.Point(0.0, 0.0)) >= 30.0 - 1e-9
    assert ring.area < np.pi * 30.0**2 * 1.005


def test_a_building_downhill_keeps_30_m_where_water_runs_on_to_it() -> None:
    dem, grid = sample(plane(8.0), width_m=200.0)
    terrain = terrain_of(dem, grid)
    house = shapely.box(
        CENTRE_EASTING_M - 6, CENTRE_NORTHING_M - 4, CENTRE_EASTING_M + 6, CENTRE_NORTHING_M + 4
    )
    features = features_of(grid, buildings=layer(grid, house))
    excluded = excluded_of(terrain, features, property_of(grid))
    shape = next(part for reason, part, _ in excluded.parts if reason == "building")
    above = shapely.Point(CENTRE_EASTING_M, CENTRE_NORTHING_M + 4.0 + 25.0)
    below = shapely.Point(CENTRE_EASTING_M, CENTRE_NORTHING_M - 4.0 - 15.0)
    beside = shapely.Point(CENTRE_EASTING_M + 6.0 + 25.0, CENTRE_NORTHING_M)
    assert shape.contains(above)
    assert not shape.contains(below)
    assert not shape.contains(beside)


def test_the_first_of_several_ends_holds_a_cell() -> None:
    """Swale over hollow over given point over drainage line; outside, the edge holds all."""
    dem, grid = sample(hollow(plane(1.0), 1.5, 15.0, 0.0, 0.0), width_m=120.0)
    terrain = terrain_of(dem, grid)
    assert terrain.hollows.kept.tolist() == [True]
    pond = int(terrain.hollows.of(0)[0])
    burnt = np.zeros(grid.shape, np.int32)
    burnt[60, 40:80] = 1
    given_point = np.array([shapely.Point(CENTRE_EASTING_M, CENTRE_NORTHING_M)], dtype=object)
    drainage = [np.arange(grid.columns) + 62 * grid.columns]
    nothing = np.array([], dtype=object)
    ends = end_map(
        burnt, 1, drainage, nothing, terrain.hollows, given_point, property_of(grid, 10.0),
        terrain.flow.direction, grid,
    )  # fmt: skip
    assert [end.kind for end in ends.ends] == [
        "swale", "hollow", "safe_point", "drainage_line", "property_edge",
    ]  # fmt: skip
    assert (ends.goal[60, 40:80] == 1).all()
    assert ends.goal.ravel()[pond] == 2
    assert ends.goal[62, 20] == 4
    assert ends.goal[62, 2] == 5
    assert ends.ends[4 - 1] == End("drainage_line", 0)
    assert (ends.goal[12:20, 12:20] == 0).all()


def test_tree_spacing_is_height_over_slope() -> None:
    assert tree_spacing_m(8.0, np.array([8.0, 10.0, 2.0])).tolist() == [100.0, 80.0, 400.0]


@pytest.mark.parametrize(
    ("rain_mm", "ratio"), [(1500.0, 3.0), (1200.0, 3.0), (725.0, 11.5), (250.0, 20.0), (90.0, 20.0)]
)
def test_gaps_are_3_to_20_widths_by_rain(rain_mm: float, ratio: float) -> None:
    assert width_ratio(rain_mm) == ratio


def test_a_twin_of_a_drainage_line_is_the_same_end() -> None:
    """A valley's axis between two columns of cells: both columns lead into the one line."""
    dem, grid = sample(v_valley(8.0, 2.0), width_m=400.0)
    terrain = terrain_of(dem, grid)
    assert len(terrain.drainage) == 1
    line = terrain.drainage[0]
    columns = set(np.unique(grid.row_column(line.easting_m, line.northing_m)[1]))
    assert columns | set(line.beside % grid.columns) == {199, 200}
    assert line.contributing_m2 > 0.95 * dem.size * 0.8
