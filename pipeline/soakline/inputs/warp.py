"""DEMs that are not north-up squares of metres, brought to a grid that is."""

import math

import numpy as np
from affine import Affine
from pyproj import CRS, Transformer
from rasterio.enums import Resampling
from rasterio.warp import reproject

from soakline.grid import FloatArray, Grid, GroundArray
from soakline.inputs.mosaic import Layout
from soakline.inputs.raster_files import DEM_KEY
from soakline.inputs.transforms import applied
from soakline.inputs.working_crs import horizontal, is_metric, same_crs
from soakline.problems import InputProblem, InputRefused

SQUARE = 1e-6
"""Cells whose sides differ by less than this share are squares: header rounding."""
EDGE_POINTS = 33
TRANSFORM_ERROR_CELLS = 0.01
"""How far the warper may interpolate positions: at 30 % slope and 1 m cells 3 mm of height, where
the usual eighth of a cell would be 4 cm."""


def _is_rotated(transform: Affine) -> bool:
    side = math.sqrt(abs(transform.determinant))
    return max(abs(transform.b), abs(transform.d)) > SQUARE * side


def _is_square(transform: Affine) -> bool:
    width, height = math.hypot(transform.a, transform.d), math.hypot(transform.b, transform.e)
    return abs(width - height) <= SQUARE * max(width, height)


def as_is(transform: Affine) -> bool:
    """Tell whether cells can be taken as they are: square, not rotated.

    Examples
    --------
    >>> as_is(Affine(1, 0, 0, 0, -1, 0)), as_is(Affine(1, 0, 0, 0, -2, 0))
    (True, False)
    """
    return _is_square(transform) and not _is_rotated(transform)


def flips(transform: Affine) -> tuple[bool, bool]:
    """Tell whether columns run west and whether rows run north."""
    return transform.a < 0, transform.e > 0


def why_warped(layout: Layout, own: CRS, working_crs: CRS) -> str:
    """Say in words what kept the DEM from being taken as it is."""
    reasons = []
    if own.is_geographic:
        reasons.append("its CRS is geographic")
    elif not is_metric(own):
        reasons.append(f"its CRS is in {own.axis_info[0].unit_name}, not metres")
    elif not same_crs(own, working_crs):
        reasons.append("another CRS was asked for")
    if _is_rotated(layout.transform):
        reasons.append("its grid is rotated")
    if not own.is_geographic and not _is_square(layout.transform):
        reasons.append("its cells are not square")
    return ", ".join(reasons)


def warped_grid(layout: Layout, own: CRS, working_crs: CRS, file: str) -> Grid:
    """Grid in the working CRS that covers the DEM with cells of the same area.

    Parameters
    ----------
    layout : the DEM on its own grid
    own, working_crs : of the DEM and of the plan
    file : what a problem names

    Raises
    ------
    InputRefused
        If the DEM's corners have no place in the working CRS.

    Notes
    -----
    The cell is rounded to three figures and the corner stands on a multiple of it, so that DEMs of
    neighbouring properties share one grid.
    """
    along = np.linspace(0.0, 1.0, EDGE_POINTS)
    none, full = np.zeros(EDGE_POINTS), np.ones(EDGE_POINTS)
    column = np.concatenate([along, along, none, full]) * layout.columns
    row = np.concatenate([none, full, along, along]) * layout.rows
    easting, northing = _to_working(layout, own, working_crs, column, row)
    middle_column, middle_row = layout.columns / 2, layout.rows / 2
    side_e, side_n = _to_working(
        layout,
        own,
        working_crs,
        np.array([middle_column, middle_column + 1.0, middle_column]),
        np.array([middle_row, middle_row, middle_row + 1.0]),
    )
    if not all(np.isfinite(a).all() for a in (easting, northing, side_e, side_n)):
        found = f"a DEM with no place in {working_crs.name}"
        mend = "Check property.crs and the DEM's own CRS."
        allowed = "a DEM inside the area of the working CRS"
        raise InputRefused([InputProblem(file, DEM_KEY, found, allowed, mend)])
    area_m2 = abs(
        (side_e[1] - side_e[0]) * (side_n[2] - side_n[0])
        - (side_e[2] - side_e[0]) * (side_n[1] - side_n[0])
    )
    cell_m = float(f"{math.sqrt(area_m2):.3g}")
    west_m = math.floor(easting.min() / cell_m) * cell_m
    north_m = math.ceil(northing.max() / cell_m) * cell_m
    # A billionth of a cell over a whole number is rounding, not another row.
    columns = math.ceil((easting.max() - west_m) / cell_m - 1e-6)
    rows = math.ceil((north_m - northing.min()) / cell_m - 1e-6)
    return Grid(rows, columns, west_m, north_m, cell_m, working_crs.to_wkt())


def _to_working(
    layout: Layout, own: CRS, working_crs: CRS, column: FloatArray, row: FloatArray
) -> tuple[FloatArray, FloatArray]:
    x, y = applied(layout.transform, column, row)
    transformer = Transformer.from_crs(own, working_crs, always_xy=True)
    easting, northing = transformer.transform(x, y)
    return np.asarray(easting), np.asarray(northing)


def warp(dem_m: GroundArray, layout: Layout, grid: Grid) -> GroundArray:
    """Interpolate heights (bilinear) on to the working grid.

    Parameters
    ----------
    dem_m : (layout.rows, layout.columns) float32, m, NaN where not valid
    layout : its place
    grid : the working grid

    Returns
    -------
    (grid.rows, grid.columns) float32 array, m, NaN where the DEM has no height
    """
    warped_m = np.full(grid.shape, np.nan, np.float32)
    reproject(
        source=dem_m,
        destination=warped_m,
        src_transform=layout.transform,
        src_crs=horizontal(layout.crs).to_wkt(),
        src_nodata=math.nan,
        dst_transform=grid.transform,
        dst_crs=grid.crs_wkt,
        dst_nodata=math.nan,
        resampling=Resampling.bilinear,
        num_threads=2,
        tolerance=TRANSFORM_ERROR_CELLS,
    )
    return warped_m
