"""From a raw level line to a lip that can be pegged: few vertices, ground within the tolerance.

The level line is faired to the bend of the digging machine. The lip is a chain of straight chords
between points of it. Every chord is tried against the ground under it, sampled at the step of the
line's points; the chain with the least cost wins. Cost counts vertices, turns that are sharper than
the bend allows, distance of the ground from the height aimed at, and ground outside the band in
which a sill can lie; ground outside the tolerance forbids a chord. Where bends stay too tight in
what is left once lips are trimmed, the chain is laid anew over points beside the line.
"""

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor

import numba
import numpy as np
import numpy.typing as npt

from soakline.grid import BoolArray, FloatArray, Grid, GroundArray
from soakline.siting.band import AIM_M, height_band
from soakline.siting.chords import SHARPEST_TURN, asked_m, chord_cost
from soakline.siting.easing import StateOf, eased
from soakline.siting.fairing import fair
from soakline.terrain.ground import bilinear

_COARSE_M = 5.0
_SETTLE_STEPS = 6
_LONGEST_CHORD_M = 30.0
# The bend asked of chords is a little wider than that of the line.
_TIGHTER = 1.1
_TURN_COST, _MOST_TURN_COST = 2.0, 100.0
_BEHIND_COST = 4.0


def point_step_m(cell_m: float) -> float:
    """Distance between the points of a level line that chords are tried at, m.

    On cells over 5 m the bilinear ground has folds of several percent between cells: points stand
    closer, so that no chord between two of them misses a fold.
    """
    return 0.5 if cell_m > _COARSE_M else float(min(max(cell_m, 0.5), 1.0))


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
def _turn_cost(cross: float, dot: float, allowed: float) -> float:
    """Cost of a turn between two unit vectors over the one that the radius allows, both radians."""
    if dot > 0.0 and np.abs(cross) <= 0.95 * allowed:
        return 0.0
    over = np.arctan2(np.abs(cross), dot) / allowed
    cost: float = min(max(0.0, _TURN_COST * (over * over - 1.0)), _MOST_TURN_COST)
    return cost


@numba.njit(cache=True, nogil=True)
def _chain(
    row: FloatArray,
    column: FloatArray,
    ground_m: GroundArray,
    level_m: float,
    cell_m: float,
    step_m: float,
    lowest_m: float,
    highest_m: float,
    radius_m: float,
) -> npt.NDArray[np.int64]:
    """Indices of the points that the cheapest chain keeps.

    What a vertex costs depends on both chords that meet there, so that the chains compared are
    those that end with the same chord.
    """
    n = row.size
    window = min(int(_LONGEST_CHORD_M / step_m), n - 1)
    # Folds between large cells are asked for between the points too.
    between_m = min(step_m, asked_m(cell_m))
    # By the point that a chord ends at, and how many points back it begins.
    cost = np.full((n, window), np.inf)
    came_from = np.zeros((n, window), np.int64)
    down, right, length_m = np.zeros((n, window)), np.zeros((n, window)), np.zeros((n, window))
    cheapest = np.zeros(n, np.int64)
    cost[0, 0] = 0.0
    for j in range(1, n):
        for i in range(j - 1, max(-1, j - window - 1), -1):
            back = j - i - 1
            own_m = max(np.hypot(row[j] - row[i], column[j] - column[i]) * cell_m, 1e-9)
            # A chain so far behind the best one to this point hardly ever comes to the fore.
            most = cost[j, cheapest[j]] + _BEHIND_COST - cost[i, cheapest[i]]
            own = chord_cost(
                row[i], column[i], row[j], column[j], ground_m, level_m,
                max(1, int(np.ceil(own_m / between_m))), own_m, lowest_m, highest_m, most,
                i == j - 1,
            )  # fmt: skip
            if not own < most:
                continue
            length_m[j, back] = own_m
            down[j, back] = (row[j] - row[i]) * cell_m / own_m
            right[j, back] = (column[j] - column[i]) * cell_m / own_m
            before, place = (0.0, 0) if i == 0 else (np.inf, 0)
            # The cheapest chain to where the chord begins comes first: if the chord goes on
            # straight enough, no other can do better.
            for nth in range(-1, min(i, window)):
                k = cheapest[i] if nth < 0 else nth
                if before <= cost[i, cheapest[i]]:
                    break
                turned = cost[i, k]
                if turned < before and radius_m > 0.0:
                    mean_m = 0.5 * (own_m + length_m[i, k])
                    turned += _turn_cost(
                        right[j, back] * down[i, k] - down[j, back] * right[i, k],
                        right[j, back] * right[i, k] + down[j, back] * down[i, k],
                        min(SHARPEST_TURN, mean_m / (_TIGHTER * radius_m)),
                    )
                if turned < before:
                    before, place = turned, k
            cost[j, back] = before + own
            came_from[j, back] = place
            if cost[j, back] < cost[j, cheapest[j]]:
                cheapest[j] = back
    kept = np.empty(n, np.int64)
    count = 0
    j, back = n - 1, cheapest[n - 1]
    while j > 0:
        kept[count] = j
        count += 1
        j, back = j - back - 1, came_from[j, back]
    kept[count] = 0
    return kept[: count + 1][::-1]


def lay_lips(
    lines: Sequence[FloatArray],
    level_m: FloatArray,
    closed: BoolArray,
    ground_m: GroundArray,
    grid: Grid,
    tolerance_m: float,
    radius_m: float,
) -> list[FloatArray]:
    """Chords over the points of level lines that hold the ground tolerance and bend no tighter.

    Parameters
    ----------
    lines : (n, 2) easting and northing near the ground at the level + `AIM_M`, evenly spaced, m
    level_m : (lines,) of the full water, m
    closed : (lines,) bool; such a line repeats its start
    ground_m : (rows, columns) float32, m
    grid : Grid
    tolerance_m : most that the ground may stand above the level, m
    radius_m : least that lines may bend by, where the tolerance allows it; 0 for any; m

    Returns
    -------
    (k, 2) vertices of each, m; a closed line stays closed
    """
    settled = []
    for line, level in zip(lines, level_m, strict=True):
        row, column = (place.copy() for place in grid.row_column(line[:, 0], line[:, 1]))
        _settle(row, column, ground_m, level + AIM_M)
        settled.append(np.column_stack(grid.easting_northing(row, column)))
    band = height_band(tolerance_m)
    step_m = point_step_m(grid.cell_m)

    def chained(line: FloatArray, level: float) -> FloatArray:
        row, column = (np.ascontiguousarray(at) for at in grid.row_column(line[:, 0], line[:, 1]))
        kept = _chain(
            row, column, ground_m, level, grid.cell_m, step_m, band.lowest_m, band.highest_m,
            radius_m,
        )  # fmt: skip
        chain: FloatArray = line[kept]
        return chain

    faired = fair(settled, level_m, closed, ground_m, grid, band, radius_m)
    with ThreadPoolExecutor(max_workers=2) as pool:
        return list(pool.map(chained, faired, level_m))


def ease_lips(
    lips: Sequence[FloatArray],
    level_m: FloatArray,
    closed: BoolArray,
    ground_m: GroundArray,
    grid: Grid,
    tolerance_m: float,
    radius_m: float,
    state_of: StateOf,
    least_m: float,
) -> list[FloatArray]:
    """Lips whose tight bends are laid anew where the tolerance allows it.

    Parameters
    ----------
    lips : (k, 2) vertices of each, m
    state_of : as of `eased`
    least_m : no lip comes to be shorter
    others : as of `lay_lips`

    Returns
    -------
    (n, 2) vertices of each, m; those that need or allow nothing as they were
    """
    band = height_band(tolerance_m)

    def one(line: FloatArray, level: float, ring: bool) -> FloatArray:
        return eased(line, level, ring, ground_m, grid, band, radius_m, state_of, least_m)

    with ThreadPoolExecutor(max_workers=2) as pool:
        return list(pool.map(one, lips, level_m, closed))
