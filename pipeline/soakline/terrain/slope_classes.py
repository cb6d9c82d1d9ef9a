"""Slope classes as clean polygons over the property."""

import numpy as np
import numpy.typing as npt
import shapely
from affine import Affine
from rasterio import features as raster_features
from shapely.geometry import MultiPolygon
from shapely.geometry.base import BaseGeometry

from soakline.grid import FloatArray, Grid, GroundArray
from soakline.terrain.cells import outlines

SPECK_M2 = 100.0
# No map is read at a finer grain: classes are drawn on blocks of about this side.
_GRAIN_M = 2.5
_LARGE_M2 = 1e7  # over 1,000 ha blocks are twice as wide


def class_of(slope_pct: GroundArray, lower_limits_pct: FloatArray) -> npt.NDArray[np.int64]:
    """Number of the class of each cell, from 1; the lower limit of a class belongs to it.

    FAO 2006, Guidelines for soil description, 4th ed., Table 7, does not say which class a limit
    value falls in; here it is the upper one.
    """
    above = np.searchsorted(lower_limits_pct, slope_pct, side="right")
    return np.asarray(above + 1, dtype=np.int64)


def slope_class_polygons(
    slope_pct: GroundArray, grid: Grid, area: BaseGeometry, limits_pct: tuple[float, ...]
) -> list[tuple[int, float, float | None, MultiPolygon]]:
    """Polygons of the slope classes, a partition of the property.

    Parameters
    ----------
    slope_pct : (rows, columns) %; NaN where not valid
    grid : Grid
    area : the property
    limits_pct : rising upper limits of all classes but the last, %

    Returns
    -------
    number, lower and upper limit (None for the steepest) and ground of each class that occurs

    Notes
    -----
    Patches under 100 m² take the class of their largest neighbour (GDAL's sieve).
    """
    west, south, east, north = shapely.bounds(area)
    grain = _GRAIN_M if (east - west) * (north - south) < _LARGE_M2 else 2.0 * _GRAIN_M
    size = max(1, int(grain / grid.cell_m))
    row0 = max(0, int((grid.north_m - north) / grid.cell_m) - size)
    row1 = min(grid.rows, int((grid.north_m - south) / grid.cell_m) + 1 + size)
    column0 = max(0, int((west - grid.west_m) / grid.cell_m) - size)
    column1 = min(grid.columns, int((east - grid.west_m) / grid.cell_m) + 1 + size)
    window = slope_pct[row0:row1, column0:column1]
    # Whole blocks, the last ones filled up from their neighbours; a hole has the class of level
    # ground, so that the classes cover all of the property.
    pad = [(0, -n % size) for n in window.shape]
    window = np.pad(window, pad, mode="edge")
    blocks = window.reshape(window.shape[0] // size, size, window.shape[1] // size, size)
    with np.errstate(invalid="ignore"):
        mean = np.nan_to_num(blocks, nan=0.0).mean(axis=(1, 3), dtype=np.float64)
    classes = class_of(mean, np.asarray(limits_pct)).astype(np.uint8)
    block_m = size * grid.cell_m
    least = int(np.ceil(SPECK_M2 / block_m**2))
    if least > 1:
        classes = raster_features.sieve(classes, least, connectivity=4)
    origin = Affine(
        block_m,
        0.0,
        grid.west_m + column0 * grid.cell_m,
        0.0,
        -block_m,
        grid.north_m - row0 * grid.cell_m,
    )
    pieces, number = outlines(classes, np.ones(classes.shape, dtype=bool), origin)
    shapely.prepare(area)
    inside = shapely.contains_properly(area, pieces)
    meets = ~inside & shapely.intersects(area, pieces)
    pieces[meets] = shapely.intersection(pieces[meets], area)
    keep = inside | meets
    edges = (0.0, *limits_pct)
    found = []
    for value in np.unique(number[keep]):
        parts = shapely.get_parts(shapely.get_parts(pieces[keep & (number == value)]))
        parts = parts[(shapely.get_type_id(parts) == 3) & (shapely.area(parts) > 0)]
        if parts.size:
            upper = limits_pct[value - 1] if value <= len(limits_pct) else None
            found.append((int(value), edges[value - 1], upper, MultiPolygon(list(parts))))
    return found
