"""What is written, read back by libraries that soakline does not write with."""

import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import ezdxf
import gpxpy
import numpy as np
import pandas as pd
import pyogrio
import pyproj
import pytest
import rasterio
import shapely
from lxml import etree

from soakline.grid import FloatArray
from soakline.setout.breaklines import EDGES, LIP, apron_outlines, breaklines
from soakline.setout.csv_pegs import write_csv
from soakline.setout.dxf import LAYERS, write_dxf
from soakline.setout.gpx import write_gpx
from soakline.setout.ground_tiff import dem_of, read_ground, write_finished_ground
from soakline.setout.landxml import NAMESPACE, write_landxml
from soakline.setout.plan import SetOutPlan
from soakline.setout.read import read_setout
from tests.setout.conftest import BENCHMARK, CROSSINGS, NEAR_ENDS, PlanFileOf, lean_of
from tests.terrain_analytic.ground import Height, plane

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


def over_ground_m3(surface: etree._Element, ground: Height) -> tuple[list[list[str]], FloatArray]:
    """Points of each face of a surface by id, and what lies over the true ground under it.

    Height over a plane is linear on each triangle: its volume is area times the mean.
    """
    points = {p.get("id"): numbers(p) for p in surface.iter("{*}P")}
    faces = [face.text.split() for face in surface.iter("{*}F")]
    assert all(len(face) == 3 and set(face) <= set(points) for face in faces)
    corners = np.array([[points[i] for i in face] for face in faces])
    u, v = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    area = np.abs(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]) / 2.0
    over = corners[:, :, 2] - ground(corners[:, :, 1], corners[:, :, 0])
    return faces, area * over.mean(axis=1)


def test_landxml_surfaces_hold_the_cut_and_the_fill(
    plan: SetOutPlan, plan_file: Path, landxml: etree._Element
) -> None:
    ground = plane(8.0, 180.0)
    earth = pyogrio.read_dataframe(plan_file, layer="earthworks").set_index("swale_id")
    for surface, swale in zip(landxml.findall(".//l:Surface", LAND), plan.swales, strict=True):
        faces, volume = over_ground_m3(surface, ground)
        # Eight edges a station, of which the lip is the fifth; then the mound's returns.
        ids = np.array([[int(i) - 1 for i in face] for face in faces])
        main = breaklines(swale).points.shape[:2]
        beyond = ids.min(axis=1) >= main[0] * main[1]
        uphill = ~beyond & (np.min(ids % len(EDGES), axis=1) >= LIP)
        own = earth.loc[swale.swale_id]
        assert -volume[uphill].sum() == pytest.approx(swale.cut_m3, rel=0.02)
        assert volume[~uphill & ~beyond].sum() == pytest.approx(own.mound_m3, rel=0.02)
        assert volume[beyond].sum() == pytest.approx(own.returns_m3, rel=0.1)


def test_where_spoil_is_spread_the_surface_is_the_trench_alone(
    plan: SetOutPlan, tmp_path: Path
) -> None:
    """The lip lies under its ground here: edges of the mound that is not may not turn back."""
    spread = [replace(swale, crest_height_m=0.0, crest_width_m=0.0) for swale in plan.swales]
    assert all(swale.beside_at(swale.chainage_m).above_m.min() > 0.01 for swale in spread)
    write_landxml(replace(plan, swales=spread), tmp_path / "plan.xml")
    root = etree.parse(tmp_path / "plan.xml").getroot()
    for surface, swale in zip(root.findall(".//l:Surface", LAND), spread, strict=True):
        _, volume = over_ground_m3(surface, plane(8.0, 180.0))
        assert -volume.sum() == pytest.approx(swale.cut_m3, rel=0.02)
        points = {p.get("id"): numbers(p)[:2] for p in surface.iter("{*}P")}
        faces = [face.text.split() for face in surface.iter("{*}F")]
        turns = [shapely.LinearRing([points[i] for i in face]).is_ccw for face in faces]
        assert len(set(turns)) == 1


@pytest.mark.parametrize("crossing", [*CROSSINGS, *NEAR_ENDS])
def test_surfaces_hold_cut_and_fill_where_tracks_meet_lips(
    plan_file_with: PlanFileOf, tmp_path: Path, crossing: str
) -> None:
    """All that lies over the true plane, and all under it; ramps run out on few stations."""
    path = plan_file_with(crossing)
    plan = read_setout(path)
    write_landxml(plan, tmp_path / "plan.xml")
    surfaces = etree.parse(tmp_path / "plan.xml").iter("{*}Surface")
    earth = pyogrio.read_dataframe(path, layer="earthworks").set_index("swale_id")
    refill = pyogrio.read_dataframe(path, layer="crossings").groupby("swale_id").refill_m3.sum()
    ground = plane(8.0, 180.0)
    for surface, swale in zip(surfaces, plan.swales, strict=True):
        _, volume = over_ground_m3(surface, ground)
        own, inside = earth.loc[swale.swale_id], refill.get(swale.swale_id, 0.0)
        heaped = own.mound_m3 + own.returns_m3 + own.track_fill_m3 - inside
        assert volume[volume > 0.0].sum() == pytest.approx(heaped, rel=0.01)
        dug = own.cut_m3 + own.cut_track_m3 - inside
        assert -volume[volume < 0.0].sum() == pytest.approx(dug, rel=0.025)


@pytest.mark.parametrize("crossing", ["ford", "causeway", "ford at 60", "causeway at 30"])
def test_surfaces_and_lines_follow_tracks(
    plan_file_with: PlanFileOf, tmp_path: Path, crossing: str
) -> None:
    """Over a ford's width the base stays level and no mound stands; a causeway has its crown."""
    path = plan_file_with(crossing)
    plan = read_setout(path)
    write_dxf(plan, tmp_path / "plan.dxf")
    drawn = ezdxf.readfile(tmp_path / "plan.dxf").modelspace()
    tracks = pyogrio.read_dataframe(path, layer="crossings").set_index("swale_id")
    assert len(drawn.query('POLYLINE[layer=="SOAKLINE-TRACKS"]')) == 2 * len(tracks)
    crests = [
        np.array([tuple(vertex.dxf.location) for vertex in line.vertices])
        for line in drawn.query('POLYLINE[layer=="SOAKLINE-MOUND-CREST"]')
    ]
    crossed = [swale for swale in plan.swales if swale.swale_id in tracks.index]
    assert len(crossed) >= 2
    for swale in crossed:
        lines, row = breaklines(swale), tracks.loc[swale.swale_id]
        inside = (lines.along_m >= row.start_m - 1e-3) & (lines.along_m <= row.end_m + 1e-3)
        assert inside.sum() >= 2
        heights = lines.points[inside][:, :, 2]
        if crossing.startswith("ford"):
            base = heights[:, [EDGES.index("base-downhill"), EDGES.index("base-uphill")]]
            assert np.abs(base - swale.base_level_m).max() <= MM
            assert np.abs(heights.max(axis=1) - row.level_m).max() < 0.9  # where ramps meet ground
        else:
            assert np.abs(heights[:, LIP] - row.level_m).max() <= MM
            assert heights.min() > swale.level_m - 0.5
        assert not lines.mounded[inside].any()
        west, east = (float(np.interp(at, swale.vertex_m, swale.lip[:, 0])) for at in
                      (row.start_m, row.end_m))  # fmt: skip
        for crest in crests:
            # The track goes east with the hill, where it is aslant, and the mounds' ends with it.
            uphill = crest[:, 1] - swale.lip[0, 1]
            along = crest[:, 0] - uphill * lean_of(crossing)
            over = (along > min(west, east) + 10 * MM) & (along < max(west, east) - 10 * MM)
            assert not (over & (np.abs(crest[:, 1] - swale.lip[0, 1]) < 10.0)).any()


def test_the_mound_s_returns_reach_ground_at_the_head_of_the_check_storm(plan: SetOutPlan) -> None:
    for swale in plan.swales:
        lines = breaklines(swale)
        assert len(lines.returns) == len(swale.ends()) > 0
        for corners in lines.returns:
            tip = corners[-1, 0]
            ground = plane(8.0, 180.0)(tip[:1], tip[1:2])[0]
            assert tip[2] == pytest.approx(ground, abs=0.005)
            assert tip[2] == pytest.approx(swale.level_m + swale.head_m, abs=0.005)


def test_daylight_edges_are_those_of_the_plan_s_polygons(plan: SetOutPlan, plan_file: Path) -> None:
    ground = pyogrio.read_dataframe(plan_file, layer="swale_ground")
    dug = ground[ground.part.isin(["ponded", "cut_slope"])].dissolve("swale_id").geometry
    for swale in plan.swales:
        lines = breaklines(swale)
        edge = shapely.points(lines.points[:, -1, :2])
        assert shapely.distance(edge, dug[swale.swale_id].boundary).max() < 0.01


def test_aprons_and_their_lining_are_drawn(plan: SetOutPlan, plan_file: Path) -> None:
    sills = pyogrio.read_dataframe(plan_file, layer="spillways")
    assert sills.apron_m2.to_numpy() == pytest.approx(
        (sills.sill_length_m * (sills.sill_width_m + sills.apron_length_m)).to_numpy()
    )
    outlines = [own for swale in plan.swales for own in apron_outlines(swale)]
    area = [shapely.Polygon(own[:, :2]).area for own in outlines]
    assert sorted(area) == pytest.approx(sorted(sills.apron_m2))
    amount = pyogrio.read_dataframe(plan_file, layer="quantities").set_index("item").amount
    lined = amount[[item for item in amount.index if item.startswith("sill and apron")]]
    assert lined.sum() == pytest.approx(sills.apron_m2.sum())


def test_what_is_filled_in_below_the_base_is_told_at_every_peg(
    plan: SetOutPlan, tmp_path: Path
) -> None:
    pegs = replace(plan.pegs, dig_level_m=plan.pegs.base_level_m - 0.1)
    write_csv(replace(plan, pegs=pegs, amendment="gravel"), tmp_path / "pegs.csv")
    told = pd.read_csv(tmp_path / "pegs.csv").description[1:]
    assert told.str.contains("for gravel").all()
    write_csv(plan, tmp_path / "pegs.csv")
    assert not pd.read_csv(tmp_path / "pegs.csv").description.str.contains(" dig ").any()


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


def test_a_dxf_is_the_same_in_any_process(plan_file: Path, tmp_path: Path) -> None:
    """Texts have another hash in each process, and sets of them another order."""
    written = []
    for seed in ("1", "4"):
        command = [sys.executable, "-m", "soakline", "setout", str(plan_file), "--format", "dxf"]
        folder = tmp_path / seed
        folder.mkdir()
        subprocess.run(
            [*command, "--out", str(folder), "--quiet"],
            env={**os.environ, "PYTHONHASHSEED": seed},
            check=True,
        )
        written += [path.read_bytes() for path in folder.iterdir()]
    assert written[0] == written[1]


def test_files_are_the_same_twice(plan: SetOutPlan, tmp_path: Path) -> None:
    for write in (write_csv, write_gpx, write_dxf, write_landxml):
        for name in ("a", "b"):
            write(plan, tmp_path / name)
        assert (tmp_path / "a").read_bytes() == (tmp_path / "b").read_bytes(), write.__name__
