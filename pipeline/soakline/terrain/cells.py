"""Between cells and shapes: the only place where one becomes the other."""

import numpy as np
import numpy.typing as npt
import shapely
from rasterio import features as raster_features
from shapely.geometry import shape

from soakline.grid import BoolArray, FloatArray, Grid

GeometryArray = npt.NDArray[np.object_]


def burn(shapes: GeometryArray, grid: Grid, all_touched: bool = False) -> BoolArray:
    """Cells whose centre lies in any of the shapes (or that any touches)."""
    shapes = shapes[~shapely.is_empty(shapes)]
    if shapes.size == 0:
        return np.zeros(grid.shape, dtype=bool)
    burnt = raster_features.rasterize(
        shapes,
        out_shape=grid.shape,
        transform=grid.transform,
        all_touched=all_touched,
        dtype="uint8",
    )
    return np.asarray(burnt, dtype=bool)


def cell_polygons(mask: BoolArray, grid: Grid) -> GeometryArray:
    """Outlines of the patches of a mask, cell edge by cell edge."""
    rows = np.flatnonzero(mask.any(axis=1))
    if rows.size == 0:
        return np.array([], dtype=object)
    columns = np.flatnonzero(mask.any(axis=0))
    window = (slice(rows[0], rows[-1] + 1), slice(columns[0], columns[-1] + 1))
    patch = np.ascontiguousarray(mask[window]).view(np.uint8)
    origin = grid.transform * type(grid.transform).translation(int(columns[0]), int(rows[0]))
    found = raster_features.shapes(patch, mask=mask[window], connectivity=4, transform=origin)
    return np.array([shape(outline) for outline, _ in found], dtype=object)


def cells_of(grid: Grid, easting: FloatArray, northing: FloatArray) -> npt.NDArray[np.int64]:
    """Flat index of the cell that holds each place; −1 outside."""
    row, column = grid.row_column(easting, northing)
    r, c = np.rint(row).astype(np.int64), np.rint(column).astype(np.int64)
    inside = (r >= 0) & (r < grid.rows) & (c >= 0) & (c < grid.columns)
    return np.where(inside, r * grid.columns + c, -1)


def polygons_of(geometry: GeometryArray) -> GeometryArray:
    """The polygons among the parts of given geometries, slivers without area left out."""
    parts = shapely.get_parts(shapely.get_parts(geometry))
    wide: GeometryArray = parts[(shapely.get_type_id(parts) == 3) & (shapely.area(parts) > 1e-6)]
    return wide
