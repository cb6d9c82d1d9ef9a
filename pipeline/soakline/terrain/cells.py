"""Between cells and shapes: the only place where one becomes the other."""

import numpy as np
import numpy.typing as npt
import shapely
from affine import Affine
from shapely.geometry import Polygon

from soakline.grid import BoolArray, FloatArray, Grid

GeometryArray = npt.NDArray[np.object_]


def burn(shapes: GeometryArray, grid: Grid, all_touched: bool = False) -> BoolArray:
    """Cells whose centre lies in any of the shapes (or that any touches)."""
    shapes = shapes[~shapely.is_empty(shapes)]
    if shapes.size == 0:
        return np.zeros(grid.shape, dtype=bool)
    from rasterio.features import rasterize  # noqa: PLC0415 - slow to load, no rerun needs it

    burnt = rasterize(
        shapes,
        out_shape=grid.shape,
        transform=grid.transform,
        all_touched=all_touched,
        dtype="uint8",
    )
    cells: BoolArray = burnt.view(np.bool_)  # 0 and 1
    return cells


def outlines(
    values: npt.NDArray[np.uint8] | npt.NDArray[np.int32], where: BoolArray, transform: Affine
) -> tuple[GeometryArray, npt.NDArray[np.int64]]:
    """Outlines of the patches of equal value, cell edge by cell edge.

    Parameters
    ----------
    values : (rows, columns)
    where : (rows, columns) bool; other cells belong to no patch
    transform : of the raster

    Returns
    -------
    (n,) polygons, whose patches join over edges and not over corners, and (n,) the value of each
    """
    from rasterio.features import shapes as patches  # noqa: PLC0415 - slow to load, no rerun needs it

    found = patches(values, mask=where, connectivity=4, transform=transform)
    polygons, of = [], []
    for outline, value in found:
        # Arrays spare shapely a look at every coordinate.
        shell, *holes = (np.asarray(ring) for ring in outline["coordinates"])
        polygons.append(Polygon(shell, holes))
        of.append(int(value))
    shapes = np.empty(len(polygons), dtype=object)
    shapes[:] = polygons
    return shapes, np.array(of, dtype=np.int64)


def cell_polygons(mask: BoolArray, grid: Grid) -> GeometryArray:
    """Outlines of the patches of a mask, cell edge by cell edge."""
    rows = np.flatnonzero(mask.any(axis=1))
    if rows.size == 0:
        return np.array([], dtype=object)
    columns = np.flatnonzero(mask.any(axis=0))
    window = (slice(rows[0], rows[-1] + 1), slice(columns[0], columns[-1] + 1))
    patch = np.ascontiguousarray(mask[window])
    # Not through the product of transforms, whose operator changed from affine 2 to 3.
    origin = Affine(
        grid.cell_m,
        0.0,
        grid.west_m + int(columns[0]) * grid.cell_m,
        0.0,
        -grid.cell_m,
        grid.north_m - int(rows[0]) * grid.cell_m,
    )
    return outlines(patch.view(np.uint8), patch, origin)[0]


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
