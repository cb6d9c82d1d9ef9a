"""Elevation of a finished plan or of its DEM, read as coarse as a picture can show it."""

from pathlib import Path

import numpy as np
import rasterio
from pyproj import CRS
from rasterio.errors import RasterioError, RasterioIOError, WindowError
from rasterio.windows import Window, from_bounds

from soakline.grid import Grid, GroundArray

Bounds = tuple[float, float, float, float]
"""West, south, east, north, m."""


def coverage_of(plan: Path) -> str:
    """The plan's own elevation, as GDAL names it."""
    return f"GPKG:{plan.absolute()}:elevation"


def read_coarse(
    place: str, bounds: Bounds, crs: CRS, most_cells: int
) -> tuple[Grid, GroundArray] | None:
    """Cells within bounds, coarsened as they are read.

    Parameters
    ----------
    place : file or coverage, as GDAL names it
    bounds : of what is wanted
    crs : that it must have
    most_cells : along the longer side, about

    Returns
    -------
    Grid of square cells, and (rows, columns) float32, m, NaN where not known; None where nothing
    can be read in that CRS, or nothing is known within the bounds
    """
    try:
        with rasterio.open(place) as dataset:
            cell_m = float(dataset.transform.a)
            if dataset.crs is None or CRS.from_user_input(dataset.crs) != crs:
                return None
            whole = Window(0, 0, dataset.width, dataset.height)
            window = from_bounds(*bounds, dataset.transform).round_offsets().round_lengths()
            window = window.intersection(whole)
            step = max(1, round(max(window.width, window.height) / most_cells))
            rows, columns = (max(2, int(n // step)) for n in (window.height, window.width))
            window = Window(window.col_off, window.row_off, columns * step, rows * step)
            read = dataset.read(1, window=window, out_shape=(rows, columns), masked=True)
            west = float(dataset.transform.c) + window.col_off * cell_m
            north = float(dataset.transform.f) - window.row_off * cell_m
    except (RasterioIOError, RasterioError, WindowError, ValueError):
        return None
    grid = Grid(rows, columns, west, north, cell_m * step, crs.to_wkt())
    ground_m: GroundArray = np.ma.filled(read.astype(np.float32), np.nan)
    return (grid, ground_m) if np.isfinite(ground_m).any() else None
