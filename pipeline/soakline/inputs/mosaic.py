"""Tiles laid on one grid and read window by window into one array."""

import math
import os
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
from affine import Affine
from pyproj import CRS
from rasterio.enums import MaskFlags
from rasterio.errors import RasterioError
from rasterio.io import DatasetReader
from rasterio.windows import Window

from soakline.grid import GroundArray
from soakline.inputs.raster_files import DEM_KEY, Tile, open_raster
from soakline.inputs.transforms import applied, moved_corner
from soakline.inputs.working_crs import crs_name, same_crs
from soakline.problems import InputProblem, InputRefused, ProblemCollector

ALIGNMENT_CELLS = 0.01
"""Tiles may be off the common grid by this much: rounding of corners in headers, nothing more."""
WINDOW_CELLS = 2_000_000
SCATTER = 10
"""A box of more than this many times the cells of the tiles in it is mostly empty: a wrong tile."""


@dataclass(frozen=True, slots=True)
class Layout:
    """Where each tile stands on the common grid, in the tiles' own CRS.

    Parameters
    ----------
    rows, columns : of the box around all tiles
    transform : from column and row of that box to the CRS
    crs : of all tiles
    tiles : with their first row and column in the box
    """

    rows: int
    columns: int
    transform: Affine
    crs: CRS
    tiles: tuple[tuple[Tile, int, int], ...]


@dataclass(slots=True)
class Tally:
    """What was met while reading. Heights in the file's own unit until `read_mosaic` returns."""

    valid: int = 0
    infinite: int = 0
    overlapping: int = 0
    differing: int = 0
    greatest_difference_m: float = 0.0
    lowest_m: float = math.inf
    highest_m: float = -math.inf
    files: set[str] = field(default_factory=set)


def _disagreement(tile: Tile, first: Tile) -> tuple[str, str]:
    """What a tile has that the first has not, and what would be right; empty if they agree."""
    if not same_crs(tile.crs, first.crs):
        return crs_name(tile.crs), f"the CRS of {first.path.name}, {crs_name(first.crs)}"
    a, b = tile.transform, first.transform
    drift = max(
        abs(a.a - b.a) * tile.columns,
        abs(a.b - b.b) * tile.rows,
        abs(a.d - b.d) * tile.columns,
        abs(a.e - b.e) * tile.rows,
    )
    side = math.sqrt(abs(b.determinant))
    if drift > ALIGNMENT_CELLS * side:
        found = f"cells of {_side(a)}"
        return found, f"the cell size of {first.path.name}, {_side(b)}"
    column, row = applied(~b, a.c, a.f)
    if max(abs(column - round(column)), abs(row - round(row))) > ALIGNMENT_CELLS:
        found = f"a grid off by {column - round(column):+.2f} columns, {row - round(row):+.2f} rows"
        return found, f"the grid of {first.path.name}, to {ALIGNMENT_CELLS:g} of a cell"
    return "", ""


def _side(transform: Affine) -> str:
    width, height = math.hypot(transform.a, transform.d), math.hypot(transform.b, transform.e)
    return f"{width:.8g} x {height:.8g} in the CRS's unit"


def lay_out(tiles: tuple[Tile, ...]) -> Layout:
    """Place tiles on one grid.

    Raises
    ------
    InputRefused
        Where CRS, cell size or grid differ, each tile named; or where tiles lie far apart.
    """
    first = tiles[0]
    collector = ProblemCollector()
    for tile in tiles[1:]:
        found, allowed = _disagreement(tile, first)
        if found:
            mend = "Bring all tiles to one grid with a GIS, or give only those that share one."
            collector.add(InputProblem(str(tile.path), DEM_KEY, found, allowed, mend))
    collector.raise_if_any()
    corners = [applied(~first.transform, t.transform.c, t.transform.f) for t in tiles]
    at = [(round(row), round(column)) for column, row in corners]
    top, left = min(row for row, _ in at), min(column for _, column in at)
    rows = max(row + t.rows for (row, _), t in zip(at, tiles, strict=True)) - top
    columns = max(column + t.columns for (_, column), t in zip(at, tiles, strict=True)) - left
    if rows * columns > max(SCATTER * sum(t.cells for t in tiles), WINDOW_CELLS):
        found = f"tiles scattered over {rows} x {columns} cells"
        mend = "A tile from elsewhere may be among them."
        allowed = f"tiles that fill at least a {SCATTER}th of the box around them"
        problem = InputProblem(str(first.path.parent), DEM_KEY, found, allowed, mend)
        raise InputRefused([problem])
    _refuse_too_large(rows, columns, first)
    placed = tuple((t, r - top, c - left) for t, (r, c) in zip(tiles, at, strict=True))
    transform = moved_corner(first.transform, left, top)
    return Layout(rows, columns, transform, first.crs, placed)


def _refuse_too_large(rows: int, columns: int, first: Tile) -> None:
    """Refuse a grid that this machine's memory cannot hold, before any of it is taken."""
    needed, held = 4 * rows * columns, os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES")
    if needed > held:
        found = f"{rows} x {columns} cells, {needed / 2**30:,.1f} GiB of heights"
        allowed = f"a DEM that fits into this machine's {held / 2**30:,.1f} GiB of memory"
        mend = "Cut it to the property and 200 m around it."
        raise InputRefused([InputProblem(str(first.path), DEM_KEY, found, allowed, mend)])


def read_mosaic(layout: Layout, unit_m: float) -> tuple[GroundArray, Tally]:
    """Read all tiles into one array; where tiles overlap, the first given holds.

    Parameters
    ----------
    layout : from `lay_out`
    unit_m : length of the heights' unit, m

    Returns
    -------
    (rows, columns) float32 array, m, NaN where not valid; and what was met on the way

    Raises
    ------
    InputRefused
        If a tile cannot be read to its end.

    Notes
    -----
    Memory is the array and one window. A height is scaled once, in float64 if it is scaled at all,
    so that metric files pass bit for bit.
    """
    # np.empty would leave gaps between tiles undefined; the fill costs one write per cell.
    dem_m = np.full((layout.rows, layout.columns), np.nan, np.float32)
    tally = Tally()
    collector = ProblemCollector()
    done: list[tuple[int, int, int, int]] = []
    for tile, row, column in layout.tiles:
        box = (row, column, row + tile.rows, column + tile.columns)
        fresh = not any(_overlap(box, other) for other in done)
        done.append(box)
        with collector.collecting(), open_raster(tile.path) as dataset:
            for first, heights_m in _windows(dataset, tile, unit_m, tally):
                top = row + first
                target = dem_m[top : top + heights_m.shape[0], column : column + tile.columns]
                if fresh:
                    target[:] = heights_m
                else:
                    _merge(target, heights_m, tile, tally)
    collector.raise_if_any()
    return dem_m, tally


def _overlap(first: tuple[int, int, int, int], second: tuple[int, int, int, int]) -> bool:
    return (
        first[0] < second[2]
        and second[0] < first[2]
        and first[1] < second[3]
        and second[1] < first[3]
    )


def _windows(
    dataset: DatasetReader, tile: Tile, unit_m: float, tally: Tally
) -> Iterator[tuple[int, GroundArray]]:
    """Full-width windows of whole blocks: first row, and heights in m with NaN where not valid."""
    block = tile.block_rows
    rows = max(block, WINDOW_CELLS // tile.columns // block * block)
    masked = MaskFlags.per_dataset in dataset.mask_flag_enums[0]
    for first in range(0, tile.rows, rows):
        window = Window(0, first, tile.columns, min(rows, tile.rows - first))  # type: ignore[no-untyped-call, unused-ignore]
        try:
            cells = dataset.read(1, window=window)
            mask = dataset.read_masks(1, window=window) == 0 if masked else None
        except (RasterioError, OSError):
            found = f"cells that cannot be read near row {first} of {tile.rows}"
            mend = "The file is damaged or was cut short: copy or download it again."
            problem = InputProblem(str(tile.path), DEM_KEY, found, "a whole raster", mend)
            raise InputRefused([problem]) from None
        yield first, _heights_m(cells, mask, dataset, unit_m, tally)


def _heights_m(
    cells: np.ndarray,
    mask: np.ndarray | None,
    dataset: DatasetReader,
    unit_m: float,
    tally: Tally,
) -> GroundArray:
    """Turn stored cells into heights in m."""
    scale, offset = dataset.scales[0] * unit_m, dataset.offsets[0] * unit_m
    nodata = dataset.nodata
    empty = np.zeros(cells.shape, np.bool_) if mask is None else mask
    if nodata is not None and math.isfinite(nodata):
        # Compared in the cells' own type: a float32 nodata of -3.4e38 is not its float64 text.
        stored = np.array(nodata).astype(cells.dtype)
        if cells.dtype.kind == "f" or float(stored) == nodata:
            empty = empty | (cells == stored)
    if scale != 1.0 or offset != 0.0:
        cells = cells.astype(np.float64) * scale + offset
    with np.errstate(over="ignore"):
        heights_m = cells.astype(np.float32, copy=False)
    heights_m[empty] = np.nan
    finite = np.isfinite(heights_m)
    valid = int(np.count_nonzero(finite))
    if valid < heights_m.size:
        infinite = np.isinf(heights_m)
        tally.infinite += int(np.count_nonzero(infinite))
        heights_m[infinite] = np.nan
    if valid:
        tally.valid += valid
        tally.lowest_m = min(tally.lowest_m, float(np.nanmin(heights_m)))
        tally.highest_m = max(tally.highest_m, float(np.nanmax(heights_m)))
    return heights_m


def _merge(target: GroundArray, heights_m: GroundArray, tile: Tile, tally: Tally) -> None:
    """Fill what earlier tiles left empty and count where they say otherwise."""
    filled = np.isfinite(target)
    both = filled & np.isfinite(heights_m)
    overlapping = int(np.count_nonzero(both))
    if overlapping:
        difference = np.abs(target[both] - heights_m[both])
        differing = int(np.count_nonzero(difference))
        tally.overlapping += overlapping
        tally.differing += differing
        tally.greatest_difference_m = max(tally.greatest_difference_m, float(difference.max()))
        if differing:
            tally.files.add(tile.path.name)
    np.copyto(target, heights_m, where=~filled)
