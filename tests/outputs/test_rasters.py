"""Rasters of a plan: read back by GDAL, and held against the standard's tables."""

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
import rasterio

from soakline.grid import GroundArray
from soakline.inputs.types import Elevation
from soakline.outputs.empty_plan import empty_plan
from soakline.outputs.geopackage import write_plan
from soakline.outputs.raster_figures import NO_DATA, RasterFigures
from soakline.outputs.raster_schemas import RASTERS, RasterSchema, path_beside
from soakline.outputs.rasters import (
    PlanFiles,
    files_of,
    make_files,
    written_beside,
)
from soakline.problems import InputRefused
from soakline.runfile.ground_sections import TerrainKeys
from soakline.terrain.condition import Terrain, condition_ground
from tests.outputs.conftest import DESCRIBE
from tests.outputs.hillside import CRS, EPSG, Layers, ground_m, hillside_grid

every_raster = pytest.mark.parametrize("raster", RASTERS, ids=lambda raster: raster.name)


@dataclass(frozen=True)
class Made:
    path: Path
    elevation: Elevation
    terrain: Terrain
    files: PlanFiles

    def wanted(self, raster: RasterSchema) -> GroundArray:
        """Values by the slow and plain way, NaN where there is none."""
        if raster.name == "elevation":
            return self.elevation.dem_m
        if raster.name == "slope_pct":
            return (np.round(128.0 * self.terrain.slope_pct.astype(float)) / 128.0).astype(
                np.float32
            )
        cells = np.where(self.terrain.valid, self.terrain.flow.upstream_cells, np.nan)
        return (cells * self.terrain.grid.cell_area_m2).astype(np.float32)


@pytest.fixture(scope="module")
def made(layers: Layers, tmp_path_factory: pytest.TempPathFactory) -> Made:
    grid = hillside_grid()
    elevation = Elevation(grid, ground_m(grid))
    terrain = condition_ground(elevation, TerrainKeys())
    folder = tmp_path_factory.mktemp("files")
    files = files_of(make_files(folder, elevation, terrain, RASTERS, True))
    path = tmp_path_factory.mktemp("plan") / "two valleys.gpkg"
    with written_beside(path, files):
        write_plan(path, layers, CRS, DESCRIBE, files.empty)
    return Made(path, elevation, terrain, files)


@pytest.fixture(scope="module")
def database(made: Made) -> Iterator[sqlite3.Connection]:
    with closing(sqlite3.connect(f"file:{made.path}?mode=ro", uri=True)) as opened:
        yield opened


@every_raster
@pytest.mark.parametrize("beside", [False, True], ids=["in the plan", "beside it"])
def test_gdal_reads_every_cell_as_it_was(made: Made, raster: RasterSchema, beside: bool) -> None:
    file = path_beside(made.path, raster.file_name)
    name = str(file) if beside else f"GPKG:{made.path}:{raster.name}"
    with rasterio.open(name) as source:
        read = source.read(1)
        assert source.nodata == NO_DATA
        assert source.crs.to_epsg() == EPSG
        assert source.transform == made.terrain.grid.transform
        assert source.units == (raster.unit,)
        assert source.descriptions == (raster.title,)
    assert read.dtype == np.float32
    wanted = made.wanted(raster)
    assert np.isnan(wanted).any()
    assert np.array_equal(np.where(read == NO_DATA, np.nan, read), wanted, equal_nan=True)


@pytest.mark.parametrize("rows", [1, 7, 100])
def test_figures_of_rows_are_those_of_the_whole(rows: int) -> None:
    """Heights far above their spread, whose squares would drown it; some rows hold nothing."""
    values = np.random.default_rng(3).normal(8000.0, 0.02, (100, 30)).astype(np.float32)
    values[20:35] = values[50, 3:] = NO_DATA
    figures = RasterFigures()
    for top in range(0, 100, rows):
        figures.add(values[top : top + rows])
    known = values[values != NO_DATA].astype(float)
    told = {key: float(value) for key, value in figures.told().items()}
    assert told == pytest.approx(
        {
            "STATISTICS_MINIMUM": known.min(),
            "STATISTICS_MAXIMUM": known.max(),
            "STATISTICS_MEAN": known.mean(),
            "STATISTICS_STDDEV": known.std(),
            "STATISTICS_VALID_PERCENT": 100.0 * known.size / values.size,
        },
        rel=1e-9,
    )
    assert RasterFigures().told() == {}


def test_rasters_are_the_same_in_more_rows_of_blocks(
    made: Made, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Written in three rows of blocks, the last one cut by the edge of the grid."""
    monkeypatch.setattr("soakline.outputs.rasters._BLOCK", 128)
    make_files(tmp_path, made.elevation, made.terrain, RASTERS, False)
    for raster in RASTERS:
        for name in (tmp_path / raster.file_name, f"GPKG:{tmp_path / 'plan.gpkg'}:{raster.name}"):
            with rasterio.open(name) as source:
                read = source.read(1)
            expected = made.wanted(raster)
            assert np.array_equal(np.where(read == NO_DATA, np.nan, read), expected, equal_nan=True)


@every_raster
def test_files_beside_are_cloud_optimised(made: Made, raster: RasterSchema) -> None:
    with rasterio.open(path_beside(made.path, raster.file_name)) as source:
        assert source.tags(ns="IMAGE_STRUCTURE")["LAYOUT"] == "COG"
        assert source.profile["tiled"]
        assert min(source.shape) // (source.overviews(1) or [1])[-1] <= 512
        wanted = made.wanted(raster)
        told = {key: float(value) for key, value in source.tags(1).items() if "VALID" not in key}
    assert told["STATISTICS_MINIMUM"] == pytest.approx(np.nanmin(wanted), rel=1e-6)
    assert told["STATISTICS_MAXIMUM"] == pytest.approx(np.nanmax(wanted), rel=1e-6)
    assert told["STATISTICS_MEAN"] == pytest.approx(np.nanmean(wanted, dtype=float), rel=1e-6)


# What must hold for coverages, by OGC 17-066r1: each query lists what breaks the requirement.
NOTHING_MAY_BREAK = {
    "4 WGS 84 in three dimensions is among the reference systems": """
        SELECT 'missing' WHERE NOT EXISTS (SELECT * FROM gpkg_spatial_ref_sys WHERE srs_id = 4979
        AND organization = 'EPSG')""",
    "6 extensions are registered": """
        SELECT name FROM (SELECT 'gpkg_2d_gridded_coverage_ancillary' AS name UNION SELECT
        'gpkg_2d_gridded_tile_ancillary' UNION SELECT table_name FROM gpkg_contents WHERE data_type
        = '2d-gridded-coverage') WHERE name NOT IN (SELECT table_name FROM gpkg_extensions WHERE
        extension_name = 'gpkg_2d_gridded_coverage')""",
    "9 reals have no scale of their own": """
        SELECT * FROM gpkg_2d_gridded_coverage_ancillary WHERE datatype <> 'float' OR scale <> 1.0
        OR offset <> 0.0""",
    "10 a row for each coverage": """
        SELECT table_name FROM gpkg_contents c WHERE data_type = '2d-gridded-coverage' AND 1 <>
        (SELECT count(*) FROM gpkg_2d_gridded_coverage_ancillary WHERE tile_matrix_set_name =
        c.table_name)""",
    "11 a row for each tile": """
        SELECT id FROM elevation WHERE 1 <> (SELECT count(*) FROM gpkg_2d_gridded_tile_ancillary a
        WHERE tpudt_name = 'elevation' AND tpudt_id = elevation.id)""",
    "the same reference system in both tables": """
        SELECT * FROM gpkg_tile_matrix_set t JOIN gpkg_contents c USING (table_name) WHERE t.srs_id
        <> c.srs_id""",
    "tiles are TIFF, little-endian": """
        SELECT id FROM elevation WHERE substr(tile_data, 1, 4) <> x'49492A00'""",
    "foreign keys": "PRAGMA foreign_key_check",
}


@pytest.mark.parametrize("requirement", NOTHING_MAY_BREAK)
def test_nothing_breaks_requirement(database: sqlite3.Connection, requirement: str) -> None:
    assert database.execute(NOTHING_MAY_BREAK[requirement]).fetchall() == []


def test_contents_tell_title_and_description(database: sqlite3.Connection) -> None:
    sql = """SELECT table_name, identifier, description FROM gpkg_contents
        WHERE data_type = '2d-gridded-coverage'"""
    assert sorted(database.execute(sql)) == sorted(
        (raster.name, raster.title, raster.description) for raster in RASTERS
    )


def test_all_of_the_file_is_of_one_time(database: sqlite3.Connection) -> None:
    assert len(database.execute("SELECT DISTINCT last_change FROM gpkg_contents").fetchall()) == 1


def test_the_same_ground_gives_the_same_bytes(made: Made, tmp_path: Path) -> None:
    again = files_of(make_files(tmp_path, made.elevation, made.terrain, RASTERS, True))
    for (name, first), (_, second) in zip(made.files.beside, again.beside, strict=True):
        assert np.array_equal(first, second), name


def test_without_rasters_the_plan_has_none(made: Made, tmp_path: Path) -> None:
    files = files_of(make_files(tmp_path, made.elevation, made.terrain, (), False))
    assert files.beside == ()
    assert files.empty.file.size == empty_plan(made.terrain.grid.crs_wkt).file.size


def test_a_failure_of_the_plan_leaves_the_files_beside_it(made: Made, tmp_path: Path) -> None:
    plan = tmp_path / "plan.gpkg"
    earlier = path_beside(plan, "elevation.tif")
    earlier.write_bytes(b"earlier")
    with pytest.raises(RuntimeError, match="broken"), written_beside(plan, made.files):
        raise RuntimeError("broken")
    assert earlier.read_bytes() == b"earlier"
    assert list(tmp_path.iterdir()) == [earlier]


def test_a_file_that_holds_the_same_is_left_alone(
    made: Made, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("soakline.outputs.rasters._PIECE_BYTES", 1000)  # of several, none whole
    plan = tmp_path / "plan.gpkg"
    for _ in range(2):
        with written_beside(plan, made.files):
            pass
        before = {path: path.stat().st_ino for path in tmp_path.iterdir()}
    changed = path_beside(plan, "slope_pct.tif")
    content = bytearray(changed.read_bytes())
    content[-1] ^= 1
    changed.write_bytes(content)
    with written_beside(plan, made.files):
        pass
    after = {path: path.stat().st_ino for path in tmp_path.iterdir()}
    assert {path for path in after if after[path] != before[path]} == {changed}


def test_a_folder_in_the_place_of_a_file_is_told(made: Made, tmp_path: Path) -> None:
    plan = tmp_path / "plan.gpkg"
    path_beside(plan, "elevation.tif").mkdir()
    with (
        pytest.raises(InputRefused, match=r"plan-elevation\.tif"),
        written_beside(plan, made.files),
    ):
        pass
