"""The boundary: any polygons become one valid area; the ground under it must have heights."""

from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import shapely
from pyproj import CRS
from shapely import LineString, MultiPolygon, Point, Polygon, box
from shapely.geometry.base import BaseGeometry

from soakline.inputs.boundary import check_cover, read_boundary
from soakline.inputs.types import Property
from soakline.problems import InputRefused
from tests.inputs.files import (
    NORTH_M,
    UTM,
    WEST_M,
    codes,
    read_dem,
    tilted_m,
    write_layer,
    write_raster,
)

WORKING = CRS.from_user_input(UTM)


def at(west: float, south: float, east: float, north: float) -> Polygon:
    """A rectangle in m from the south-western corner of the 80 x 60 m DEM."""
    base = NORTH_M - 60
    return box(WEST_M + west, base + south, WEST_M + east, base + north)


def read(path: Path, layer: str = "") -> tuple[Property, list[str]]:
    land, findings = read_boundary(path, layer, "", WORKING)
    return land, codes(findings)


def test_polygons_of_a_layer_are_one_area_without_z(tmp_path: Path) -> None:
    shapes = [shapely.force_3d(at(5, 5, 20, 20), 7.0), MultiPolygon([at(30, 5, 50, 20)])]
    land, told = read(write_layer(tmp_path / "farm.gpkg", "land", shapes))
    assert land.name == "farm"
    assert land.area.geom_type == "MultiPolygon"
    assert land.area.area == pytest.approx(15 * 15 + 20 * 15)
    assert not land.area.has_z
    assert told == []


def test_the_layer_asked_for_is_read_else_the_first(tmp_path: Path) -> None:
    path = write_layer(tmp_path / "b.gpkg", "first", [at(5, 5, 20, 20)])
    write_layer(path, "second", [at(5, 5, 15, 15)])
    assert read(path)[0].area.area == pytest.approx(225)
    assert read(path, "second")[0].area.area == pytest.approx(100)
    with pytest.raises(InputRefused, match=r'boundary_layer.*"third".*"first", "second"'):
        read(path, "third")


@pytest.mark.parametrize("ending", ["shp", "geojson", "fgb"])
def test_other_formats_and_crs_are_brought_to_the_working_crs(tmp_path: Path, ending: str) -> None:
    frame = gpd.GeoDataFrame(geometry=[at(5, 5, 70, 50)], crs=UTM).to_crs(4326)
    frame.to_file(tmp_path / f"b.{ending}")
    land, told = read(tmp_path / f"b.{ending}")
    assert land.area.symmetric_difference(at(5, 5, 70, 50)).area < 0.01
    assert told == []


def test_a_boundary_that_crosses_itself_is_mended_and_told(tmp_path: Path) -> None:
    west, south, east, north = at(10, 10, 50, 50).bounds
    bow = Polygon([(west, south), (east, north), (east, south), (west, north)])
    path = write_layer(tmp_path / "b.gpkg", "b", [bow])
    land, findings = read_boundary(path, "", "", WORKING)
    assert land.area.is_valid
    assert land.area.area == pytest.approx(40 * 40 / 2)
    assert codes(findings) == ["boundary_mended"]
    assert "2 parts" in findings[0].message
    assert "800.0 m2" in findings[0].message


def test_polygons_that_overlap_count_once_and_that_is_told(tmp_path: Path) -> None:
    path = write_layer(tmp_path / "b.gpkg", "b", [at(0, 0, 30, 30), at(20, 0, 50, 30)])
    land, findings = read_boundary(path, "", "", WORKING)
    assert land.area.area == pytest.approx(50 * 30)
    assert "-300.0 m2" in findings[0].message


@pytest.mark.parametrize(
    ("shapes", "found"),
    [
        ([], "no polygon"),
        ([None], "no polygon"),
        ([Polygon()], "no polygon"),
        ([LineString([(WEST_M, NORTH_M), (WEST_M + 9, NORTH_M)])], "1 of 1 features of type line"),
        ([at(5, 5, 20, 20), Point(WEST_M, NORTH_M)], "1 of 2 features of type point"),
        ([at(5, 5, 5, 20)], "without area"),
    ],
)
def test_what_is_no_area_is_refused(
    tmp_path: Path, shapes: list[BaseGeometry | None], found: str
) -> None:
    path = write_layer(tmp_path / "b.gpkg", "b", shapes)
    with pytest.raises(InputRefused) as refused:
        read(path)
    assert found in str(refused.value)
    assert "b.gpkg: property.boundary" in str(refused.value)


def test_files_without_crs_or_sense_are_refused(tmp_path: Path) -> None:
    with pytest.raises(InputRefused, match="no CRS"):
        read(write_layer(tmp_path / "b.gpkg", "b", [at(5, 5, 20, 20)], crs=None))
    (tmp_path / "text.gpkg").write_text("no data", encoding="ascii")
    with pytest.raises(InputRefused, match="not a readable vector file"):
        read(tmp_path / "text.gpkg")
    with pytest.raises(InputRefused, match="no such file"):
        read(tmp_path / "absent.gpkg")
    virtual = '<OGRVRTDataSource><OGRVRTLayer name="b"/></OGRVRTDataSource>'
    (tmp_path / "virtual.gml").write_text(virtual, encoding="ascii")
    with pytest.raises(InputRefused, match="not a readable vector file"):
        read(tmp_path / "virtual.gml")
    whole = write_layer(tmp_path / "whole.gpkg", "b", [at(5, 5, 20, 20)]).read_bytes()
    (tmp_path / "cut.gpkg").write_bytes(whole[:20_000])
    with pytest.raises(InputRefused, match=r"cut\.gpkg"):
        read(tmp_path / "cut.gpkg")


def cover(tmp_path: Path, area: Polygon, holes: int = 0) -> tuple[Property, list[str]]:
    """Cover of an area on the 80 x 60 m DEM, with so many missing cells in its middle row."""
    heights = tilted_m()
    heights[30, 20 : 20 + holes] = np.nan
    elevation, _ = read_dem(write_raster(tmp_path / "dem.tif", heights))
    land, findings = check_cover(Property("p", MultiPolygon([area])), elevation, "b.gpkg")
    return land, codes(findings)


def test_a_property_on_valid_cells_is_covered(tmp_path: Path) -> None:
    assert cover(tmp_path, at(0, 0, 80, 60))[0].covered_pct == 100.0
    assert cover(tmp_path, at(5.2, 5.2, 5.4, 5.4))[0].covered_pct == 100.0
    assert cover(tmp_path, at(5, 5, 70, 50))[1] == []


def test_small_gaps_are_told_with_the_share(tmp_path: Path) -> None:
    land, told = cover(tmp_path, at(0, 0, 80, 60), holes=48)
    assert land.covered_pct == pytest.approx(99.0)
    assert told == ["boundary_not_covered"]


@pytest.mark.parametrize(
    ("area", "holes", "found"),
    [
        (at(0, 0, 80, 60), 49, "98.98 %"),
        (at(40, 10, 120, 50), 0, "50.00 %"),
        (at(200, 200, 300, 300), 0, "outside the DEM"),
    ],
)
def test_too_little_cover_is_refused(tmp_path: Path, area: Polygon, holes: int, found: str) -> None:
    with pytest.raises(InputRefused) as refused:
        cover(tmp_path, area, holes)
    message = str(refused.value)
    assert found in message
    assert "b.gpkg: property.boundary" in message
    assert f"{WEST_M:.1f} to {WEST_M + 80:.1f} m east" in message


def test_a_name_is_one_line_that_any_file_can_hold(tmp_path: Path) -> None:
    """XML has no place for a terminal's escape."""
    farm = write_layer(tmp_path / "farm.gpkg", "land", [at(5, 5, 20, 20)])
    land, _ = read_boundary(farm, "", "Two\nCreeks\x1b[2J é", WORKING)
    assert land.name == r"Two\nCreeks\x1b[2J é"
