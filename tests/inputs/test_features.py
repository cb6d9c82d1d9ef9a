"""Features: every layer on one footing; nothing given is passed over in silence."""

from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from pyproj import CRS
from shapely import LineString, MultiPoint, Point, Polygon, box
from shapely.geometry.base import BaseGeometry

from soakline.inputs.feature_layers import FEATURE_LAYERS
from soakline.inputs.features import off_the_dem, read_features
from soakline.inputs.types import Features
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
HOUSE = box(WEST_M + 10, NORTH_M - 20, WEST_M + 20, NORTH_M - 10)
DRIVE = LineString([(WEST_M + 5, NORTH_M - 5), (WEST_M + 60, NORTH_M - 30)])


def read(path: Path) -> tuple[Features, list[str]]:
    features, findings = read_features(path, WORKING)
    return features, codes(findings)


def refusal(path: Path) -> str:
    with pytest.raises(InputRefused) as refused:
        read(path)
    return str(refused.value)


def test_layers_not_given_are_empty_frames_with_their_columns() -> None:
    features, findings = read_features(None, WORKING)
    assert findings == ()
    for name, layer in FEATURE_LAYERS.items():
        frame = getattr(features, name)
        assert len(frame) == 0
        assert list(frame.columns) == [*(c.name for c in layer.columns), "geometry"]
        assert CRS.from_user_input(frame.crs) == WORKING


def test_a_layer_has_the_columns_of_the_contract_and_plain_rows(tmp_path: Path) -> None:
    path = write_layer(
        tmp_path / "f.gpkg",
        "dams",
        [shapely.force_3d(HOUSE, 3.0), Point(WEST_M + 40, NORTH_M - 40)],
        Name=["top", None],
        spillway=[True, None],
        colour=["blue", "brown"],
    )
    features, told = read(path)
    assert told == []
    dams = features.dams
    assert list(dams.columns)[:3] == ["name", "spillway", "accepts_m3"]
    assert dams["release_swale"].isna().all()
    assert list(dams.index) == [0, 1]
    assert dams["name"].tolist() == ["top", None]
    assert dams["spillway"].tolist() == [True, pd.NA]
    assert dams["accepts_m3"].isna().all()
    assert dams["accepts_m3"].dtype == np.float64
    assert not dams.geometry.has_z.any()
    assert dams.geometry.iloc[0].equals(HOUSE)


def test_another_crs_is_brought_to_the_working_crs(tmp_path: Path) -> None:
    lonlat = gpd.GeoSeries([HOUSE], crs=UTM).to_crs(4326).to_list()
    features, _ = read(write_layer(tmp_path / "f.gpkg", "buildings", lonlat, crs="EPSG:4326"))
    assert features.buildings.geometry.iloc[0].symmetric_difference(HOUSE).area < 1e-3


def test_unknown_and_unused_layers_are_told(tmp_path: Path) -> None:
    path = write_layer(tmp_path / "f.gpkg", "bildings", [HOUSE])
    write_layer(path, "swales", [DRIVE], swale_id=["S001"])
    write_layer(path, "layer_styles", [HOUSE])
    _, findings = read_features(path, WORKING)
    assert codes(findings) == ["layer_not_read", "layer_not_read"]
    assert all(finding.severity == "caution" for finding in findings)
    told = {finding.layer: finding.message for finding in findings}
    assert '"buildings"' in told["bildings"]
    # A plan's own layer is one of given swales, not of ground without any.
    assert '"given_swales"' in told["swales"]


def test_a_column_that_is_nearly_right_is_told(tmp_path: Path) -> None:
    path = write_layer(tmp_path / "f.gpkg", "tracks", [DRIVE], width=[4.0])
    _, findings = read_features(path, WORKING)
    assert codes(findings) == ["column_not_read"]
    assert '"width_m"' in findings[0].message


def test_names_are_one_line_each(tmp_path: Path) -> None:
    path = write_layer(tmp_path / "f.gpkg", "tracks", [DRIVE], name=[" far\n track\x1b[2J "])
    features, _ = read(path)
    assert list(features.tracks.name) == [r"far\n track\x1b[2J"]


def test_invalid_geometry_is_mended_and_told(tmp_path: Path) -> None:
    w, s, e, n = HOUSE.bounds
    bow = Polygon([(w, s), (e, n), (e, s), (w, n)])
    nothing = LineString([(w, s), (w, s)])
    path = write_layer(tmp_path / "f.gpkg", "saline", [HOUSE, bow])
    write_layer(path, "tracks", [DRIVE, nothing])
    features, findings = read_features(path, WORKING)
    assert features.saline.geometry.is_valid.all()
    assert features.saline.geometry.area.tolist() == pytest.approx([100, 50])
    assert list(features.tracks.index) == [0]
    assert codes(findings) == ["feature_mended", "feature_mended"]
    assert "1 features of layer saline" in findings[0].message
    assert "dropped" in findings[1].message


def test_rows_without_geometry_are_left_out_and_told(tmp_path: Path) -> None:
    path = write_layer(
        tmp_path / "f.gpkg", "wells", [Point(WEST_M, NORTH_M), None], name=["a", "b"]
    )
    features, told = read(path)
    assert features.wells["name"].tolist() == ["a"]
    assert told == ["feature_without_geometry"]


@pytest.mark.parametrize(
    ("layer", "shape"),
    [
        ("buildings", DRIVE),
        ("tracks", HOUSE),
        ("landslip", Point(WEST_M, NORTH_M)),
        ("soils", DRIVE),
    ],
)
def test_geometry_of_the_wrong_kind_is_refused(
    tmp_path: Path, layer: str, shape: BaseGeometry
) -> None:
    message = refusal(write_layer(tmp_path / "f.gpkg", layer, [shape]))
    assert f"f.gpkg: property.features, layer {layer}" in message
    assert f"{shape.geom_type.removesuffix('String').lower()} geometry in feature 1" in message


def test_points_and_polygons_share_a_layer_where_both_are_allowed(tmp_path: Path) -> None:
    shapes = [HOUSE, MultiPoint([(WEST_M, NORTH_M)])]
    assert len(read(write_layer(tmp_path / "f.gpkg", "septic", shapes))[0].septic) == 2


@pytest.mark.parametrize(
    ("layer", "shape", "columns", "found", "allowed"),
    [
        ("tracks", DRIVE, {"width_m": ["wide"]}, '"wide"', "a number"),
        ("tracks", DRIVE, {"width_m": [True]}, '"True"', "a number"),
        ("tracks", DRIVE, {"width_m": [-1.0]}, "-1 m", "of at least 0 m"),
        ("dams", HOUSE, {"accepts_m3": [-5]}, "-5 m³", "of at least 0 m³"),
        ("dams", HOUSE, {"spillway": ["maybe"]}, '"maybe"', "true or false"),
        ("dams", HOUSE, {"spillway": [2]}, '"2"', "true or false"),
        ("soils", HOUSE, {"rock_m": [-0.1]}, "-0.1 m", "of at least 0 m"),
        ("soils", HOUSE, {"ksat_mm_h": [5001.0]}, "5001 mm/h", "at most 5000 mm/h"),
        ("planting_blocks", HOUSE, {"mature_tree_height_m": [0.0]}, "0 m", "over 0 m"),
        ("planting_blocks", HOUSE, {"mature_tree_height_m": [-8.0]}, "-8 m", "over 0 m"),
    ],
)
def test_columns_of_wrong_type_or_range_are_refused(
    tmp_path: Path,
    layer: str,
    shape: BaseGeometry,
    columns: dict[str, list[Any]],
    found: str,
    allowed: str,
) -> None:
    message = refusal(write_layer(tmp_path / "f.gpkg", layer, [shape], **columns))
    assert layer in message
    assert next(iter(columns)) in message
    assert f"found {found}" in message or f"holds {found}" in message
    assert allowed in message


def test_problems_of_all_layers_come_together(tmp_path: Path) -> None:
    path = write_layer(tmp_path / "f.gpkg", "tracks", [DRIVE, DRIVE], width_m=[-1.0, -2.0])
    write_layer(path, "buildings", [DRIVE])
    write_layer(path, "wells", [HOUSE], crs=None)
    with pytest.raises(InputRefused) as refused:
        read(path)
    assert len(refused.value.problems) == 4
    assert "no CRS" in str(refused.value)


def test_features_off_the_dem_are_told(tmp_path: Path) -> None:
    heights = tilted_m()
    heights[10, 10] = np.nan
    elevation, _ = read_dem(write_raster(tmp_path / "dem.tif", heights))
    on, hole = Point(WEST_M + 30.5, NORTH_M - 30.5), Point(WEST_M + 10.5, NORTH_M - 10.5)
    far = Point(WEST_M - 500, NORTH_M)
    path = write_layer(tmp_path / "f.gpkg", "safe_points", [on, far, hole])
    write_layer(path, "buildings", [HOUSE])
    features, _ = read(path)
    findings = off_the_dem(features, elevation)
    assert codes(findings) == ["feature_off_dem"]
    assert findings[0].layer == "safe_points"
    assert "feature 2, 3 of 3" in findings[0].message
    assert "takes no water" in findings[0].advice
