"""What is written, read back by libraries that soakline does not write with."""

from dataclasses import replace
from pathlib import Path

import ezdxf
import gpxpy
import numpy as np
import pandas as pd
import pyproj
import pytest
import rasterio
from lxml import etree

from soakline.setout.breaklines import EDGES, LIP
from soakline.setout.csv_pegs import write_csv
from soakline.setout.dxf import LAYERS, write_dxf
from soakline.setout.gpx import write_gpx
from soakline.setout.ground_tiff import dem_of, read_ground, write_finished_ground
from soakline.setout.landxml import NAMESPACE, write_landxml
from soakline.setout.plan import SetOutPlan
from tests.setout.conftest import BENCHMARK
from tests.terrain_analytic.ground import plane

MM = 0.001
LAND = {"l": NAMESPACE}


def test_csv_has_the_surveyors_order_and_the_pegs_to_the_millimetre(
    plan: SetOutPlan, tmp_path: Path
) -> None:
    write_csv(plan, tmp_path / "pegs.csv")
    table = pd.read_csv(tmp_path / "pegs.csv")
    order = ["point", "northing", "easting", "level", "description", "above_benchmark"]
    assert list(table.columns) == order
    assert table.loc[0, ["northing", "easting", "level"]].tolist() == [
        BENCHMARK["northing"], BENCHMARK["easting"], BENCHMARK["level_m"],
    ]  # fmt: skip
    pegs = table.iloc[1:]
    assert tuple(pegs["point"]) == plan.pegs.peg_id
    for column, values in (
        ("northing", plan.pegs.northing),
        ("easting", plan.pegs.easting),
        ("level", plan.pegs.level_m),
        ("above_benchmark", plan.pegs.level_m - BENCHMARK["level_m"]),
    ):
        assert np.abs(pegs[column].to_numpy() - values).max() <= MM
    told = zip(plan.pegs.swale_id, pegs["description"], strict=True)
    assert all(text.startswith(name) for name, text in told)


def test_csv_without_a_benchmark_has_no_height_over_it(plan: SetOutPlan, tmp_path: Path) -> None:
    write_csv(replace(plan, benchmark=None), tmp_path / "pegs.csv")
    table = pd.read_csv(tmp_path / "pegs.csv")
    assert list(table.columns) == ["point", "northing", "easting", "level", "description"]
    assert len(table) == len(plan.pegs.peg_id)


def test_gpx_holds_every_peg_in_wgs_84(plan: SetOutPlan, tmp_path: Path) -> None:
    write_gpx(plan, tmp_path / "pegs.gpx")
    gpx = gpxpy.parse((tmp_path / "pegs.gpx").read_text(encoding="utf-8"))
    assert gpx.version == "1.1"
    assert [point.name for point in gpx.waypoints] == list(plan.pegs.peg_id)
    # The plan's CRS is EPSG 32755, UTM zone 55 south.
    to_degrees = pyproj.Transformer.from_crs("EPSG:32755", "EPSG:4326", always_xy=True)
    lon, lat = to_degrees.transform(plan.pegs.easting, plan.pegs.northing)
    assert np.abs(np.array([p.latitude for p in gpx.waypoints]) - lat).max() <= 1e-7
    assert np.abs(np.array([p.longitude for p in gpx.waypoints]) - lon).max() <= 1e-7
    assert np.abs(np.array([p.elevation for p in gpx.waypoints]) - plan.pegs.level_m).max() <= MM
    lips = [[len(s.points) for s in track.segments] for track in gpx.tracks]
    assert lips == [[len(swale.lip)] for swale in plan.swales]


def test_gpx_elements_stand_in_the_schemas_order(plan: SetOutPlan, tmp_path: Path) -> None:
    """gpxType, metadataType, wptType and trkType of GPX 1.1: xsd:sequence, order as here."""
    write_gpx(plan, tmp_path / "pegs.gpx")
    root = etree.parse(tmp_path / "pegs.gpx").getroot()
    orders = {
        "gpx": ["metadata", "wpt", "rte", "trk", "extensions"],
        "metadata": ["name", "desc", "author", "copyright", "link", "time", "keywords", "bounds"],
        "wpt": ["ele", "time", "magvar", "geoidheight", "name", "cmt", "desc", "src", "link",
                "sym", "type"],
        "trk": ["name", "cmt", "desc", "src", "link", "number", "type", "extensions", "trkseg"],
    }  # fmt: skip
    assert_ordered(root, orders)
    assert {etree.QName(e).namespace for e in root.iter()} == {"http://www.topografix.com/GPX/1/1"}


def assert_ordered(root: etree._Element, orders: dict[str, list[str]]) -> None:
    met = set()
    for element in root.iter():
        name = etree.QName(element).localname
        if name in orders:
            met.add(name)
            places = [orders[name].index(etree.QName(child).localname) for child in element]
            assert places == sorted(places), name
    assert met == set(orders)


def test_dxf_is_sound_and_holds_pegs_and_lips(plan: SetOutPlan, tmp_path: Path) -> None:
    write_dxf(plan, tmp_path / "plan.dxf")
    drawing = ezdxf.readfile(tmp_path / "plan.dxf")
    assert not drawing.audit().has_errors
    assert drawing.units == ezdxf.units.M
    assert set(LAYERS) <= {layer.dxf.name for layer in drawing.layers}
    model = drawing.modelspace()
    points = model.query('POINT[layer=="SOAKLINE-PEGS"]')
    found = np.array([tuple(point.dxf.location) for point in points])
    pegs = plan.pegs
    true = np.column_stack([pegs.easting, pegs.northing, pegs.level_m])
    assert np.abs(found - true).max() <= MM
    names = [t.dxf.text.split()[0] for t in model.query('TEXT[layer=="SOAKLINE-PEG-NAMES"]')]
    assert names == list(pegs.peg_id)
    lips = model.query('POLYLINE[layer=="SOAKLINE-LIP"]')
    assert all(line.is_3d_polyline for line in lips)
    for line, swale in zip(lips, plan.swales, strict=True):
        corners = np.array([tuple(vertex.dxf.location) for vertex in line.vertices])
        assert np.abs(corners[:, :2] - swale.lip).max() <= MM
        assert np.abs(corners[:, 2] - swale.level_m).max() <= MM
    for layer in ("BASE", "DAYLIGHT", "MOUND-CREST", "MOUND-TOE"):
        assert len(model.query(f'POLYLINE[layer=="SOAKLINE-{layer}"]'))


@pytest.fixture(scope="module")
def landxml(plan: SetOutPlan, tmp_path_factory: pytest.TempPathFactory) -> etree._Element:
    path = tmp_path_factory.mktemp("landxml") / "plan.xml"
    write_landxml(plan, path)
    return etree.parse(path).getroot()


def test_landxml_has_the_published_order_and_attributes(landxml: etree._Element) -> None:
    """LandXML-1.2 (landxml.org), its schema's documentation, from memory: the schema itself is not
    shipped here, so that this checks order and required attributes, not every type.
    """
    orders = {
        "LandXML": ["Units", "CoordinateSystem", "Project", "Application", "CgPoints",
                    "Alignments", "Surfaces"],
        "Alignment": ["CoordGeom", "Profile"],
        "Line": ["Start", "End"],
        "Profile": ["ProfSurf", "ProfAlign"],
        "Surface": ["SourceData", "Definition"],
        "Definition": ["Pnts", "Faces"],
    }  # fmt: skip
    assert_ordered(landxml, orders)
    required = {
        "LandXML": {"version", "date", "time"},
        "Metric": {"areaUnit", "linearUnit", "volumeUnit", "temperatureUnit", "pressureUnit"},
        "Alignment": {"name", "length", "staStart"},
        "Surface": {"name"},
        "Definition": {"surfType"},
        "P": {"id"},
        "Breakline": {"brkType"},
        "ProfSurf": {"name"},
        "ProfAlign": {"name"},
    }
    for name, attributes in required.items():
        elements = landxml.findall(f".//l:{name}", LAND) or [landxml]
        assert all(attributes <= set(element.attrib) for element in elements), name


def numbers(element: etree._Element) -> list[float]:
    return [float(word) for word in element.text.split()]


def test_landxml_gives_the_pegs_and_the_lips(plan: SetOutPlan, landxml: etree._Element) -> None:
    points = {p.get("name"): numbers(p) for p in landxml.findall(".//l:CgPoint", LAND)}
    assert points.pop("BM") == [
        BENCHMARK["northing"], BENCHMARK["easting"], BENCHMARK["level_m"],
    ]  # fmt: skip
    assert list(points) == list(plan.pegs.peg_id)
    true = np.column_stack([plan.pegs.northing, plan.pegs.easting, plan.pegs.level_m])
    assert np.abs(np.array(list(points.values())) - true).max() <= MM
    alignments = landxml.findall(".//l:Alignment", LAND)
    for own, swale in zip(alignments, plan.swales, strict=True):
        starts = [numbers(line.find("l:Start", LAND)) for line in own.iter("{*}Line")]
        ends = [numbers(line.find("l:End", LAND)) for line in own.iter("{*}Line")]
        assert np.abs(np.array([*starts, ends[-1]])[:, ::-1] - swale.lip).max() <= MM
        assert ends[:-1] == starts[1:]
        assert float(own.get("length")) == pytest.approx(swale.length_m, abs=MM)


def test_landxml_surfaces_hold_the_cut_and_the_fill(
    plan: SetOutPlan, landxml: etree._Element
) -> None:
    """Height over the true plane is linear on each triangle: its volume is area times the mean."""
    ground = plane(8.0, 180.0)
    for surface, swale in zip(landxml.findall(".//l:Surface", LAND), plan.swales, strict=True):
        points = {p.get("id"): numbers(p) for p in surface.iter("{*}P")}
        faces = [face.text.split() for face in surface.iter("{*}F")]
        assert all(len(face) == 3 and set(face) <= set(points) for face in faces)
        corners = np.array([[points[i] for i in face] for face in faces])
        u, v = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
        area = np.abs(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]) / 2.0
        over = corners[:, :, 2] - ground(corners[:, :, 1], corners[:, :, 0])
        volume = area * over.mean(axis=1)
        # Eight edges a station; the lip is the fifth.
        uphill = np.array([min((int(i) - 1) % len(EDGES) for i in face) for face in faces]) >= LIP
        assert -volume[uphill].sum() == pytest.approx(swale.cut_m3, rel=0.02)
        mounded = sum(end - start for start, end in swale.mounded_m)
        share = min(1.0, mounded / (0.8 * swale.length_m))
        assert volume[~uphill].sum() == pytest.approx(swale.fill_m3 * share, rel=0.02)


def test_finished_ground_is_a_geotiff_on_the_dems_grid(plan: SetOutPlan, tmp_path: Path) -> None:
    paths, why = dem_of(plan, ())
    assert why == ""
    ground = read_ground(plan, paths, 0)
    write_finished_ground(plan, ground, tmp_path / "finished.tif")
    with rasterio.open(paths[0]) as before, rasterio.open(tmp_path / "finished.tif") as after:
        assert (after.shape, after.transform, after.crs) == (
            before.shape, before.transform, before.crs,
        )  # fmt: skip
        change = after.read(1, masked=True) - before.read(1, masked=True)
        assert "locat" in after.tags()["TIFFTAG_IMAGEDESCRIPTION"]
    assert change.min() < -0.4
    assert change.max() > 0.2
    assert (np.abs(change) < 1e-6).mean() > 0.5


def test_a_dem_that_is_another_is_not_used(plan: SetOutPlan, tmp_path: Path) -> None:
    other = tmp_path / "dem.tif"
    other.write_bytes(b"something else")
    assert "not the DEM that the plan was made from" in dem_of(plan, (other,))[1]
    assert "name it with --dem" in dem_of(replace(plan, path=tmp_path / "x" / "p.gpkg"), ())[1]


def test_files_are_the_same_twice(plan: SetOutPlan, tmp_path: Path) -> None:
    for write in (write_csv, write_gpx, write_dxf, write_landxml):
        for name in ("a", "b"):
            write(plan, tmp_path / name)
        assert (tmp_path / "a").read_bytes() == (tmp_path / "b").read_bytes(), write.__name__
