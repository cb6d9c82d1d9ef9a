"""Given lips: their levels, their sides, and what the rule's lines keep from them."""

import geopandas as gpd
import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely import LineString

from soakline.grid import FloatArray
from soakline.siting.given import GivenLips, given_lips
from soakline.siting.lines import LipLine, numbered
from soakline.siting.stations import stations_along, uphill_is_left
from soakline.terrain.condition import Terrain
from tests.siting.land import (
    NONE_GIVEN,
    excluded_of,
    features_of,
    layer,
    property_of,
    siteable_of,
    terrain_of,
)
from tests.terrain_analytic.ground import (
    CENTRE_EASTING_M,
    CENTRE_HEIGHT_M,
    CENTRE_NORTHING_M,
    plane,
    sample,
)

SLOPE, INTERVAL_M = 0.08, 8.0
NOWHERE = np.array([], dtype=object)


@pytest.fixture(scope="module")
def terrain() -> Terrain:
    """A plane of 8 % that falls south, 400 m by 400 m."""
    return terrain_of(*sample(plane(100.0 * SLOPE), width_m=400.0))


def level_line(level_m: float, from_m: float, to_m: float) -> FloatArray:
    north = CENTRE_NORTHING_M + (level_m - CENTRE_HEIGHT_M) / SLOPE
    return np.array([[CENTRE_EASTING_M + east, north] for east in (from_m, to_m)])


def lip(level_m: float, from_m: float = -40.0, to_m: float = 40.0, group: int = 0) -> LipLine:
    line = level_line(level_m, from_m, to_m)
    return LipLine(level_m, INTERVAL_M, line, False, group, "old", "built")


def close_to(terrain: Terrain, lips: GivenLips, line: LipLine) -> FloatArray:
    """Eastings of the stations of a line that stand too close to given lips."""
    area = property_of(terrain.grid)
    siteable = siteable_of(terrain, excluded_of(terrain, features_of(terrain.grid), area))
    stations = stations_along(line.coordinates)
    index = np.zeros(stations.along_m.size, dtype=np.int64)
    return stations.easting_m[lips.too_close([line], index, stations, siteable)]


@pytest.mark.parametrize(
    ("level_m", "close"),
    [(400.0, True), (393.0, True), (407.9, True), (392.0, False), (408.0, False), (384.0, False)],
)
def test_a_line_keeps_its_interval_above_and_below_as_far_as_the_given_one_reaches(
    terrain: Terrain, level_m: float, close: bool
) -> None:
    """The given lip is 80 m long on the level of 400 m; stations are 2 m apart."""
    line = LipLine(level_m, INTERVAL_M, level_line(level_m, -150.0, 150.0), False)
    found = close_to(terrain, GivenLips((lip(400.0),), NOWHERE), line) - CENTRE_EASTING_M
    if not close:
        assert found.size == 0
        return
    assert found.min() == pytest.approx(-40.0, abs=2.0)
    assert found.max() == pytest.approx(40.0, abs=2.0)
    assert np.diff(found).max() < 2.5
    assert close_to(terrain, NONE_GIVEN, line).size == 0


def test_beyond_a_drainage_line_lies_another_slope(terrain: Terrain) -> None:
    brook = np.array([LineString(level_line(398.0, -200.0, 0.0))], dtype=object)
    line = LipLine(396.0, INTERVAL_M, level_line(396.0, -150.0, 150.0), False)
    found = close_to(terrain, GivenLips((lip(400.0),), brook), line) - CENTRE_EASTING_M
    assert found.min() == pytest.approx(0.0, abs=2.0)
    assert found.max() == pytest.approx(40.0, abs=2.0)


@pytest.mark.parametrize("north_m", [0.0, -13.5])
def test_a_line_without_level_has_that_of_the_lowest_ground_and_its_uphill_side_left(
    terrain: Terrain, north_m: float
) -> None:
    """Falling 0.4 m from one end to the other; drawn from east to west."""
    ends = [(50.0, north_m + 5.0), (-50.0, north_m)]
    line = LineString([(CENTRE_EASTING_M + e, CENTRE_NORTHING_M + n) for e, n in ends])
    columns = {name: [np.nan] for name in ("level_m", "base_width_m", "depth_m", "batter")}
    frame = gpd.GeoDataFrame({"swale_id": [""], "state": ["fixed"], **columns}, geometry=[line])
    blocks = layer(terrain.grid, line.buffer(5.0), mature_tree_height_m=4.0, species="fig")
    lips, findings = given_lips(
        frame, terrain.ground_m, terrain.grid, INTERVAL_M, blocks, 1.0, NOWHERE
    )
    (own,) = lips.lips
    assert own.level_m == pytest.approx(CENTRE_HEIGHT_M + SLOPE * north_m, abs=0.0011)
    assert own.level_m <= CENTRE_HEIGHT_M + SLOPE * north_m + 1e-4
    assert own.coordinates.tolist() == shapely.get_coordinates(line)[::-1].tolist()
    assert [found.code for found in findings] == ["given_swale_turned"]
    assert uphill_is_left(own.coordinates, terrain.ground_m, terrain.grid)
    assert (own.group, own.interval_m, own.section) == (1, 4.0, None)


def test_a_line_drawn_with_a_vertex_every_few_centimetres_keeps_its_course(
    terrain: Terrain,
) -> None:
    angle = np.linspace(0.0, np.pi / 2.0, 2000)
    arc = 60.0 * np.column_stack([np.cos(angle), np.sin(angle)])
    line = LineString(arc + np.array([CENTRE_EASTING_M, CENTRE_NORTHING_M]))
    columns = {name: [np.nan] for name in ("level_m", "base_width_m", "depth_m", "batter")}
    frame = gpd.GeoDataFrame({"swale_id": ["arc"], "state": ["fixed"], **columns}, geometry=[line])
    empty = features_of(terrain.grid).planting_blocks
    (own,) = given_lips(
        frame, terrain.ground_m, terrain.grid, INTERVAL_M, empty, 1.0, NOWHERE
    )[0].lips  # fmt: skip
    assert len(own.coordinates) < 60
    assert line.hausdorff_distance(LineString(own.coordinates)) <= 0.0201


def test_levels_run_from_the_series_that_most_length_of_given_lip_is_on() -> None:
    lips = [lip(400.0, 0.0, 50.0), lip(384.0, 0.0, 40.0), lip(395.0, 0.0, 80.0),
            lip(390.0, 0.0, 300.0, group=1)]  # fmt: skip
    of_land = GivenLips(tuple(lips), NOWHERE)
    assert of_land.level_of(0, INTERVAL_M) == 400.0
    assert of_land.level_of(1, INTERVAL_M) == 390.0
    assert of_land.level_of(2, INTERVAL_M) is None


@given(
    ids=st.lists(st.sampled_from(["", "S001", "S002", "S007", "top"]), max_size=8).filter(
        lambda own: len([name for name in own if name]) == len({name for name in own if name})
    )
)
def test_numbers_take_no_id_that_is_given(ids: list[str]) -> None:
    lines = [LipLine(400.0, 8.0, np.zeros((2, 2)), False, 0, own) for own in ids]
    names = [line.swale_id for line in numbered(lines)]
    assert len(set(names)) == len(names)
    assert all(name == own for name, own in zip(names, ids, strict=True) if own)
    free = [f"S{k + 1:03d}" for k in range(20) if f"S{k + 1:03d}" not in ids]
    assert [name for name, own in zip(names, ids, strict=True) if not own] == free[: ids.count("")]
