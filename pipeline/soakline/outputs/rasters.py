"""Rasters of the plan: coverages in its GeoPackage, and cloud-optimised GeoTIFFs beside it."""

import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, closing, contextmanager
from dataclasses import dataclass
from math import ceil, floor
from pathlib import Path

import numpy as np

from soakline.grid import Grid, GroundArray
from soakline.inputs.types import Elevation
from soakline.outputs.empty_plan import Bytes, EmptyPlan, bytes_of, empty_plan
from soakline.outputs.geopackage_styles import STYLE_FILE
from soakline.outputs.raster_schemas import RasterSchema, path_beside
from soakline.outputs.whole_file import written_whole
from soakline.styles.plan_styles import STYLES
from soakline.styles.raster_styles import raster_styles
from soakline.styles.sld import style_document
from soakline.styles.symbols import Style
from soakline.terrain.condition import Terrain

NO_DATA = -9999.0
# Slope is told to one part in 128 of a percent: figures beyond that are noise, which no compression
# makes smaller.
SLOPE_PARTS = 128.0

_BLOCK = 512
# GDAL's GeoPackage has tiles of 32-bit reals as LZW TIFF, the only compression that OGC 17-066r1
# allows them; GeoTIFF its own, which every reader of the last ten years knows.
_GEOTIFF = {"driver": "COG", "compress": "deflate", "level": 1, "predictor": 3}


@dataclass(frozen=True, eq=False, slots=True)
class PlanFiles:
    """All of the plan's files that new rain leaves as they are.

    Parameters
    ----------
    empty : the GeoPackage with its coverages, and no row in any layer
    beside : of each GeoTIFF and of the styles the end of its name, and its bytes
    """

    empty: EmptyPlan
    beside: tuple[tuple[str, Bytes], ...]


@dataclass(frozen=True, slots=True)
class MadeFiles:
    """The same where they were made.

    Parameters
    ----------
    plan : the GeoPackage
    triggers : as of `EmptyPlan`
    beside : the other files
    """

    plan: Path
    triggers: tuple[str, ...]
    beside: tuple[Path, ...]


def values_of(raster: RasterSchema, elevation: Elevation, terrain: Terrain) -> GroundArray:
    """Values of a raster of the plan, (rows, columns) float32; `NO_DATA` where there is none."""
    known = terrain.valid
    if raster.name == "elevation":
        values, known = elevation.dem_m, ~np.isnan(elevation.dem_m)
    elif raster.name == "slope_pct":
        known = ~np.isnan(terrain.slope_pct)
        parts = np.round(terrain.slope_pct * SLOPE_PARTS)
        values = parts.astype(np.float32, copy=False) / SLOPE_PARTS
    else:
        values = terrain.flow.upstream_cells * np.float32(terrain.grid.cell_area_m2)
    return np.where(known, values, np.float32(NO_DATA)).astype(np.float32, copy=False)


def make_files(
    folder: Path,
    elevation: Elevation,
    terrain: Terrain,
    schemas: Sequence[RasterSchema],
    styled: bool,
) -> MadeFiles:
    """Make the files.

    Parameters
    ----------
    folder : an empty one, to make them in
    elevation, terrain : of the stages before
    schemas : of the rasters that are wanted
    styled : whether a file of styles stands beside the plan
    """
    grid = terrain.grid
    beside = []
    if styled:
        file = folder / STYLE_FILE
        document = style_document(_styles(elevation, schemas))
        file.write_text(document, encoding="utf-8")
        beside.append(file)
    plan = folder / "plan.gpkg"
    empty = empty_plan(grid.crs_wkt, folder)
    plan.write_bytes(empty.file.data)
    for raster in schemas:
        values = values_of(raster, elevation, terrain)
        _add_coverage(plan, raster, values, grid)
        file = folder / raster.file_name
        _write_geotiff(file, raster, values, grid)
        beside.append(file)
    return MadeFiles(plan, empty.triggers, tuple(beside))


def files_of(made: MadeFiles) -> PlanFiles:
    """The files that were made, which may be unlinked from now on."""
    return PlanFiles(
        EmptyPlan(bytes_of(made.plan), made.triggers),
        tuple((file.name, bytes_of(file)) for file in made.beside),
    )


def most_bytes(schemas: Sequence[RasterSchema], cells: int) -> int:
    """Upper estimate of what the files take, for as long as they are made and copied.

    Deflated, they are about half as large as this says; and there are two of each for a while.

    Parameters
    ----------
    schemas : of the rasters
    cells : of the grid
    """
    return 2 * len(schemas) * cells * np.dtype(np.float32).itemsize


def _styles(elevation: Elevation, schemas: Sequence[RasterSchema]) -> tuple[Style, ...]:
    """Of all layers, and of the rasters where they are wanted."""
    heights = elevation.dem_m
    if not schemas or np.isnan(heights).all():
        return tuple(STYLES.values())
    lowest, highest = float(np.nanmin(heights)), float(np.nanmax(heights))
    return (*STYLES.values(), *raster_styles(floor(lowest), ceil(highest)))


@contextmanager
def written_beside(plan: Path, files: PlanFiles) -> Iterator[None]:
    """Write the files; they take their places when the block ends well.

    One that stands there and holds the same bytes is left alone.

    Parameters
    ----------
    plan : the GeoPackage
    files : PlanFiles

    Raises
    ------
    InputRefused
        If one cannot be written where it shall stand.
    """
    with ExitStack() as all_of_them:
        for name, content in files.beside:
            path = path_beside(plan, name)
            if not _holds(path, content):
                temporary = all_of_them.enter_context(written_whole(path, content.size))
                temporary.write_bytes(content.data)
        yield


def _holds(path: Path, content: Bytes) -> bool:
    if not path.is_file() or path.stat().st_size != content.size:
        return False
    return bool(np.array_equal(bytes_of(path), content))


def _profile(grid: Grid) -> dict[str, object]:
    return {
        "height": grid.rows,
        "width": grid.columns,
        "count": 1,
        "dtype": "float32",
        "nodata": NO_DATA,
        "crs": grid.crs_wkt,
        "transform": grid.transform,
    }


def _add_coverage(plan: Path, raster: RasterSchema, values: GroundArray, grid: Grid) -> None:
    import rasterio  # noqa: PLC0415 - slow to load, no rerun needs it

    # A temporary is thrown away whole if anything fails: it needs no journal.
    with (
        rasterio.Env(OGR_SQLITE_JOURNAL="OFF", OGR_SQLITE_SYNCHRONOUS="OFF"),
        rasterio.open(
            plan,
            "w",
            driver="GPKG",
            APPEND_SUBDATASET="YES",
            RASTER_TABLE=raster.name,
            RASTER_IDENTIFIER=raster.title,
            RASTER_DESCRIPTION=raster.description,
            TILE_FORMAT="TIFF",
            BLOCKSIZE=_BLOCK,
            ADD_GPKG_OGR_CONTENTS="NO",
            UOM=raster.unit,
            FIELD_NAME=raster.title,
            QUANTITY_DEFINITION=raster.description,
            GRID_CELL_ENCODING="grid-value-is-area",
            **_profile(grid),
        ) as coverage,
    ):
        coverage.write(values, 1)
    with closing(sqlite3.connect(plan)) as database:
        # GDAL keeps to it in the tiles' statistics, but does not write it down.
        database.execute(
            "UPDATE gpkg_2d_gridded_coverage_ancillary SET data_null = ? "
            "WHERE tile_matrix_set_name = ?",
            (NO_DATA, raster.name),
        )
        database.commit()


def _write_geotiff(path: Path, raster: RasterSchema, values: GroundArray, grid: Grid) -> None:
    import rasterio  # noqa: PLC0415 - as above

    with rasterio.open(
        path,
        "w",
        blocksize=_BLOCK,
        overview_resampling="average",
        **_GEOTIFF,
        **_profile(grid),
    ) as tiff:
        tiff.write(values, 1)
        tiff.set_band_description(1, raster.title)
        tiff.set_band_unit(1, raster.unit)
        tiff.update_tags(DESCRIPTION=raster.description)
        # Reckoned here: for that alone GDAL would need a driver that opens other files.
        tiff.update_tags(1, **_statistics(values))


def _statistics(values: GroundArray) -> dict[str, str]:
    """What GDAL's readers look for of the values that are there."""
    known = values[values != np.float32(NO_DATA)]
    if known.size == 0:
        return {}
    figures = {
        "MINIMUM": known.min(),
        "MAXIMUM": known.max(),
        "MEAN": known.mean(dtype=np.float64),
        "STDDEV": known.std(dtype=np.float64),
        "VALID_PERCENT": 100.0 * known.size / values.size,
    }
    return {f"STATISTICS_{name}": f"{value:.12g}" for name, value in figures.items()}
