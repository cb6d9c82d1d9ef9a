"""From a raw level line to a lip that can be pegged: few vertices, ground within the tolerance.

The lip is a chain of straight chords between points of the level line. Every chord is tried against
the ground under it, sampled at the step of the line's points; the chain with the least cost wins.
Cost counts vertices, distance of the ground from the height aimed at, and ground outside the band
in which a sill can lie; ground outside the tolerance forbids a chord.
"""

import numba
import numpy as np
import numpy.typing as npt

from soakline.grid import FloatArray, Grid, GroundArray
from soakline.terrain.ground import bilinear

# Ground above the level that lines are laid for: survey noise of 5 cm leaves the smoothed ground
# about 1 cm unsure, and a sill wants ground between 0 and 5 cm above its level.
AIM_M = 0.015
SILL_BAND_M = 0.05

# Kept inside the contract's −0.03 m and the run file's tolerance, for ground between samples.
_LOWEST_M = -0.022
_MARGIN_M = 0.01

_COARSE_M = 5.0
_SETTLE_STEPS = 6
_LONGEST_CHORD_M = 30.0
_DEVIATION_SCALE_M = 0.01
_DEVIATION_COST = 0.02  # per metre of chord one scale off the aim; one vertex costs 1
_NO_SILL_COST = 0.25  # per metre of chord outside the band for sills


def point_step_m(cell_m: float) -> float:
    """Distance between the points of a level line that chords are tried at, m.

    On cells over 5 m the bilinear ground has folds of several percent between cells: points stand
    closer, so that no chord between two of them misses a fold.
    """
    return 0.5 if cell_m > _COARSE_M else float(min(max(cell_m, 0.5), 1.0))


def evenly(line: FloatArray, step_m: float) -> FloatArray:
    """Points of a line at an even distance along it, both ends kept.

    Parameters
    ----------
    line : (points, 2) m
    step_m : the distance asked for; the one used divides the length evenly, m

    Returns
    -------
    (n, 2) m
    """
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    count = max(2, round(along[-1] / step_m) + 1)
    at = np.linspace(0.0, along[-1], count)
    return np.column_stack([np.interp(at, along, line[:, 0]), np.interp(at, along, line[:, 1])])


@numba.njit(cache=True)
def _settle(row: FloatArray, column: FloatArray, ground_m: GroundArray, height_m: float) -> None:
    """Move points along the ground's slope until they lie at a height; in place.

    Traced lines are straight within a cell, where the ground between four cells is not: on coarse
    cells they miss it by decimetres. Newton's steps, none longer than half a cell.
    """
    for i in range(row.size):
        for _ in range(_SETTLE_STEPS):
            here = bilinear(ground_m, row[i], column[i])
            down = bilinear(ground_m, row[i] + 0.02, column[i]) - bilinear(
                ground_m, row[i] - 0.02, column[i]
            )
            right = bilinear(ground_m, row[i], column[i] + 0.02) - bilinear(
                ground_m, row[i], column[i] - 0.02
            )
            steep = (down * down + right * right) / 0.04
            off = height_m - here
            if not steep > 1e-9 or abs(off) < 1e-4:
                break
            step_row = off * down / steep
            step_column = off * right / steep
            size = np.hypot(step_row, step_column)
            if not size < 1e9:
                break
            limit = min(1.0, 0.5 / max(size, 1e-12))
            row[i] += step_row * limit
            column[i] += step_column * limit


@numba.njit(cache=True)
def _chain(
    row: FloatArray,
    column: FloatArray,
    ground_m: GroundArray,
    level_m: float,
    cell_m: float,
    step_m: float,
    highest_m: float,
) -> npt.NDArray[np.int64]:
    """Indices of the points that the cheapest chain keeps."""
    n = row.size
    window = int(_LONGEST_CHORD_M / step_m)
    cost = np.full(n, np.inf)
    came_from = np.zeros(n, np.int64)
    cost[0] = 0.0
    for j in range(1, n):
        for i in range(j - 1, max(-1, j - window - 1), -1):
            length_m = np.hypot(row[j] - row[i], column[j] - column[i]) * cell_m
            samples = max(1, int(np.ceil(length_m / step_m)))
            total = cost[i] + 1.0
            holds = True
            for s in range(1, samples + 1):
                share = s / samples
                above = (
                    bilinear(
                        ground_m,
                        row[i] + share * (row[j] - row[i]),
                        column[i] + share * (column[j] - column[i]),
                    )
                    - level_m
                )
                # Neighbouring points stay joined whatever lies between them: the level line is
                # the best there is.
                if i < j - 1 and not (_LOWEST_M <= above <= highest_m):
                    holds = False
                    break
                off = (above - AIM_M) / _DEVIATION_SCALE_M
                piece = length_m / samples
                total += _DEVIATION_COST * piece * off * off
                if above < 0.0 or above > SILL_BAND_M:
                    total += _NO_SILL_COST * piece
                if total >= cost[j]:
                    holds = False
                    break
            if holds and total < cost[j]:
                cost[j] = total
                came_from[j] = i
    kept = np.empty(n, np.int64)
    count = 0
    j = n - 1
    while j > 0:
        kept[count] = j
        count += 1
        j = came_from[j]
    kept[count] = 0
    return kept[: count + 1][::-1]


def lay_lip(
    points: FloatArray, ground_m: GroundArray, grid: Grid, level_m: float, tolerance_m: float
) -> FloatArray:
    """Chords over the points of a level line that hold the ground tolerance.

    Parameters
    ----------
    points : (n, 2) easting and northing near the ground at `level_m` + `AIM_M`, evenly spaced, m
    ground_m : (rows, columns) float32, m
    grid : Grid
    level_m : level of the full water, m
    tolerance_m : most that the ground may stand above the level, m

    Returns
    -------
    (k, 2) vertices, m; a closed line stays closed
    """
    row, column = grid.row_column(points[:, 0], points[:, 1])
    row, column = row.copy(), column.copy()
    _settle(row, column, ground_m, level_m + AIM_M)
    step_m = point_step_m(grid.cell_m)
    highest = max(tolerance_m - _MARGIN_M, min(SILL_BAND_M, tolerance_m))
    kept = _chain(row, column, ground_m, level_m, grid.cell_m, step_m, highest)
    return np.column_stack(grid.easting_northing(row[kept], column[kept]))
