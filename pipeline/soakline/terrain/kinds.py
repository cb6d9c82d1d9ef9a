"""Kinds of ground on the grid: polygons burnt under the number of their kind."""

import numpy as np
import numpy.typing as npt

from soakline.grid import Grid
from soakline.terrain.cells import GeometryArray

KindArray = npt.NDArray[np.unsignedinteger]
"""uint8 wherever the numbers fit in it, else uint16 or uint32."""


def no_kind(grid: Grid) -> KindArray:
    """A raster of zeros that takes no memory; read-only."""
    return np.broadcast_to(np.uint8(0), grid.shape)


def burn_kinds(shapes: GeometryArray, kind: npt.NDArray[np.int64], grid: Grid) -> KindArray:
    """Kind of the last polygon that holds each cell's centre.

    Parameters
    ----------
    shapes : (n,) polygons, none of them empty
    kind : (n,) from 0; polygons of kind 0 are not burnt
    grid : Grid

    Returns
    -------
    (rows, columns) unsigned; 0 where no polygon is
    """
    burnt = kind > 0
    if not burnt.any():
        return no_kind(grid)
    from rasterio.features import rasterize  # noqa: PLC0415 - slow to load, no rerun needs it

    return np.asarray(
        rasterize(
            zip(shapes[burnt], kind[burnt].tolist(), strict=True),
            out_shape=grid.shape,
            transform=grid.transform,
            dtype=np.min_scalar_type(int(kind.max())).name,
        )
    )
