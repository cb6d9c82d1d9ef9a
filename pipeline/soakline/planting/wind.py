"""Wind over the ground: what higher land keeps off, and what rows of trees do."""

import numba as nb
import numpy as np
import shapely

from soakline.grid import BoolArray, FloatArray, Grid, GroundArray
from soakline.section.stations import IntArray
from soakline.terrain.cells import GeometryArray

HORIZON_M = 2000.0
"""Land further upwind is not looked at, as in topographic exposure limited to 2 km (Topex)."""

_FIRST_M = 10.0
# The further off, the longer the steps.
_LONGER = 0.1


def upwind(from_deg: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Unit vectors towards where the wind comes from: eastings and northings."""
    angle = np.radians(from_deg)
    return np.sin(angle), np.cos(angle)


def horizon_slope(
    ground_m: GroundArray,
    grid: Grid,
    easting_m: FloatArray,
    northing_m: FloatArray,
    from_deg: FloatArray,
) -> FloatArray:
    """Steepest line of sight upwind from places on the ground.

    Parameters
    ----------
    ground_m : (rows, columns) float32, m
    grid : Grid
    easting_m, northing_m : (n,) m
    from_deg : (k,) that the wind comes from

    Returns
    -------
    (n, k) rise over run to the horizon within `HORIZON_M`; negative where all land upwind is lower.
    Land off the DEM is taken as open.
    """
    row, column = grid.row_column(easting_m, northing_m)
    east, north = upwind(from_deg)
    return np.asarray(_horizon(ground_m, row, column, east, north, grid.cell_m))


@nb.njit(cache=True)
def _horizon(
    ground_m: GroundArray,
    row: FloatArray,
    column: FloatArray,
    east: FloatArray,
    north: FloatArray,
    cell_m: float,
) -> FloatArray:
    rows, columns = ground_m.shape
    found = np.full((row.size, east.size), -np.inf)
    for i in range(row.size):
        own_row = min(max(int(np.rint(row[i])), 0), rows - 1)
        own_column = min(max(int(np.rint(column[i])), 0), columns - 1)
        here = ground_m[own_row, own_column]
        for k in range(east.size):
            far = _FIRST_M
            while far <= HORIZON_M:
                at_row = int(np.rint(row[i] - north[k] * far / cell_m))
                at_column = int(np.rint(column[i] + east[k] * far / cell_m))
                if at_row < 0 or at_row >= rows or at_column < 0 or at_column >= columns:
                    break
                rise = ground_m[at_row, at_column] - here
                if not np.isnan(rise):
                    found[i, k] = max(found[i, k], rise / far)
                far += max(_FIRST_M, _LONGER * far)
    return found


def exposure(horizon: FloatArray, shelter_heights: float) -> FloatArray:
    """Share of the wind that land upwind leaves.

    Parameters
    ----------
    horizon : rise over run, as of `horizon_slope`
    shelter_heights : length of the zone that anything shelters, in its own heights

    Returns
    -------
    1 where no land upwind is higher; 0 where the horizon is as high as the top of a windbreak at
    the end of its sheltered zone, or higher; linear between: common practice, no source
    """
    return np.clip(1.0 - shelter_heights * np.maximum(horizon, 0.0), 0.0, 1.0)


def across(left_east: FloatArray, left_north: FloatArray, from_deg: FloatArray) -> FloatArray:
    """How squarely winds meet lines: 1 square to them, 0 along them; (n,) and (k,) to (n, k)."""
    east, north = upwind(from_deg)
    return np.abs(np.outer(left_east, east) + np.outer(left_north, north))


def behind(
    easting_m: FloatArray,
    northing_m: FloatArray,
    level_m: FloatArray,
    from_deg: FloatArray,
    windbreak: GeometryArray,
    windbreak_level_m: FloatArray,
    height_m: FloatArray,
    shelter_heights: float,
) -> BoolArray:
    """Whether places lie in the sheltered zone of a windbreak.

    Parameters
    ----------
    easting_m, northing_m, level_m : (n,) places and their ground, m
    from_deg : (k,) that the wind comes from
    windbreak : (w,) lines of trees, flat
    windbreak_level_m, height_m : (w,) ground under the trees and their height, m
    shelter_heights : length of the zone in heights

    Returns
    -------
    (n, k) bool

    Notes
    -----
    The zone is measured along the wind. Trees count with what of them stands over the ground of the
    place, and never with more than their height: common practice, no source.
    """
    found = np.zeros((easting_m.size, from_deg.size), dtype=bool)
    if windbreak.size == 0 or easting_m.size == 0:
        return found
    place = np.column_stack([easting_m, northing_m])
    points = np.asarray(shapely.points(place), dtype=np.object_)
    tree = shapely.STRtree(windbreak)
    longest = shelter_heights * float(height_m.max())
    for k, (east, north) in enumerate(zip(*upwind(from_deg), strict=True)):
        rays: GeometryArray = np.asarray(
            shapely.linestrings(np.stack([place, place + longest * np.array([east, north])], 1)),
            dtype=np.object_,
        )
        at, other = tree.query(rays, predicate="intersects")
        far = shapely.distance(points[at], shapely.intersection(rays[at], windbreak[other]))
        over = height_m[other] + np.minimum(windbreak_level_m[other] - level_m[at], 0.0)
        found[at[far <= shelter_heights * over], k] = True
    return found


def mean_of(lip: IntArray, values: FloatArray | BoolArray, lips: int) -> FloatArray:
    """Mean over the places of each lip; (n,) to (lips,)."""
    return np.bincount(lip, values.astype(float), lips) / np.maximum(
        np.bincount(lip, minlength=lips), 1
    )
