"""Set-out of diversion drains, read back from the files by other libraries."""

from pathlib import Path

import ezdxf
import geopandas as gpd
import gpxpy
import numpy as np
import pandas as pd
import pyogrio
import pytest
import shapely
from lxml import etree

from soakline.grid import FloatArray
from soakline.setout.csv_pegs import write_csv
from soakline.setout.dxf import write_dxf
from soakline.setout.gpx import write_gpx
from soakline.setout.landxml import write_landxml
from soakline.setout.plan import SetOutPlan
from soakline.setout.read import read_setout
from tests.setout.conftest import made_plan
from tests.terrain_analytic.ground import CENTRE_EASTING_M, CENTRE_NORTHING_M

MM = 0.001


@pytest.fixture(scope="module")
def drained_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A plan of the plane with a drain that bends once, 3 m after a multiple of 10 m."""
    places = [(90.0, 45.0), (27.0, 43.0), (-60.0, 30.0)]
    line = shapely.LineString([(CENTRE_EASTING_M + x, CENTRE_NORTHING_M + y) for x, y in places])
    drains = gpd.GeoDataFrame({"name": ["north"]}, geometry=[line])
    return made_plan(tmp_path_factory.mktemp("drained"), diversions=drains)


@pytest.fixture(scope="module")
def drained(drained_file: Path) -> SetOutPlan:
    return read_setout(drained_file)


@pytest.fixture(scope="module")
def drain(drained_file: Path) -> pd.Series:
    (row,) = pyogrio.read_dataframe(drained_file, layer="diversions").iloc
    return row


@pytest.fixture(scope="module")
def pegs(drained: SetOutPlan, tmp_path_factory: pytest.TempPathFactory) -> pd.DataFrame:
    file = tmp_path_factory.mktemp("csv") / "pegs.csv"
    write_csv(drained, file)
    table = pd.read_csv(file).set_index("point")
    return table[table.index.str.startswith("V")]


def _bed_at(drain: pd.Series, along_m: FloatArray) -> FloatArray:
    """The bed's centre line by hand: the plan's line, its depth lower."""
    places = shapely.get_coordinates(drain.geometry, include_z=True)
    at = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(places[:, :2], axis=0).T))])
    bed = np.column_stack([np.interp(along_m, at, axis) for axis in places.T])
    return bed - [0.0, 0.0, drain.depth_m]


def test_pegs_lie_on_the_bed_at_ends_bends_and_every_ten_metres(
    drain: pd.Series, pegs: pd.DataFrame
) -> None:
    line = shapely.force_2d(drain.geometry)
    place = pegs[["easting", "northing"]].to_numpy()
    along = shapely.line_locate_point(line, shapely.points(place))
    assert along[0] == pytest.approx(0.0, abs=MM)
    assert along[-1] == pytest.approx(drain.length_m, abs=2 * MM)
    assert np.diff(along).min() > 0.0
    assert np.diff(along).max() <= 10.0 + 2 * MM
    to_peg = shapely.distance(shapely.points(shapely.get_coordinates(line))[:, None],
                              shapely.points(place)[None, :])  # fmt: skip
    assert to_peg.min(axis=1).max() <= MM
    found = pegs[["easting", "northing", "level"]].to_numpy()
    assert np.abs(found - _bed_at(drain, along)).max() <= 2 * MM
    assert (np.diff(pegs["level"]) <= MM).all()


def test_words_tell_chainage_bed_and_section(drain: pd.Series, pegs: pd.DataFrame) -> None:
    first, last = pegs["description"].iloc[0], pegs["description"].iloc[-1]
    assert first.startswith(f"V1 DRAIN to {drain.swale_id} start ch 0.00 bed ")
    assert f" end ch {drain.length_m:.2f} " in last
    section = f"base {drain.base_width_m:.2f} depth {drain.depth_m:.2f} batter {drain.batter:g}"
    assert pegs["description"].str.endswith(section).all()
    assert not pegs["description"].str.contains(",").any()


def test_gpx_landxml_and_dxf_have_the_pegs_of_the_csv(
    drained: SetOutPlan, drain: pd.Series, pegs: pd.DataFrame, tmp_path: Path
) -> None:
    true = pegs[["easting", "northing", "level"]].to_numpy()
    write_gpx(drained, tmp_path / "p.gpx")
    gpx = gpxpy.parse((tmp_path / "p.gpx").read_text(encoding="utf-8"))
    own = [point for point in gpx.waypoints if point.type == "drain"]
    assert [point.name for point in own] == list(pegs.index)
    assert np.abs(np.array([point.elevation for point in own]) - true[:, 2]).max() <= MM
    assert gpx.tracks[-1].name == "V1"
    assert len(gpx.tracks) == len(drained.swales) + 1
    write_landxml(drained, tmp_path / "p.xml")
    marks = etree.parse(tmp_path / "p.xml").iter("{*}CgPoint")
    found = {m.get("name"): [float(v) for v in m.text.split()] for m in marks}
    assert np.abs(np.array([found[name] for name in pegs.index])[:, [1, 0, 2]] - true).max() <= MM
    write_dxf(drained, tmp_path / "p.dxf")
    model = ezdxf.readfile(tmp_path / "p.dxf").modelspace()  # type: ignore[attr-defined]
    points = model.query('POINT[layer=="SOAKLINE-DRAINS"]')
    assert np.abs(np.array([tuple(p.dxf.location) for p in points]) - true).max() <= MM
    (line,) = model.query('POLYLINE[layer=="SOAKLINE-DRAINS"]')
    bed = np.array([tuple(vertex.dxf.location) for vertex in line.vertices])
    assert bed[0] == pytest.approx(true[0], abs=MM)
    assert bed[-1] == pytest.approx(true[-1], abs=MM)
    assert len(bed) == len(shapely.get_coordinates(drain.geometry))
