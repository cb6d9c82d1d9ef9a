"""What a stranger's file may not do: reach further, run on, or grow."""

import shutil
import sqlite3
import struct
import threading
from collections.abc import Iterator
from contextlib import closing
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path

import numpy as np
import pyogrio
import pytest
import rasterio
import shapely
from pyproj import CRS

from soakline.csv_cells import plain_cell
from soakline.inputs.boundary import read_boundary
from soakline.inputs.elevation import plan_elevation, read_elevation
from soakline.inputs.features import read_features
from soakline.problems import InputRefused
from soakline.setout.read import read_setout
from tests.hostile.folder import make_folder
from tests.inputs.files import NORTH_M, UTM, WEST_M, tilted_m, write_layer, write_raster

LAND = shapely.box(WEST_M, NORTH_M - 40, WEST_M + 40, NORTH_M)
ENDLESS = "WITH RECURSIVE n(x) AS (SELECT 1 UNION ALL SELECT x + 1 FROM n) SELECT x FROM n"


@pytest.fixture
def asked() -> Iterator[list[str]]:
    """Paths that were asked of a server on this machine; its address is the first."""
    paths: list[str] = []

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            paths.append(self.path)
            self.send_error(404)

        do_HEAD = do_GET  # noqa: N815 - the server's own names

        def log_message(self, *_: object) -> None:
            pass

    with HTTPServer(("127.0.0.1", 0), Handler) as server:
        thread = threading.Thread(target=server.serve_forever, daemon=True)
        thread.start()
        paths.append(f"http://127.0.0.1:{server.server_port}")
        yield paths
        server.shutdown()


def boundary(path: Path) -> None:
    read_boundary(path, "", "", CRS.from_user_input(UTM))


def refusal(path: Path) -> str:
    with pytest.raises(InputRefused) as refused:
        boundary(path)
    return str(refused.value)


def run_sql(path: Path, *statements: str) -> Path:
    with closing(sqlite3.connect(path)) as database:
        for statement in statements:
            database.execute(statement)
        database.commit()
    return path


def triggers(path: Path) -> list[str]:
    with closing(sqlite3.connect(path)) as database:
        told = database.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")
        return [f'"{name}"' for (name,) in told]


@pytest.fixture
def farm(tmp_path: Path) -> Path:
    return write_layer(tmp_path / "farm.gpkg", "land", [LAND])


def test_drivers_that_name_further_files_are_not_loaded() -> None:
    with rasterio.Env() as environment:
        drivers = {*environment.drivers(), *pyogrio.list_drivers()}
    assert not drivers & {"VRT", "OGR_VRT", "WMS", "WFS", "HTTP", "GTI", "STACTA", "SQLite"}
    assert {"GTiff", "COG", "GPKG", "GeoJSON"} <= drivers


@pytest.mark.parametrize("ending", [".msk", ".ovr", ".aux.xml"])
def test_a_file_beside_a_dem_sends_nobody_to_an_address(
    tmp_path: Path, asked: list[str], ending: str
) -> None:
    dem = write_raster(tmp_path / "dem.tif", tilted_m())
    address = f"/vsicurl/{asked[0]}/other.tif"
    overview = f'<MDI key="OVERVIEW_FILE">{address}</MDI>'
    text = f'<PAMDataset><Metadata domain="OVERVIEWS">{overview}</Metadata></PAMDataset>'
    if ending != ".aux.xml":
        flags = '<Metadata><MDI key="INTERNAL_MASK_FLAGS_1">2</MDI></Metadata>'
        source = f"<SimpleSource><SourceFilename>{address}</SourceFilename></SimpleSource>"
        band = f'<VRTRasterBand dataType="Byte" band="1">{source}</VRTRasterBand>'
        text = f'<VRTDataset rasterXSize="80" rasterYSize="60">{flags}{band}</VRTDataset>'
    dem.with_name(dem.name + ending).write_text(text, encoding="utf-8")
    elevation, _ = read_elevation(plan_elevation([dem], None))
    assert np.array_equal(elevation.dem_m, tilted_m())
    assert asked[1:] == []


def test_the_libraries_open_no_address_even_when_told_to(asked: list[str]) -> None:
    with pytest.raises(rasterio.errors.RasterioIOError):
        rasterio.open(f"/vsicurl/{asked[0]}/dem.tif")
    assert asked[1:] == []


@pytest.mark.parametrize("ending", [".gml", ".kml", ".json"])
def test_a_virtual_file_behind_much_white_space_is_refused(tmp_path: Path, ending: str) -> None:
    file = tmp_path / f"land{ending}"
    file.write_text(" " * 5000 + "<OGRVRTDataSource></OGRVRTDataSource>", encoding="utf-8")
    assert "not a readable vector file" in refusal(file)


@pytest.mark.parametrize("ending", [".gml", ".kml"])
def test_xml_with_a_document_type_is_refused(tmp_path: Path, ending: str) -> None:
    laughs = "".join(f'<!ENTITY l{k} "{f"&l{k - 1};" * 10}">' for k in range(1, 10))
    root = "kml" if ending == ".kml" else "FeatureCollection"
    text = f'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY l0 "ha">{laughs}]><{root}>&l9;</{root}>'
    (tmp_path / f"land{ending}").write_text(text, encoding="utf-8")
    assert "not a readable vector file" in refusal(tmp_path / f"land{ending}")


@pytest.mark.parametrize("driver", ["GML", "KML", "GeoJSON", "FlatGeobuf", "ESRI Shapefile"])
def test_plain_files_of_every_allowed_format_are_read(tmp_path: Path, driver: str) -> None:
    endings = {"GML": "gml", "KML": "kml", "GeoJSON": "geojson", "FlatGeobuf": "fgb"}
    source = write_layer(tmp_path / "farm.gpkg", "land", [LAND], name=["x"])
    frame = pyogrio.read_dataframe(source)
    if driver in ("KML", "GeoJSON"):
        frame = frame.to_crs(4326)
    file = tmp_path / f"land.{endings.get(driver, 'shp')}"
    pyogrio.write_dataframe(frame, file, driver=driver)
    area, _ = read_boundary(file, "", "", CRS.from_user_input(UTM))
    assert area.area.area == pytest.approx(1600.0, rel=1e-4)


def test_an_endless_view_is_refused(farm: Path) -> None:
    run_sql(farm, f"CREATE VIEW v AS {ENDLESS} WHERE x < 0")
    assert 'the view "v", which cannot be run safely' in refusal(farm)


def test_views_in_a_circle_are_refused(farm: Path) -> None:
    run_sql(farm, "CREATE VIEW a AS SELECT * FROM b", "CREATE VIEW b AS SELECT * FROM a")
    assert "which cannot be run safely" in refusal(farm)


def test_a_view_in_the_place_of_a_library_table_is_refused(farm: Path) -> None:
    run_sql(
        farm,
        "ALTER TABLE gpkg_contents RENAME TO gone",
        f"CREATE VIEW gpkg_contents AS SELECT * FROM gone, ({ENDLESS})",
    )
    assert 'the view "gpkg_contents" in the place of a table' in refusal(farm)


def test_a_column_that_is_reckoned_when_read_is_refused(farm: Path) -> None:
    run_sql(farm, "ALTER TABLE land ADD COLUMN much AS (zeroblob(900000000))")
    assert 'reckoned columns in the table "land"' in refusal(farm)


def test_a_harmless_view_and_a_trigger_stop_nothing(farm: Path) -> None:
    before = run_sql(
        farm,
        "CREATE VIEW large AS SELECT * FROM land WHERE ST_MinX(geom) > 0",
        "CREATE TRIGGER t AFTER INSERT ON land BEGIN DELETE FROM land; END",
    ).read_bytes()
    boundary(farm)
    assert farm.read_bytes() == before


def test_names_of_layers_are_never_part_of_a_statement(tmp_path: Path) -> None:
    farm = write_layer(tmp_path / "farm.gpkg", "plain", [LAND])
    name = "'../x\"; DROP TABLE gpkg_contents; --'"
    run_sql(
        farm,
        "DROP TABLE rtree_plain_geom",
        "DELETE FROM gpkg_extensions",
        f"UPDATE gpkg_contents SET table_name = {name}",
        f"UPDATE gpkg_geometry_columns SET table_name = {name}",
        *(f"DROP TRIGGER {trigger}" for trigger in triggers(farm)),
        'ALTER TABLE plain RENAME TO "../x""; DROP TABLE gpkg_contents; --"',
    )
    boundary(farm)
    features, findings = read_features(farm, CRS.from_user_input(UTM))
    assert [finding.code for finding in findings] == ["layer_not_read"]
    assert len(features.buildings) == 0
    boundary(farm)
    assert [p.name for p in tmp_path.iterdir()] == ["farm.gpkg"]


def claiming(path: Path, rows: int, columns: int, strip_rows: int = 1) -> Path:
    """A small file that says that it is large: 1 strip, deflate."""
    write_raster(path, tilted_m(), compress="deflate", blockysize=60, tiled=False)
    data = bytearray(path.read_bytes())
    start = struct.unpack_from("<I", data, 4)[0]
    wanted = {256: columns, 257: rows, 278: strip_rows}
    for k in range(struct.unpack_from("<H", data, start)[0]):
        at = start + 2 + 12 * k
        tag = struct.unpack_from("<H", data, at)[0]
        if tag in wanted:
            struct.pack_into("<HII", data, at + 2, 4, 1, wanted[tag])
    path.write_bytes(data)
    return path


@pytest.mark.parametrize(
    ("rows", "columns", "strip_rows"),
    [(60_000, 60_000, 60_000), (30_000, 30_000, 30_000), (20_000_000, 3, 20_000_000)],
)
def test_a_dem_that_claims_too_much_is_refused_before_a_cell_is_read(
    tmp_path: Path, rows: int, columns: int, strip_rows: int
) -> None:
    dem = claiming(tmp_path / "dem.tif", rows, columns, strip_rows)
    with pytest.raises(InputRefused) as refused:
        plan_elevation([dem], None)
    assert "property.dem" in str(refused.value)
    assert "at most" in str(refused.value)


@pytest.mark.parametrize("number", [float("nan"), float("inf"), 5e-324, -5e-324])
@pytest.mark.parametrize("spoilt", [(1.0, 1.0, 0.0), (0.0, 0.0, 0.0, WEST_M, NORTH_M, 0.0)])
def test_a_dem_whose_place_is_no_number_is_refused(
    tmp_path: Path, spoilt: tuple[float, ...], number: float
) -> None:
    """Size of cells and corner stand in the header as reals, which damage may make anything."""
    path = write_raster(tmp_path / "dem.tif", tilted_m())
    data = path.read_bytes()
    tag = struct.pack(f"<{len(spoilt)}d", *spoilt)
    assert data.count(tag) == 1
    changed = tuple(number if value > 0 else value for value in spoilt)
    path.write_bytes(data.replace(tag, struct.pack(f"<{len(spoilt)}d", *changed)))
    if abs(number) < 1 and len(spoilt) == 6:
        read_elevation(plan_elevation([path], None))  # a corner beside the origin is one
        return
    with pytest.raises(InputRefused) as refused:
        plan_elevation([path], None)
    assert "no cell size and corner; allowed: a georeferenced raster" in str(refused.value)


@pytest.mark.parametrize(
    "cell", ["=1+1", "+x", "-x", "@sum", "\t=1", "\r=1", "=HYPERLINK(0)", "-1+cmd|' /C x'!A0"]
)
def test_a_formula_in_a_cell_becomes_text(cell: str) -> None:
    assert plain_cell(cell) == f"'{cell}"


@pytest.mark.parametrize("cell", ["S001", "-1.5", "+2", "1e-3", -1.5, None, ""])
def test_figures_and_plain_words_stay_in_their_cells(cell: object) -> None:
    assert plain_cell(cell) is cell


@pytest.fixture(scope="module")
def plan_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_folder(tmp_path_factory.mktemp("plan") / "good") / "plan.gpkg"


@pytest.mark.parametrize(
    ("statement", "words"),
    [
        ("UPDATE run_record SET value = '[1]' WHERE key = 'property.benchmark'", "no table"),
        (
            f"UPDATE run_record SET value = '{'[' * 3000}' WHERE key = 'property.benchmark'",
            "figures that do not fit",
        ),
        ("UPDATE pegs SET geom = NULL WHERE fid = 1", "table pegs: found 1 features"),
    ],
)
def test_a_strangers_plan_is_refused_in_words(
    plan_file: Path, tmp_path: Path, statement: str, words: str
) -> None:
    copy = tmp_path / "plan.gpkg"
    shutil.copy(plan_file, copy)
    run_sql(copy, *(f"DROP TRIGGER {trigger}" for trigger in triggers(copy)), statement)
    with pytest.raises(InputRefused, match=words):
        read_setout(copy)
