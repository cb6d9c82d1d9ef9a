"""Raster files as their headers tell them: opened safely, refused early, no cell read."""

import math
import warnings
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import rasterio
from affine import Affine
from pyproj import CRS
from rasterio.errors import NotGeoreferencedWarning, RasterioError
from rasterio.io import DatasetReader

from soakline.inputs.local_files import require_local_file
from soakline.inputs.working_crs import crs_from_file
from soakline.problems import InputProblem, InputRefused, ProblemCollector

DEM_KEY = "property.dem"
DRIVERS = ("GTiff", "AAIGrid", "HFA", "EHdr", "ENVI", "SAGA", "RST")
"""Formats that are one local file of plain cells; a cloud-optimised GeoTIFF is a GTiff. Others
(VRT, WMS, netCDF) can name further files or addresses: opening one reads what nobody gave."""
DRIVERS_ALLOWED = "a local GeoTIFF, ASCII grid, HFA, EHdr, ENVI, SAGA or RST raster"
COMPANIONS = frozenset(
    f".{ending}"
    for ending in (
        *("xml", "tfw", "tifw", "wld", "prj", "hdr", "ovr", "msk"),
        *("stx", "sgrd", "mgrd", "rdc", "rrd", "clr", "txt", "md"),
    )
)
"""Endings of files that lie beside rasters and that a glob such as `tiles/*` catches too."""


GREATEST_SIDE = 10_000_000
MOST_BLOCK_BYTES = 2**31
"""A file's own strip or tile must be decoded whole to read one row of it."""
MOST_EXPANSION = 5000
LEAST_EXPANDED_BYTES = 2**28
"""Ground with a slope never packs into a five-thousandth; what claims to is nothing but claims."""


@dataclass(frozen=True, slots=True)
class Tile:
    """What the header of one raster tells.

    Parameters
    ----------
    path : the file
    rows, columns : number of cells
    transform : from column and row to the CRS, in the CRS's own unit
    crs : as in the file, heights included
    height_unit : unit of the heights as the file states it, lower case; empty if it does not
    block_rows : rows of the file's own blocks; reading whole ones decodes each once
    """

    path: Path
    rows: int
    columns: int
    transform: Affine
    crs: CRS
    height_unit: str
    block_rows: int

    @property
    def cells(self) -> int:
        return self.rows * self.columns


def open_raster(path: Path) -> DatasetReader:
    """Open a local raster with one of the allowed drivers.

    Raises
    ------
    InputRefused
        If it is not a local file or not a raster of an allowed format.
    """
    require_local_file(path, DEM_KEY, DRIVERS_ALLOWED)
    for driver in DRIVERS:
        # Each driver tells by the first bytes whether the file is its own, so trying all is cheap.
        with warnings.catch_warnings(), suppress(RasterioError, OSError):
            warnings.simplefilter("ignore", NotGeoreferencedWarning)
            dataset: DatasetReader = rasterio.open(path.absolute(), driver=driver)
            return dataset
    found = "not a raster of an allowed format, or damaged"
    raise InputRefused([InputProblem(str(path), DEM_KEY, found, DRIVERS_ALLOWED)])


def read_header(path: Path) -> Tile:
    """Read one raster's header.

    Raises
    ------
    InputRefused
        If the file is not one band of real numbers with a place on the earth.
    """
    with open_raster(path) as dataset:
        file = str(path)
        if dataset.count != 1:
            mend = "Write the height band to a file of its own."
            found = f"{dataset.count} bands"
            raise InputRefused([InputProblem(file, DEM_KEY, found, "one band of heights", mend)])
        if "complex" in dataset.dtypes[0]:
            found = f"cells of type {dataset.dtypes[0]}"
            raise InputRefused([InputProblem(file, DEM_KEY, found, "integer or real heights")])
        crs = crs_from_file(dataset.crs.to_wkt() if dataset.crs else None, file, DEM_KEY)
        if not _has_place(dataset.transform):
            found = "no cell size and corner"
            problem = InputProblem(file, DEM_KEY, found, "a georeferenced raster")
            raise InputRefused([problem])
        _refuse_claims(dataset, path)
        return Tile(
            path=path,
            rows=dataset.height,
            columns=dataset.width,
            transform=dataset.transform,
            crs=crs,
            height_unit=(dataset.units[0] or "").strip().lower(),
            block_rows=dataset.block_shapes[0][0],
        )


def _has_place(transform: Affine) -> bool:
    """Whether cells have a size and a corner, both ways in numbers: a damaged tag may say NaN."""
    determinant = transform.determinant
    if transform.is_identity or determinant == 0 or not math.isfinite(determinant):
        return False
    return all(math.isfinite(value) for value in (*transform, *~transform))


def _refuse_claims(dataset: DatasetReader, path: Path) -> None:
    """Refuse a file that claims more than anything of its size holds, before a cell is read."""
    rows, columns = dataset.shape
    cell_bytes = np.dtype(dataset.dtypes[0]).itemsize
    block_bytes = dataset.block_shapes[0][0] * dataset.block_shapes[0][1] * cell_bytes
    claimed = rows * columns * cell_bytes
    size = path.stat().st_size
    if max(rows, columns) > GREATEST_SIDE:
        found, allowed = f"{rows} x {columns} cells", f"at most {GREATEST_SIDE:,} cells a side"
    elif block_bytes > MOST_BLOCK_BYTES:
        found = f"strips or tiles of {block_bytes / 2**20:,.0f} MiB each"
        allowed = f"strips or tiles of at most {MOST_BLOCK_BYTES / 2**20:,.0f} MiB"
    elif dataset.driver == "GTiff" and claimed > max(LEAST_EXPANDED_BYTES, MOST_EXPANSION * size):
        found = f"{rows} x {columns} cells in a file of {size:,} bytes"
        allowed = f"a raster that grows at most {MOST_EXPANSION:,} times when unpacked"
    else:
        return
    raise InputRefused([InputProblem(str(path), DEM_KEY, found, allowed)])


def read_headers(paths: Sequence[Path]) -> tuple[Tile, ...]:
    """Read all tiles' headers; files that lie beside rasters are passed over.

    Raises
    ------
    InputRefused
        With the problems of every tile.
    """
    rasters = [p for p in paths if len(paths) == 1 or p.suffix.lower() not in COMPANIONS]
    collector = ProblemCollector()
    tiles: list[Tile] = []
    for path in dict.fromkeys(rasters):
        with collector.collecting():
            tiles.append(read_header(path))
    if not tiles and not collector.problems:
        collector.add(InputProblem("run file", DEM_KEY, "no file", DRIVERS_ALLOWED))
    collector.raise_if_any()
    return tuple(tiles)
