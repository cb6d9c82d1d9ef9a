"""Hollows: filled for the flow, and the larger ones kept as places where water may end."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry.base import BaseGeometry

from soakline.grid import BoolArray, FloatArray, Grid, GroundArray
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
    domain : (rows, columns) bool; valid cells and the holes among them
    """

    filled_m: GroundArray
    valid: BoolArray
    domain: BoolArray


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
    return FilledGround(filled, ~np.isnan(surface_m), filled > OUTSIDE_M)


@dataclass(frozen=True, eq=False, slots=True)
class Hollows:
    """Closed hollows, one entry each in the arrays, in raster order of their first cell.

    Parameters
    ----------
    label : (rows, columns) int32; 0 outside, i + 1 in hollow i
    depth_m, volume_m3, area_m2, level_m : (n,) greatest depth, volume to the spill level, surface,
        and the spill level
    kept : (n,) bool; water may end here
    box : (n, 4) int64; first and last row, first and last column of each
    """

    label: npt.NDArray[np.int32]
    depth_m: FloatArray
    volume_m3: FloatArray
    area_m2: FloatArray
    level_m: FloatArray
    kept: BoolArray
    box: npt.NDArray[np.int64]


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

    raised = filled.valid & (filled.filled_m > dem_m)
    label, count = ndimage.label(raised, structure=np.ones((3, 3), dtype=int))
    cells = np.flatnonzero(raised)
    which = label.ravel()[cells] - 1
    level = filled.filled_m.ravel()[cells].astype(np.float64)
    depth = level - dem_m.ravel()[cells]
    deepest = np.zeros(count)
    np.maximum.at(deepest, which, depth)
    spill = np.zeros(count)
    spill[which] = level  # every cell of a hollow is filled to the same level
    area = np.bincount(which, minlength=count).astype(np.float64) * grid.cell_area_m2
    volume = np.bincount(which, weights=depth, minlength=count).astype(float, copy=False)
    volume *= grid.cell_area_m2
    row, column = np.divmod(cells, grid.columns)
    box = np.empty((count, 4), dtype=np.int64)
    for side, place in ((0, row), (2, column)):
        box[:, side], box[:, side + 1] = grid.cells, -1
        np.minimum.at(box[:, side], which, place)
        np.maximum.at(box[:, side + 1], which, place)
    kept = (deepest > least_depth_m) & (area > least_area_m2)
    return Hollows(label.astype(np.int32, copy=False), deepest, volume, area, spill, kept, box)


def hollow_outlines(hollows: Hollows, wanted: list[int], grid: Grid) -> dict[int, BaseGeometry]:
    """Outlines of hollows: their cells joined, corners included.

    Cells of one hollow may touch only at a corner; a hair's breadth joins them to one polygon.
    """
    shapes = {}
    for index in wanted:
        top, bottom, left, right = (int(side) for side in hollows.box[index])
        own = hollows.label[top : bottom + 1, left : right + 1] == index + 1
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
