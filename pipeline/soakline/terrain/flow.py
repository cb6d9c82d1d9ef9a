"""Where every cell's water goes: one downhill neighbour each, and the area behind it.

Directions are D8-LTD (Orlandini, Moretti, Franchini, Aldighieri & Testa 2003, Water Resources
Research 39(6), 1144): of the two neighbours of the steepest facet, the one that keeps the
transversal deviation summed down the path least. Plain D8 bends every hillside's catchment towards
the nearest of eight directions; this follows the true aspect in the mean.
"""

from dataclasses import dataclass

import numba
import numpy as np
import numpy.typing as npt

from soakline.grid import BoolArray, GroundArray
from soakline.terrain.compass import COLUMN_STEP, END, ROW_STEP, VOID

Uint8Array = npt.NDArray[np.uint8]
CountArray = npt.NDArray[np.uint32]

_FIRST_LOWER = 8  # flag: the facet's first neighbour is strictly lower
_SECOND_LOWER = 16
_FIXED = 32  # the direction is given, by the flood
_RIM = 64  # water leaves here
_DONE = 255


@dataclass(frozen=True, eq=False, slots=True)
class Flow:
    """Directions and the cells behind each.

    Parameters
    ----------
    direction : (rows, columns) uint8, codes of `compass`
    upstream_cells : (rows, columns) uint32, valid cells that drain through, the cell itself
        included
    """

    direction: Uint8Array
    upstream_cells: CountArray


@numba.njit(cache=True, parallel=True)
def _facets(filled_m: GroundArray, domain: BoolArray) -> Uint8Array:
    """State of each cell: its steepest facet and which of its two neighbours are strictly lower.

    Facet f lies between neighbour codes f and f + 1. A cell without a lower neighbour is 0.
    """
    rows, columns = filled_m.shape
    state = np.full((rows, columns), VOID, np.uint8)
    for row in numba.prange(rows):
        around = np.empty(9)
        for column in range(columns):
            if not domain[row, column]:
                continue
            rim = row == 0 or column == 0 or row == rows - 1 or column == columns - 1
            centre = filled_m[row, column]
            lower = False
            if not rim:
                for k in range(8):
                    r, c = row + ROW_STEP[k], column + COLUMN_STEP[k]
                    rim = rim or not domain[r, c]
                    around[k] = filled_m[r, c]
                    lower = lower or around[k] < centre
                around[8] = around[0]
            if rim:
                state[row, column] = _RIM
                continue
            state[row, column] = 0
            if not lower:
                continue
            best = 0.0
            for f in range(8):
                cardinal = around[f] if f % 2 == 0 else around[f + 1]
                diagonal = around[f + 1] if f % 2 == 0 else around[f]
                along = centre - cardinal
                across = cardinal - diagonal
                if across < 0.0:
                    steepness = along * abs(along)
                elif across > along:
                    drop = centre - diagonal
                    steepness = 0.5 * drop * abs(drop)
                else:
                    steepness = along * along + across * across
                if steepness > best:
                    best = steepness
                    state[row, column] = (
                        f
                        | (_FIRST_LOWER if around[f] < centre else 0)
                        | (_SECOND_LOWER if around[f + 1] < centre else 0)
                    )
    return state


@numba.njit(cache=True)
def _drain_flats(filled_m: GroundArray, state: Uint8Array) -> None:
    """Lead every cell without a lower neighbour to the nearest outlet of its flat, breadth first.

    Each cell enters the queue once, from a neighbour of its own height that already drains, so
    following the directions can never come back: this is the parent that a flood gives.
    """
    rows, columns = filled_m.shape
    flats = 0
    for row in range(rows):
        for column in range(columns):
            flats += state[row, column] == 0
    queue = np.empty(flats, np.int64)
    head, tail = 0, 0
    # Cells found in this first pass keep state 0 until they are queued, so that the pass grows the
    # flood by one ring only and the queue stays in order of distance.
    for row in range(rows):
        for column in range(columns):
            if state[row, column] != 0:
                continue
            for k in range(8):
                r, c = row + ROW_STEP[k], column + COLUMN_STEP[k]
                drains = state[r, c] == _RIM or (state[r, c] & (_FIRST_LOWER | _SECOND_LOWER)) != 0
                if state[r, c] != VOID and drains and filled_m[r, c] <= filled_m[row, column]:
                    queue[tail] = (row * columns + column) * 8 + k
                    tail += 1
                    break
    for i in range(tail):
        cell = queue[i] // 8
        state[cell // columns, cell % columns] = _FIXED | (queue[i] % 8)
    while head < tail:
        cell = queue[head] // 8
        head += 1
        row, column = cell // columns, cell % columns
        for k in range(8):
            r, c = row + ROW_STEP[k], column + COLUMN_STEP[k]
            if state[r, c] == 0 and filled_m[r, c] == filled_m[row, column]:
                state[r, c] = _FIXED | ((k + 4) % 8)
                queue[tail] = (r * columns + c) * 8
                tail += 1


@numba.njit(cache=True)
def _peel(
    filled_m: GroundArray, valid: BoolArray, state: Uint8Array
) -> tuple[Uint8Array, CountArray]:
    """Choose each cell's neighbour from the top down, carrying area and deviation along.

    A cell is ready when every cell that might drain to it has chosen: both neighbours of a facet
    wait for it. Candidates are strictly lower or the flood's parent, so no cell waits for ever.
    """
    rows, columns = filled_m.shape
    waiting = np.zeros((rows, columns), np.uint8)
    for row in range(rows):
        for column in range(columns):
            s = state[row, column]
            if s == VOID or s & _RIM:
                continue
            if s & _FIXED:
                k = s & 7
                waiting[row + ROW_STEP[k], column + COLUMN_STEP[k]] += 1
                continue
            if s & _FIRST_LOWER:
                k = s & 7
                waiting[row + ROW_STEP[k], column + COLUMN_STEP[k]] += 1
            if s & _SECOND_LOWER:
                k = ((s & 7) + 1) & 7
                waiting[row + ROW_STEP[k], column + COLUMN_STEP[k]] += 1

    upstream = np.zeros((rows, columns), np.uint32)
    largest_inflow = np.zeros((rows, columns), np.uint32)
    deviation = np.zeros((rows, columns), np.float32)  # in cells, left of the true path positive
    stack = np.empty(1024, np.int64)
    for start_row in range(rows):
        for start_column in range(columns):
            if state[start_row, start_column] == VOID or waiting[start_row, start_column] != 0:
                continue
            stack[0] = start_row * columns + start_column
            depth = 1
            while depth > 0:
                depth -= 1
                row, column = stack[depth] // columns, stack[depth] % columns
                waiting[row, column] = _DONE
                s = state[row, column]
                upstream[row, column] += valid[row, column]
                if s & _RIM:
                    state[row, column] = END
                    continue
                carried = 0.0
                if s & _FIXED:
                    chosen = s & 7
                    candidates = 1
                    other = chosen
                else:
                    first = s & 7
                    second = (first + 1) & 7
                    centre = filled_m[row, column]
                    at_first = filled_m[row + ROW_STEP[first], column + COLUMN_STEP[first]]
                    at_second = filled_m[row + ROW_STEP[second], column + COLUMN_STEP[second]]
                    # Facet frame: x towards the cardinal neighbour, y towards the diagonal one.
                    turn = 1.0 if first % 2 == 0 else -1.0
                    cardinal = at_first if first % 2 == 0 else at_second
                    diagonal = at_second if first % 2 == 0 else at_first
                    x = float(centre) - cardinal
                    y = float(cardinal) - diagonal
                    if y < 0.0:
                        x, y = 1.0, 0.0
                    elif y > x:
                        x, y = 1.0, 1.0
                    size = np.sqrt(x * x + y * y)
                    to_cardinal = -turn * y / size
                    to_diagonal = turn * (x - y) / size
                    to_first = to_cardinal if first % 2 == 0 else to_diagonal
                    to_second = to_diagonal if first % 2 == 0 else to_cardinal
                    to_first += deviation[row, column]
                    to_second += deviation[row, column]
                    a, b = abs(to_first), abs(to_second)
                    # Equal deviation: the cardinal neighbour, whichever side it is on.
                    wants_first = a < b or (a == b and first % 2 == 0)
                    if not s & _SECOND_LOWER:
                        wants_first = True
                    elif not s & _FIRST_LOWER:
                        wants_first = False
                    chosen = first if wants_first else second
                    other = second if wants_first else first
                    carried = to_first if wants_first else to_second
                    candidates = 2 if s & _FIRST_LOWER and s & _SECOND_LOWER else 1
                state[row, column] = chosen
                r, c = row + ROW_STEP[chosen], column + COLUMN_STEP[chosen]
                upstream[r, c] += upstream[row, column]
                if upstream[row, column] > largest_inflow[r, c]:
                    largest_inflow[r, c] = upstream[row, column]
                    deviation[r, c] = carried
                if depth + 2 > stack.size:
                    longer = np.empty(2 * stack.size, np.int64)
                    longer[: stack.size] = stack
                    stack = longer
                for i in range(candidates):
                    if i == 1:
                        r, c = row + ROW_STEP[other], column + COLUMN_STEP[other]
                    waiting[r, c] -= 1
                    if waiting[r, c] == 0:
                        stack[depth] = r * columns + c
                        depth += 1
    return state, upstream


def flow_over(filled_m: GroundArray, valid: BoolArray, domain: BoolArray) -> Flow:
    """Direction and contributing cells of every cell of a filled surface.

    Parameters
    ----------
    filled_m : (rows, columns) float32, m; every hollow filled, so that no cell of the domain is
        lower than all of its neighbours
    valid : (rows, columns) bool; cells whose area counts
    domain : (rows, columns) bool; cells that water may pass: the valid ones, and holes inside them

    Returns
    -------
    Flow; cells on the rim of the domain END, others point to one neighbour

    Notes
    -----
    λ = 1: the whole deviation is carried on, from the inflow with the largest area. A cell with no
    lower neighbour takes the parent that a flood from the flat's outlet gives.
    """
    state = _facets(filled_m, domain)
    _drain_flats(filled_m, state)
    direction, upstream = _peel(filled_m, valid, state)
    return Flow(direction, upstream)
