"""Rasters of the plan: coverages in its GeoPackage, and cloud-optimised GeoTIFFs beside it."""

import sqlite3
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, closing, contextmanager
from dataclasses import dataclass
from functools import partial
from math import ceil, floor
from pathlib import Path

import numpy as np

from soakline.grid import Grid, GroundArray
from soakline.inputs.types import Elevation
from soakline.outputs.empty_plan import Bytes, EmptyPlan, bytes_of, empty_plan
from soakline.outputs.geopackage_styles import STYLE_FILE
from soakline.outputs.raster_figures import NO_DATA, RasterFigures
from soakline.outputs.raster_schemas import RasterSchema, path_beside
from soakline.outputs.whole_file import flush_to_disk, written_whole
from soakline.styles.plan_styles import STYLES
from soakline.styles.raster_styles import raster_styles
from soakline.styles.sld import style_document
from soakline.styles.symbols import Style
from soakline.terrain.condition import Terrain

# Slope is told to one part in 128 of a percent: figures beyond that are noise, which no compression
# makes smaller.
SLOPE_PARTS = 128.0

_BLOCK = 512
_CACHE_MIB = 128
# Files are compared in pieces that stay in the processor's cache.
_PIECE_BYTES = 1 << 20
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


def values_of(
    raster: RasterSchema, elevation: Elevation, terrain: Terrain, rows: slice
) -> GroundArray:
    """Some rows of a raster of the plan, float32; `NO_DATA` where there is no value."""
    if raster.name == "elevation":
        values = elevation.dem_m[rows]
        known = ~np.isnan(values)
    elif raster.name == "slope_pct":
        slope = terrain.slope_pct[rows]
        known = ~np.isnan(slope)
        parts = np.round(slope * SLOPE_PARTS)
        values = parts.astype(np.float32, copy=False) / SLOPE_PARTS
    else:
        known = terrain.valid[rows]
        values = terrain.flow.upstream_cells[rows] * np.float32(terrain.grid.cell_area_m2)
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
        file = folder / raster.file_name
        _write_raster(plan, file, raster, grid, partial(values_of, raster, elevation, terrain))
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
                # The disk takes it in while the block runs: at its end there is no wait for it.
                flush_to_disk(temporary)
        yield


def _holds(path: Path, content: Bytes) -> bool:
    if not path.is_file() or path.stat().st_size != content.size:
        return False
    there = bytes_of(path)
    pieces = (slice(at, at + _PIECE_BYTES) for at in range(0, content.size, _PIECE_BYTES))
    return all(np.array_equal(there[piece], content[piece]) for piece in pieces)


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


def _write_raster(
    plan: Path,
    file: Path,
    raster: RasterSchema,
    grid: Grid,
    values: Callable[[slice], GroundArray],
) -> None:
    """Add a coverage to the plan and write the GeoTIFF, a row of blocks at a time.

    A cloud-optimised GeoTIFF begins with its overviews, so it is copied from a plain one.

    Parameters
    ----------
    plan, file : the GeoPackage and the GeoTIFF
    raster : RasterSchema
    grid : Grid
    values : gives rows
    """
    import rasterio  # noqa: PLC0415 - slow to load, no rerun needs it
    import rasterio.shutil  # noqa: PLC0415

    plain = file.with_suffix(".plain.tif")
    # Temporaries are thrown away whole if anything fails: they need no journal.
    with rasterio.Env(
        OGR_SQLITE_JOURNAL="OFF", OGR_SQLITE_SYNCHRONOUS="OFF", GDAL_CACHEMAX=_CACHE_MIB
    ):
        figures = RasterFigures()
        with (
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
            rasterio.open(
                plain,
                "w",
                driver="GTiff",
                tiled=True,
                blockxsize=_BLOCK,
                blockysize=_BLOCK,
                bigtiff="IF_SAFER",
                **_profile(grid),
            ) as tiff,
        ):
            for top in range(0, grid.rows, _BLOCK):
                rows = slice(top, min(top + _BLOCK, grid.rows))
                band = values(rows)
                window = ((rows.start, rows.stop), (0, grid.columns))
                coverage.write(band, 1, window=window)
                tiff.write(band, 1, window=window)
                figures.add(band)
            tiff.set_band_description(1, raster.title)
            tiff.set_band_unit(1, raster.unit)
            tiff.update_tags(DESCRIPTION=raster.description)
            # Reckoned here: for that alone GDAL would need a driver that opens other files.
            tiff.update_tags(1, **figures.told())
        rasterio.shutil.copy(
            plain, file, blocksize=_BLOCK, overview_resampling="average", **_GEOTIFF
        )
    plain.unlink()
    with closing(sqlite3.connect(plan)) as database:
        # GDAL keeps to it in the tiles' statistics, but does not write it down.
        database.execute(
            "UPDATE gpkg_2d_gridded_coverage_ancillary SET data_null = ? "
            "WHERE tile_matrix_set_name = ?",
            (NO_DATA, raster.name),
        )
        database.commit()
