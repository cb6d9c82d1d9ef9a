"""Walking along the ground at a constant fall: the kernel of tracing.

All in cells and m: places are fractional rows and columns, distances in cells, heights in m.
Angles are counter-clockwise from east.
"""

import numba
import numpy as np

from soakline.grid import BoolArray, FloatArray, GroundArray
from soakline.terrain.flow import Uint8Array
from soakline.terrain.ground import bilinear
from soakline.terrain.paths import CellArray

# Ground that a drain may pass.
FREE, OFF_PROPERTY, FORBIDDEN, DRAINAGE_LINE = 0, 1, 2, 3
# How a walk ends: as above, or one of these.
REACHED, TOO_LOW, NOT_WANTED, TOO_LONG, CAME_ROUND, CUT_TOO_DEEP, GROUND_TOO_LOW, OFF_DEM = range(
    4, 12
)

# A drain is cut into higher ground by at most this, and banked over lower ground.
DEEPEST_CUT_M = 0.3
HIGHEST_BANK_M = 0.1

_FAN = 20  # headings tried to each side
_FAN_STEP = np.pi / 36.0
# Where the ground is at the level only beyond a turn of 60°, or nowhere, small bumps are cut
# through: a height off the level weighs against a turn, m per radian.
_SHARP = np.pi / 3.0
_TURN_M = 0.05
_HALVINGS = 30


@numba.njit(cache=True, nogil=True)
def _ahead(
    ground_m: GroundArray, row: float, column: float, heading: float, step: float, level_m: float
) -> float:
    """Ground minus level one step ahead, m."""
    r, c = row - step * np.sin(heading), column + step * np.cos(heading)
    return bilinear(ground_m, r, c) - level_m


@numba.njit(cache=True, nogil=True)
def _turn(
    ground_m: GroundArray,
    row: float,
    column: float,
    heading: float,
    step: float,
    level_m: float,
    side: float,
) -> tuple[float, float]:
    """Turn that comes to the level at the next step, and the ground minus level there.

    Of several the one nearest to straight ahead; ground rises towards `side`. NaN where no heading
    has ground.
    """
    level_turn = np.nan
    near_turn, near_off, least = np.nan, np.nan, np.inf
    before = np.nan
    for i in range(-_FAN, _FAN + 1):
        turn = i * _FAN_STEP
        off = _ahead(ground_m, row, column, heading + turn, step, level_m)
        cost = abs(off) + _TURN_M * abs(turn)
        if cost < least:
            near_turn, near_off, least = turn, off, cost
        if side * before <= 0.0 < side * off or (side * before < 0.0 <= side * off):
            low, high = turn - _FAN_STEP, turn
            for _ in range(_HALVINGS):
                middle = 0.5 * (low + high)
                at_middle = _ahead(ground_m, row, column, heading + middle, step, level_m)
                if side * at_middle > 0.0:
                    high = middle
                else:
                    low = middle
            if not abs(level_turn) <= abs(low):
                level_turn = low
        before = off
    if abs(level_turn) <= _SHARP:
        return level_turn, 0.0
    return near_turn, near_off


@numba.njit(cache=True, nogil=True)
def _nearest(
    vertices: FloatArray, first: int, last: int, row: float, column: float
) -> tuple[float, float]:
    """Distance to a line, cells, and the line's level there, m."""
    least, level = np.inf, np.nan
    for i in range(first, last - 1):
        dr = vertices[i + 1, 0] - vertices[i, 0]
        dc = vertices[i + 1, 1] - vertices[i, 1]
        long2 = dr * dr + dc * dc
        share = 0.0
        if long2 > 0.0:
            share = ((row - vertices[i, 0]) * dr + (column - vertices[i, 1]) * dc) / long2
            share = min(max(share, 0.0), 1.0)
        off = np.hypot(row - vertices[i, 0] - share * dr, column - vertices[i, 1] - share * dc)
        if off < least:
            least = off
            level = vertices[i, 2] + share * (vertices[i + 1, 2] - vertices[i, 2])
    return least, level


@numba.njit(cache=True, nogil=True)
def _met(
    vertices: FloatArray,
    first: CellArray,
    reach: FloatArray,
    wanted: BoolArray,
    row: float,
    column: float,
    level_m: float,
) -> tuple[int, int]:
    """How meeting the lines near a place ends the walk, FREE if not at all; and which line."""
    for target in range(reach.size):
        off, its_level = _nearest(vertices, first[target], first[target + 1], row, column)
        if off <= reach[target]:
            if level_m < its_level:
                return TOO_LOW, target
            return (REACHED if wanted[target] else NOT_WANTED), target
    return FREE, -1


@numba.njit(cache=True, nogil=True)
def _diggable(off_m: float) -> int:
    """FREE where ground minus level can be cut or banked, else how the walk ends."""
    if np.isnan(off_m):
        return OFF_DEM
    if off_m > DEEPEST_CUT_M:
        return CUT_TOO_DEEP
    return GROUND_TOO_LOW if off_m < -HIGHEST_BANK_M else FREE


@numba.njit(cache=True, nogil=True)
def walk_at_grade(
    ground_m: GroundArray,
    ways: Uint8Array,
    near: BoolArray,
    vertices: FloatArray,
    first: CellArray,
    reach: FloatArray,
    wanted: BoolArray,
    start: FloatArray,
    fall_m: float,
    side: float,
    step: float,
    longest: float,
) -> tuple[FloatArray, int, int]:
    """Places along the ground that fall evenly from a start.

    Parameters
    ----------
    ground_m : (rows, columns) float32
    ways : (rows, columns) uint8; FREE, OFF_PROPERTY, FORBIDDEN or DRAINAGE_LINE
    near : (rows, columns) bool; only here are lines looked for
    vertices : (n, 3) rows, columns and levels of all lines that may be met
    first : (lines + 1,) where each line's vertices begin
    reach : (lines,) a line is met this near to it
    wanted : (lines,) whether it may take the water
    start : row, column and level
    fall_m : for each cell of length, positive
    side : 1 keeps higher ground on the left, −1 on the right
    step : length of a step, at most one cell
    longest : length at which the walk is given up

    Returns
    -------
    (n, 2) rows and columns, the start first; how it ended; index of the line met, −1 for none

    Notes
    -----
    The start may lie on forbidden ground, as a house does within its own setback: it counts once
    the walk has come out of it. A level falls steadily, so a walk never crosses itself; it is given
    up when it has turned once round.
    """
    places = np.empty((int(longest / step) + 2, 2))
    row, column, level = start[0], start[1], start[2]
    places[0, 0], places[0, 1] = row, column
    n = 1
    east = bilinear(ground_m, row, column + 1.0) - bilinear(ground_m, row, column - 1.0)
    north = bilinear(ground_m, row - 1.0, column) - bilinear(ground_m, row + 1.0, column)
    heading = np.arctan2(north, east) - side * np.pi / 2.0
    turned = 0.0
    come_out = False
    how, line = (OFF_DEM if np.isnan(heading) else FREE), -1
    while how == FREE:
        level -= fall_m * step
        turn, off = _turn(ground_m, row, column, heading, step, level, side)
        how = _diggable(off)
        if how != FREE:
            break
        heading += turn
        turned += turn
        # Half steps, so that no line of cells is stepped over.
        for _ in range(2):
            row -= 0.5 * step * np.sin(heading)
            column += 0.5 * step * np.cos(heading)
            passed = ways[int(np.rint(row)), int(np.rint(column))]
            come_out = come_out or passed == FREE
            if how == FREE and (passed != FORBIDDEN or come_out):
                how = int(passed)
        if how != FREE:
            break
        places[n, 0], places[n, 1] = row, column
        n += 1
        if near[int(np.rint(row)), int(np.rint(column))]:
            how, line = _met(vertices, first, reach, wanted, row, column, level)
        if how == FREE and abs(turned) > 2.0 * np.pi:
            how = CAME_ROUND
        if how == FREE and n == places.shape[0]:
            how = TOO_LONG
    return places[:n], how, line
