"""A run's files together: what is accepted with a word, and all problems of all files at once."""

import hashlib
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
from affine import Affine
from pyproj import CRS
from rasterio.transform import from_origin
from shapely import LineString, Polygon, box

from soakline.inputs.read import read_inputs
from soakline.inputs.survey import survey
from soakline.inputs.types import Inputs
from soakline.problems import InputRefused
from soakline.runfile.load import load_run_file
from soakline.runfile.sections import RunFile
from tests.inputs.files import NORTH_M, UTM, WEST_M, codes, tilted_m, write_layer, write_raster
from tests.terrain_analytic.run_folder import merged, toml_text

RAIN = "duration_min,2,10,100\n5,6,10,16\n60,23,38,62\n1440,62,105,180\n"
ROTATED = Affine(0.96, 0.28, WEST_M, 0.28, -0.96, NORTH_M)


class Heard:
    """Keeps what reading tells on the way."""

    def __init__(self) -> None:
        self.messages: list[tuple[str, str]] = []

    def message(self, level: str, text: str) -> None:
        self.messages.append((level, text))


def land(transform: Affine, crs: str, inset: float = 10.0) -> gpd.GeoDataFrame:
    """Outline of the 80 x 60 cells less `inset` cells all round, in the DEM's own CRS."""
    t = transform
    corners = [(inset, inset), (80 - inset, inset), (80 - inset, 60 - inset), (inset, 60 - inset)]
    ring = [(t.a * c + t.b * r + t.c, t.d * c + t.e * r + t.f) for c, r in corners]
    return gpd.GeoDataFrame(geometry=[Polygon(ring)], crs=crs)


def run_file(
    folder: Path,
    heights: np.ndarray | None = None,
    transform: Affine | None = None,
    crs: str = UTM,
    outline: gpd.GeoDataFrame | None = None,
    keys: dict[str, Any] | None = None,
) -> RunFile:
    place = transform or from_origin(WEST_M, NORTH_M, 1.0, 1.0)
    write_raster(folder / "dem.tif", tilted_m() if heights is None else heights, place, crs)
    frame = land(place, crs) if outline is None else outline
    frame.to_file(folder / "boundary.gpkg", driver="GPKG")
    (folder / "rain.csv").write_text(RAIN, encoding="utf-8")
    named = {"dem": "dem.tif", "boundary": "boundary.gpkg", "name": "Hill"}
    settings = merged({"property": named, "rain": {"table": "rain.csv"}}, keys or {})
    (folder / "run.toml").write_text(toml_text(settings), encoding="utf-8")
    return load_run_file(folder / "run.toml")


def accepted(run: RunFile) -> Inputs:
    """Inputs of a run that must be accepted, checked for what every stage relies on."""
    inputs = read_inputs(run, Heard())
    grid = inputs.elevation.grid
    crs = CRS.from_wkt(grid.crs_wkt)
    assert crs.is_projected
    assert crs.axis_info[0].unit_name == "metre"
    assert inputs.elevation.dem_m.shape == grid.shape
    assert inputs.elevation.dem_m.dtype == np.float32
    assert inputs.property.area.is_valid
    assert box(*grid.bounds).buffer(1e-6).contains(inputs.property.area)
    assert inputs.property.covered_pct >= 99.0
    return inputs


def test_a_plain_run_is_read_without_a_word(tmp_path: Path) -> None:
    inputs = accepted(run_file(tmp_path))
    assert inputs.findings == ()
    assert inputs.property.name == "Hill"
    assert inputs.property.area.area == pytest.approx(60 * 40)
    assert inputs.rain.frequency == ("2", "10", "100")
    assert len(inputs.features.buildings) == 0


def test_sources_carry_the_hash_of_every_file_as_the_run_file_names_it(tmp_path: Path) -> None:
    inputs = accepted(run_file(tmp_path))
    assert [(s.role, s.path) for s in inputs.sources] == [
        ("dem", "dem.tif"),
        ("boundary", "boundary.gpkg"),
        ("rain", "rain.csv"),
    ]
    for source in inputs.sources:
        content = (tmp_path / source.path).read_bytes()
        assert source.sha256 == hashlib.sha256(content).hexdigest()


def test_files_beside_a_shapefile_are_sources_too(tmp_path: Path) -> None:
    run = run_file(tmp_path, keys={"property": {"boundary": "land.shp"}})
    land(from_origin(WEST_M, NORTH_M, 1.0, 1.0), UTM).to_file(tmp_path / "land.shp")
    names = [s.path for s in accepted(run).sources if s.role == "boundary"]
    assert {"land.shp", "land.dbf", "land.prj"} <= set(names)


def test_another_rain_table_is_read_instead(tmp_path: Path) -> None:
    run = run_file(tmp_path)
    (tmp_path / "wetter.csv").write_text(RAIN.replace("180", "250"), encoding="utf-8")
    inputs = read_inputs(run, Heard(), tmp_path / "wetter.csv")
    assert inputs.rain.depth_mm[-1, -1] == 250
    assert inputs.sources[-1].path == "wetter.csv"


@pytest.mark.parametrize(
    ("transform", "crs", "code"),
    [
        (from_origin(148.5, -35.2, 1e-5, 1e-5), "EPSG:4326", "dem_warped"),
        (from_origin(2_800_000, 1_000_000, 3.0, 3.0), "EPSG:26851", "dem_warped"),
        (ROTATED, UTM, "dem_warped"),
        (Affine(1, 0, WEST_M, 0, 1, NORTH_M), UTM, "dem_turned"),
    ],
)
def test_other_grids_and_crs_are_accepted_with_a_note(
    tmp_path: Path, transform: Affine, crs: str, code: str
) -> None:
    inputs = accepted(run_file(tmp_path, transform=transform, crs=crs))
    assert [(f.code, f.severity) for f in inputs.findings] == [(code, "note")]
    assert inputs.property.covered_pct == 100.0


def test_whole_metres_are_accepted_and_reported(tmp_path: Path) -> None:
    heights = np.round(tilted_m(), 0).astype(np.int16)
    heard = Heard()
    inputs = read_inputs(run_file(tmp_path, heights), heard)
    assert codes(inputs.findings) == ["stepped_heights"]
    assert "steps of 1 m" in inputs.findings[0].message
    assert ("caution", inputs.findings[0].message) in heard.messages


def test_a_boundary_in_another_crs_is_brought_over(tmp_path: Path) -> None:
    outline = land(from_origin(WEST_M, NORTH_M, 1.0, 1.0), UTM).to_crs(4326)
    inputs = accepted(run_file(tmp_path, outline=outline))
    assert inputs.property.area.area == pytest.approx(60 * 40, rel=1e-6)
    assert inputs.findings == ()


def test_a_boundary_that_crosses_itself_is_mended(tmp_path: Path) -> None:
    w, s, e, n = land(from_origin(WEST_M, NORTH_M, 1.0, 1.0), UTM).total_bounds
    bow = gpd.GeoDataFrame(geometry=[Polygon([(w, s), (e, n), (e, s), (w, n)])], crs=UTM)
    assert codes(accepted(run_file(tmp_path, outline=bow)).findings) == ["boundary_mended"]


def test_tiles_by_glob_and_the_crs_key_are_followed(tmp_path: Path) -> None:
    keys = {"property": {"dem": "tile_*.tif", "crs": "EPSG:28355"}}
    run = run_file(tmp_path, keys=keys)
    whole = tilted_m()
    for n, part in enumerate((whole[:, :40], whole[:, 40:])):
        place = from_origin(WEST_M + 40 * n, NORTH_M, 1.0, 1.0)
        write_raster(tmp_path / f"tile_{n}.tif", part.copy(), place)
    inputs = accepted(run)
    assert CRS.from_wkt(inputs.elevation.grid.crs_wkt).to_epsg() == 28355
    assert [s.path for s in inputs.sources if s.role == "dem"] == ["tile_0.tif", "tile_1.tif"]


def test_a_survey_tells_the_size_without_reading_cells(tmp_path: Path) -> None:
    run = run_file(tmp_path, np.full((60, 80), np.nan, np.float32))
    size = survey(run)
    assert size.grid.shape == (60, 80)
    assert size.source_cells == 4800
    assert size.dem_bytes == (tmp_path / "dem.tif").stat().st_size
    assert not size.warped


@pytest.mark.parametrize(
    ("crs", "found"),
    [("EPSG:4326", "not projected"), ("EPSG:2272", "foot"), ("grid of the farm", "not known")],
)
def test_a_working_crs_without_metres_is_refused(tmp_path: Path, crs: str, found: str) -> None:
    run = run_file(tmp_path, keys={"property": {"crs": crs}})
    with pytest.raises(InputRefused) as refused:
        read_inputs(run, Heard())
    assert "run.toml: property.crs" in str(refused.value)
    assert found in str(refused.value)


def test_problems_of_all_files_come_together(tmp_path: Path) -> None:
    run = run_file(tmp_path, keys={"property": {"features": "features.gpkg"}})
    track = LineString([(WEST_M, NORTH_M), (WEST_M + 9, NORTH_M - 9)])
    write_layer(tmp_path / "features.gpkg", "tracks", [track], width_m=[-4.0])
    (tmp_path / "dem.tif").write_text("no raster", encoding="ascii")
    (tmp_path / "boundary.gpkg").unlink()
    (tmp_path / "rain.csv").write_text(RAIN.replace("38", "wet"), encoding="utf-8")
    with pytest.raises(InputRefused) as refused:
        read_inputs(run, Heard())
    places = [Path(p.file).name for p in refused.value.problems]
    assert sorted(places) == ["boundary.gpkg", "dem.tif", "features.gpkg", "rain.csv"]
