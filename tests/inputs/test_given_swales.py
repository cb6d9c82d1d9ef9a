"""Given swales as they are read: one line a swale, each under its own id, levels and states."""

from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from pyproj import CRS
from shapely import LineString, MultiLineString, MultiPolygon, box

from soakline.findings import Finding
from soakline.inputs.features import read_features
from soakline.inputs.given_swales import ids_apart, off_the_land, one_on_another
from soakline.problems import InputRefused
from tests.inputs.files import NORTH_M, UTM, WEST_M, read_dem, tilted_m, write_layer, write_raster

WORKING = CRS.from_user_input(UTM)


def line(north_m: float, from_m: float = 5.0, to_m: float = 40.0) -> LineString:
    return LineString([(WEST_M + from_m, NORTH_M - north_m), (WEST_M + to_m, NORTH_M - north_m)])


def read(folder: Path, shapes: list[Any], **columns: Any) -> tuple[gpd.GeoDataFrame, list[Finding]]:
    path = write_layer(folder / "f.gpkg", "given_swales", shapes, **columns)
    features, findings = read_features(path, WORKING)
    return features.given_swales, list(findings)


def refusal(folder: Path, shapes: list[Any], **columns: Any) -> str:
    with pytest.raises(InputRefused) as refused:
        read(folder, shapes, **columns)
    return str(refused.value)


def test_the_first_piece_of_a_split_line_keeps_its_id_and_the_others_are_told(
    tmp_path: Path,
) -> None:
    ids = ["S001", "S002", "S001", None, "S001", "S001-2"]
    shapes = [line(5.0 * k) for k in range(1, 7)]
    lines, findings = read(tmp_path, shapes, swale_id=ids)
    assert list(lines.swale_id) == ["S001", "S002", "S001-3", "", "S001-4", "S001-2"]
    assert [(own.code, own.feature_id) for own in findings] == [
        ("given_swale_split", "S001-3"),
        ("given_swale_split", "S001-4"),
    ]


@given(st.lists(st.one_of(st.none(), st.sampled_from(["A", "A-2", "A-2-2", "B"])), max_size=9))
def test_ids_are_apart_and_stay_when_they_are_given_again(ids: list[str | None]) -> None:
    apart = ids_apart(ids)
    named = [own for own in apart if own]
    assert len(set(named)) == len(named) == sum(own is not None for own in ids)
    assert set(named) >= {own for own in ids if own}
    assert ids_apart([own or None for own in apart]) == apart


def test_parts_that_join_are_one_line_and_others_are_swales_of_their_own(tmp_path: Path) -> None:
    joined = MultiLineString([line(5.0, 5.0, 20.0), line(5.0, 20.0, 40.0)])
    broken = MultiLineString([line(9.0, 5.0, 20.0), line(9.0, 30.0, 40.0)])
    lines, _ = read(tmp_path, [joined, broken], swale_id=["one", "two"], state=["built", None])
    assert list(lines.swale_id) == ["one", "two", "two-2"]
    assert lines.geometry.length.tolist() == [35.0, 15.0, 10.0]
    assert list(lines.state) == ["built", "fixed", "fixed"]


def test_ids_may_be_whole_numbers(tmp_path: Path) -> None:
    lines, _ = read(tmp_path, [line(5.0), line(10.0), line(15.0)], swale_id=[12.0, None, 12.0])
    assert list(lines.swale_id) == ["12", "", "12-2"]


def test_a_level_is_the_columns_else_the_height_that_all_vertices_share(tmp_path: Path) -> None:
    level = [
        shapely.force_3d(line(5.0 * k), height) for k, height in ((1, 41.5), (2, 42.5), (3, 0))
    ]
    uneven = LineString([(*at, 40.0 + k) for k, at in enumerate(line(20.0).coords)])
    lines, _ = read(tmp_path, [*level, uneven], level_m=[40.25, None, None, None])
    assert lines.level_m.fillna(-1.0).tolist() == [40.25, 42.5, -1.0, -1.0]
    assert not shapely.has_z(lines.geometry.to_numpy()).any()


@pytest.mark.parametrize(
    ("shape", "columns", "names"),
    [
        (line(5.0, 5.0, 7.0), {}, ("a line of 2.00 m", "at least 3 m")),
        (line(5.0, 5.0, 5.0), {}, ("a line of 0.00 m", "at least 3 m")),
        (
            LineString([*line(5.0).coords, *line(9.0).coords[::-1], line(5.0).coords[0]]),
            {},
            ("closes or crosses itself", "two ends"),
        ),
        (line(5.0), {"state": ["dug"]}, ("state", '"dug"', '"built" or "fixed"')),
        (line(5.0), {"swale_id": ["a,b"]}, ("swale_id", '"a,b"', "letters, digits")),
        (line(5.0), {"level_m": [1e5]}, ("level_m", "100000 m", "at most 9000 m")),
        (line(5.0), {"depth_m": [4.0]}, ("depth_m", "4 m", "at least 0.1 and at most 3 m")),
        (line(5.0), {"batter": [0.1]}, ("batter", "0.1", "at least 0.25 and at most 10,")),
        (box(*line(5.0).buffer(3.0).bounds), {}, ("polygon geometry", "line geometry")),
    ],
)
def test_what_no_swale_can_be_is_refused(
    tmp_path: Path, shape: Any, columns: dict[str, Any], names: tuple[str, ...]
) -> None:
    told = refusal(tmp_path, [shape], **columns)
    for name in ("f.gpkg", "given_swales", *names):
        assert name in told


@pytest.mark.parametrize(
    ("shape", "words"),
    [
        (line(5.0, -60.0, -20.0), "outside the property"),
        (line(5.0, 20.0, 90.0), "off the DEM's valid cells"),
    ],
)
def test_a_line_off_the_land_is_refused(tmp_path: Path, shape: LineString, words: str) -> None:
    lines, _ = read(tmp_path, [line(5.0), shape], swale_id=["here", "there"])
    elevation, _ = read_dem(write_raster(tmp_path / "dem.tif", tilted_m(), crs=UTM))
    bounds = elevation.grid.bounds
    (problem,) = off_the_land(lines, MultiPolygon([box(*bounds)]), elevation, "f.gpkg")
    assert "there" in problem.key
    assert words in problem.found
    assert np.isfinite(bounds).all()


def test_lines_that_run_along_another_are_refused_each_once(tmp_path: Path) -> None:
    """A copy drawn the other way, and a whole left beside the two pieces that it was cut into."""
    copy, whole = line(5.0), line(20.0)
    beside = shapely.LineString(whole.coords).parallel_offset(0.2, "right")
    crossing = LineString([(WEST_M + 10.0, NORTH_M - 2.0), (WEST_M + 14.0, NORTH_M - 25.0)])
    shapes = [copy, copy.reverse(), line(20.0, 5.0, 20.0), whole, line(20.0, 20.0, 40.0),
              beside, crossing]  # fmt: skip
    ids = ["a", "b", "first", "whole", "second", "beside", "crossing"]
    lines, _ = read(tmp_path, shapes, swale_id=ids)
    told = one_on_another(lines, "f.gpkg")
    assert [(own.key.split(", ")[-1], own.found) for own in told] == [
        ("b", "a line that runs along a for 35 m"),
        ("whole", "a line that runs along first for 15 m"),
        ("second", "a line that runs along whole for 20 m"),
    ]
    assert all("within 0.1 m of another" in own.allowed for own in told)
