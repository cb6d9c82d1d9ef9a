"""Ponds, basins and pits in files to set out from, and in the finished ground."""

import sqlite3
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from shutil import copyfile

import ezdxf
import gpxpy
import numpy as np
import pandas as pd
import pyogrio
import pytest
import shapely
from lxml import etree
from rasterio.features import geometry_mask

from soakline.problems import InputRefused
from soakline.setout.csv_pegs import write_csv
from soakline.setout.dxf import write_dxf
from soakline.setout.gpx import write_gpx
from soakline.setout.landxml import NAMESPACE, write_landxml
from soakline.setout.long_sheet import long_sheets
from soakline.setout.plan import SetOutPlan
from soakline.setout.read import read_setout
from soakline.setout.sheet import drawing_style
from tests.setout.conftest import BENCHMARK
from tests.setout.test_drawings import texts_overlap
from tests.setout.test_volumes import before_and_after, differences

MM = 0.001
POINTS = ("swale_points", "swale_point_ground")


@pytest.fixture(scope="module")
def points(pointed_file: Path) -> pd.DataFrame:
    found = pyogrio.read_dataframe(pointed_file, layer="swale_points")
    assert sorted(found.kind) == sorted(["pond", "basin", "organic_pit"] * 2)
    return found


def test_each_floor_has_three_pegs_in_the_csv(
    pointed: SetOutPlan, points: pd.DataFrame, tmp_path: Path
) -> None:
    """Floors lie inside ramps of 1 in 3 (pond), of the batter (basin), or upright faces (pit)."""
    write_csv(pointed, tmp_path / "pegs.csv")
    table = pd.read_csv(tmp_path / "pegs.csv").set_index("point")
    assert len(table) == 1 + len(pointed.pegs.peg_id) + 3 * len(points)
    swales = {swale.swale_id: swale for swale in pointed.swales}
    for row in points.itertuples():
        own = table.loc[[f"{row.point_id}-{k}" for k in (1, 2, 3)]]
        middle = own.iloc[1]
        assert abs(middle.easting - row.geometry.x) <= MM
        assert abs(middle.northing - row.geometry.y) <= MM
        assert np.abs(own.level - row.floor_level_m).max() <= MM
        assert np.abs(own.above_benchmark - row.floor_level_m + BENCHMARK["level_m"]).max() <= MM
        trench = swales[row.swale_id].trench
        batter_m = trench.batter * trench.depth_m
        inset = {"pond": 3.0 * row.depth_m, "basin": batter_m, "organic_pit": 0.0}[row.kind]
        apart = np.hypot(np.diff(own.easting), np.diff(own.northing))
        assert np.abs(apart - (row.length_m / 2.0 - inset)).max() <= 2 * MM
        lip = shapely.LineString(swales[row.swale_id].lip)
        off = shapely.distance(lip, shapely.points(own[["easting", "northing"]].to_numpy()))
        added = row.width_m / 2.0 + trench.base_width_m / 2.0 if row.kind == "basin" else 0.0
        assert off == pytest.approx([batter_m + trench.base_width_m / 2.0 + added] * 3, abs=MM)
        told = {"pond": "POND", "basin": "BASIN", "organic_pit": "PIT"}[row.kind]
        assert all(text.startswith(f"{row.swale_id} {told} ") for text in own.description)
        assert all(f"floor {row.floor_level_m:.3f}" in text for text in own.description)
        assert not own.description.str.contains(",").any()


def test_gpx_and_landxml_have_the_pegs_of_the_csv(pointed: SetOutPlan, tmp_path: Path) -> None:
    write_csv(pointed, tmp_path / "pegs.csv")
    write_gpx(pointed, tmp_path / "pegs.gpx")
    write_landxml(pointed, tmp_path / "plan.xml")
    table = pd.read_csv(tmp_path / "pegs.csv")
    gpx = gpxpy.parse((tmp_path / "pegs.gpx").read_text(encoding="utf-8"))
    assert [point.name for point in gpx.waypoints] == list(table.point[1:])
    assert [point.description for point in gpx.waypoints] == list(table.description[1:])
    levels = np.array([point.elevation for point in gpx.waypoints])
    assert np.abs(levels - table.level[1:]).max() <= MM
    root = etree.parse(tmp_path / "plan.xml").getroot()
    places = root.findall(".//l:CgPoint", {"l": NAMESPACE})
    assert [point.get("name") for point in places] == list(table.point)
    found = np.array([[float(v) for v in str(point.text).split()] for point in places])
    assert np.abs(found - table[["northing", "easting", "level"]].to_numpy()).max() <= MM


def test_dxf_has_outlines_floors_and_their_levels(
    pointed: SetOutPlan, points: pd.DataFrame, pointed_file: Path, tmp_path: Path
) -> None:
    write_dxf(pointed, tmp_path / "plan.dxf")
    drawing = ezdxf.readfile(tmp_path / "plan.dxf")
    assert not drawing.audit().has_errors
    model = drawing.modelspace()
    ground = pyogrio.read_dataframe(pointed_file, layer="swale_point_ground")
    lines = model.query('LWPOLYLINE[layer=="SOAKLINE-POINTS"]')
    drawn = [shapely.Polygon([(x, y) for x, y, *_ in line.get_points()]) for line in lines]
    assert len(drawn) == len(ground)
    for outline, true in zip(drawn, ground.geometry, strict=True):
        assert shapely.hausdorff_distance(outline, true) <= MM
    floors = np.array(
        [tuple(p.dxf.location) for p in model.query('POINT[layer=="SOAKLINE-POINTS"]')]
    )
    middles = np.column_stack([points.geometry.x, points.geometry.y, points.floor_level_m])
    assert np.abs(floors[1::3] - middles).max() <= MM
    words = [text.dxf.text for text in model.query('TEXT[layer=="SOAKLINE-POINTS"]')]
    for text, row in zip(words, points.itertuples(), strict=True):
        assert text.startswith(row.point_id)
        assert f"floor {row.floor_level_m:.3f}" in text


def without(plan: SetOutPlan, *kinds: str) -> SetOutPlan:
    """The plan without points of some kinds."""
    return replace(
        plan,
        swales=tuple(
            replace(own, hollows=tuple(h for h in own.hollows if h.kind not in kinds))
            for own in plan.swales
        ),
    )


@pytest.mark.parametrize("kind", ["pond", "basin"])
def test_the_finished_ground_is_dug_by_the_cut_of_the_layer_to_2_percent(
    pointed: SetOutPlan, points: pd.DataFrame, kind: str
) -> None:
    plain = without(pointed, "pond", "basin", "organic_pit")
    others = {"pond": "basin", "basin": "pond"}[kind]
    own = without(pointed, others)
    for k, row in enumerate(points[points.kind == kind].itertuples()):
        swale = own.swales[k]
        assert swale.swale_id == row.swale_id
        cut, fill = differences(own, swale)
        before, fill_before = differences(plain, plain.swales[k])
        assert cut - before == pytest.approx(row.cut_m3, rel=0.02)
        assert fill == fill_before


def test_pits_are_filled_in_again(pointed: SetOutPlan) -> None:
    pits, none = without(pointed, "pond", "basin"), without(pointed, "pond", "basin", "organic_pit")
    one, other = (before_and_after(own, own.swales[0])[2] for own in (pits, none))
    assert pits.swales[0].hollows
    np.testing.assert_array_equal(one, other)


def test_floors_lie_at_their_level_and_nothing_is_dug_under_them(pointed: SetOutPlan) -> None:
    swale = pointed.swales[0]
    grid, _, finished = before_and_after(pointed, swale)
    kinds = {own.kind: own for own in swale.hollows}
    for kind in ("pond", "basin"):
        own = kinds[kind]
        dug = finished[~geometry_mask([own.ground], grid.shape, grid.transform)]
        assert dug.min() == pytest.approx(own.floor_level_m - swale.level_m, abs=MM)


def test_long_sections_name_points_and_no_text_lies_over_another(pointed: SetOutPlan) -> None:
    with drawing_style():
        for paper in ("A4", "A3"):
            sheets = long_sheets(pointed, paper)
            assert [texts_overlap(sheet) for sheet in sheets] == [[]] * len(sheets)
            told = [text.get_text() for sheet in sheets for text in sheet.axes.texts]
            assert told.count("pond P1") == told.count("basin P2") == told.count("pit P3") == 2


def dropped(path: Path, target: Path, *layers: str) -> Path:
    """A copy of a plan without some layers."""
    copyfile(path, target)
    # Readers see the layers that the contents of a GeoPackage name.
    with closing(sqlite3.connect(target)) as base, base:
        for layer in layers:
            base.execute("DELETE FROM gpkg_geometry_columns WHERE table_name = ?", (layer,))
            base.execute("DELETE FROM gpkg_contents WHERE table_name = ?", (layer,))
    return target


def test_plans_of_versions_without_points_are_set_out(pointed_file: Path, tmp_path: Path) -> None:
    old = read_setout(dropped(pointed_file, tmp_path / "old.gpkg", *POINTS))
    assert old.swales
    assert not any(swale.hollows for swale in old.swales)


def test_a_plan_with_one_of_the_two_layers_is_refused(pointed_file: Path, tmp_path: Path) -> None:
    half = dropped(pointed_file, tmp_path / "half.gpkg", POINTS[1])
    with pytest.raises(InputRefused, match="swale_point_ground"):
        read_setout(half)
