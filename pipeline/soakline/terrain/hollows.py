"""Hollows: filled for the flow, and the larger ones kept as places where water may end."""

from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from soakline.grid import BoolArray, FloatArray, Grid, GroundArray
from soakline.inputs.types import IndexArray
from soakline.terrain.cells import cell_polygons
from soakline.terrain.tiles.flood import filled_by_tiles

OUTSIDE_M = -9999.0
"""Below any ground on earth: water may leave here."""
# A tile's heap and labels stay in the cache of a core.
_TILE_CELLS = 512


@dataclass(frozen=True, eq=False, slots=True)
class FilledGround:
    """A surface on which every cell drains.

    Parameters
    ----------
    filled_m : (rows, columns) float32, m; holes inside the DEM carry the level at which they spill
    valid : (rows, columns) bool; cells with a height of their own
    """

    filled_m: GroundArray
    valid: BoolArray

    @property
    def domain(self) -> BoolArray:
        """Valid cells and the holes among them; (rows, columns) bool, made anew."""
        return self.filled_m > OUTSIDE_M


def fill_hollows(surface_m: GroundArray) -> FilledGround:
    """Lowest surface at or above the given one from which every cell drains.

    Parameters
    ----------
    surface_m : (rows, columns) float32, m; NaN where not valid

    Returns
    -------
    FilledGround

    Notes
    -----
    Priority flood by tiles (`tiles.flood`). A hole that does not reach the edge is flooded like a
    pond: water enters it and leaves over its lowest shore.
    """
    filled = filled_by_tiles(surface_m, OUTSIDE_M, _TILE_CELLS)
    return FilledGround(filled, ~np.isnan(surface_m))


@dataclass(frozen=True, eq=False, slots=True)
class Hollows:
    """Closed hollows, one entry each in the arrays, in raster order of their first cell.

    Parameters
    ----------
    cells : flat indices of their cells, hollow after hollow, each in raster order
    first : (n + 1,) place of each one's first cell, and the number of cells
    depth_m, volume_m3, area_m2, level_m : (n,) greatest depth, volume to the spill level, surface,
        and the spill level
    kept : (n,) bool; water may end here
    """

    cells: IndexArray
    first: IndexArray
    depth_m: FloatArray
    volume_m3: FloatArray
    area_m2: FloatArray
    level_m: FloatArray
    kept: BoolArray

    def of(self, index: int) -> IndexArray:
        """Flat indices of the cells of one."""
        return self.cells[self.first[index] : self.first[index + 1]]

    @property
    def kept_cells(self) -> IndexArray:
        """Flat indices of the cells of all that are kept."""
        return self.cells[np.repeat(self.kept, np.diff(self.first))]


def find_hollows(
    dem_m: GroundArray, filled: FilledGround, grid: Grid, least_depth_m: float, least_area_m2: float
) -> Hollows:
    """Hollows of the DEM, measured; those both deep and wide enough are kept.

    Parameters
    ----------
    dem_m : (rows, columns) float32, m
    filled : FilledGround of the same DEM
    grid : Grid
    least_depth_m, least_area_m2 : a hollow over both is kept

    Returns
    -------
    Hollows
    """
    from scipy import ndimage  # noqa: PLC0415 - slow to load, no rerun needs it

    raised = filled.filled_m > dem_m  # nowhere beside a DEM without a height
    cells = np.flatnonzero(raised)
    label, count = ndimage.label(raised, structure=np.ones((3, 3), dtype=int))
    which = label.ravel()[cells] - 1
    del raised, label  # of the whole grid, where few cells lie in hollows
    order = np.argsort(which, kind="stable")
    cells, which = cells[order], which[order]
    size = np.bincount(which, minlength=count)
    first: IndexArray = np.concatenate([[0], np.cumsum(size)])
    level = filled.filled_m.ravel()[cells].astype(np.float64)
    depth = level - dem_m.ravel()[cells]
    deepest = np.maximum.reduceat(depth, first[:-1]) if count else np.zeros(0)
    spill = level[first[:-1]]  # every cell of a hollow is filled to the same level
    area = size.astype(np.float64) * grid.cell_area_m2
    volume = np.bincount(which, weights=depth, minlength=count).astype(float, copy=False)
    volume *= grid.cell_area_m2
    kept = (deepest > least_depth_m) & (area > least_area_m2)
    return Hollows(cells, first, deepest, volume, area, spill, kept)


def hollow_outlines(hollows: Hollows, wanted: list[int], grid: Grid) -> dict[int, BaseGeometry]:
    """Outlines of hollows: their cells joined, corners included.

    Cells of one hollow may touch only at a corner; a hair's breadth joins them to one polygon.
    """
    shapes = {}
    for index in wanted:
        row, column = np.divmod(hollows.of(index), grid.columns)
        top, left = int(row[0]), int(column.min())
        own = np.zeros((int(row[-1]) - top + 1, int(column.max()) - left + 1), dtype=bool)
        own[row - top, column - left] = True
        part = Grid(
            own.shape[0],
            own.shape[1],
            grid.west_m + left * grid.cell_m,
            grid.north_m - top * grid.cell_m,
            grid.cell_m,
            grid.crs_wkt,
        )
        outline = shapely.union_all(cell_polygons(own, part))
        if outline.geom_type != "Polygon":
            outline = shapely.buffer(outline, 1e-3 * grid.cell_m, join_style="mitre")
        shapes[index] = outline
    return shapes
