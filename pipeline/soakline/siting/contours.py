"""Level lines of the ground, traced tile by tile."""

from concurrent.futures import ThreadPoolExecutor
from typing import cast

import numpy as np
import numpy.typing as npt
import shapely
from contourpy import LineType, contour_generator

from soakline.grid import BoolArray, FloatArray, Grid, GroundArray

_TILE = 256


def level_lines(
    ground_m: GroundArray, grid: Grid, levels_m: FloatArray, wanted: BoolArray
) -> list[list[FloatArray]]:
    """Lines of equal height, higher ground on the left.

    Parameters
    ----------
    ground_m : (rows, columns) float32, m; NaN where not valid
    grid : Grid
    levels_m : (n,) m
    wanted : (rows, columns) bool; tiles without any such cell are left out

    Returns
    -------
    for each level, its lines as (points, 2) easting and northing, m; a closed one repeats its start

    Notes
    -----
    Marching squares by contourpy. Each tile is searched only for the levels within its own heights;
    neighbouring tiles share a row or column of cells, so their ends meet exactly and are joined.
    """
    pieces: list[list[npt.NDArray[np.float64]]] = [[] for _ in levels_m]
    order = np.argsort(levels_m)
    rising = levels_m[order]

    def trace(corner: tuple[int, int]) -> list[tuple[int, FloatArray]]:
        row, column = corner
        window = (slice(row, row + _TILE + 1), slice(column, column + _TILE + 1))
        if not wanted[window].any():
            return []
        heights = ground_m[window]
        if min(heights.shape) < 2 or np.isnan(heights).all():
            return []
        low = np.searchsorted(rising, np.nanmin(heights), side="left")
        high = np.searchsorted(rising, np.nanmax(heights), side="right")
        if low == high:
            return []
        easting, _ = grid.easting_northing(
            np.zeros(1), np.arange(column, column + heights.shape[1], dtype=float)
        )
        _, northing = grid.easting_northing(
            np.arange(row, row + heights.shape[0], dtype=float), np.zeros(1)
        )
        tracer = contour_generator(
            easting,
            northing,
            np.ma.masked_invalid(heights.astype(np.float64)),
            name="serial",
            line_type=LineType.Separate,
        )
        return [
            # Separate lines are plain arrays of points; the stub names every kind of line.
            (int(order[i]), cast("FloatArray", line))
            for i in range(low, high)
            for line in tracer.lines(rising[i])
        ]

    corners = [
        (row, column)
        for row in range(0, grid.rows - 1, _TILE)
        for column in range(0, grid.columns - 1, _TILE)
    ]
    with ThreadPoolExecutor(max_workers=2) as pool:
        for found in pool.map(trace, corners):
            for index, line in found:
                pieces[index].append(line)

    lines = []
    for own in pieces:
        joined = shapely.line_merge(shapely.MultiLineString(own))
        lines.append([shapely.get_coordinates(part) for part in shapely.get_parts(joined)])
    return lines
