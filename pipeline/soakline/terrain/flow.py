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
from soakline.terrain.compass import COLUMN_STEP, END, PREFERRED, RANK, ROW_STEP, VOID

Uint8Array = npt.NDArray[np.uint8]
CountArray = npt.NDArray[np.uint32]

_FIRST_LOWER = 8  # flag: the facet's first neighbour is strictly lower
_SECOND_LOWER = 16
FIXED = 32  # the direction is given, by the flood
RIM = 64  # water leaves here
_STEP = 8  # of a fixed cell: steps to where its flat drains, modulo 4, in the flags' two bits
_STEPS = 24
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
def facets(filled_m: GroundArray, domain: BoolArray) -> Uint8Array:
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
                state[row, column] = RIM
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
def drain_flats(filled_m: GroundArray, state: Uint8Array) -> None:
    """Lead every cell without a lower neighbour to the nearest outlet of its flat, breadth first.

    Each cell goes to a neighbour of its own height that is one step nearer; of several the first
    in `PREFERRED`. So its direction follows from the steps alone, not from the order in which the
    flood came to it, and tiles find the same. Following it can never come back.
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
            for k in PREFERRED:
                r, c = row + ROW_STEP[k], column + COLUMN_STEP[k]
                drains = state[r, c] == RIM or (state[r, c] & (_FIRST_LOWER | _SECOND_LOWER)) != 0
                if state[r, c] != VOID and drains and filled_m[r, c] <= filled_m[row, column]:
                    queue[tail] = (row * columns + column) * 8 + k
                    tail += 1
                    break
    for i in range(tail):
        cell = queue[i] // 8
        state[cell // columns, cell % columns] = FIXED | _STEP | (queue[i] % 8)
    while head < tail:
        cell = queue[head] // 8
        head += 1
        row, column = cell // columns, cell % columns
        # Neighbours on a flat are at most one step apart: their number modulo 4 tells which.
        farther = FIXED | ((state[row, column] + _STEP) & _STEPS)
        for k in range(8):
            r, c = row + ROW_STEP[k], column + COLUMN_STEP[k]
            if filled_m[r, c] != filled_m[row, column]:
                continue
            towards = (k + 4) % 8
            if state[r, c] == 0:
                state[r, c] = farther | towards
                queue[tail] = (r * columns + c) * 8
                tail += 1
            elif state[r, c] & ~7 == farther and RANK[towards] < RANK[state[r, c] & 7]:
                state[r, c] = farther | towards


@numba.njit(cache=True, nogil=True)
def awaited(state: Uint8Array) -> Uint8Array:
    """How many cells might drain to each: both neighbours of a facet wait for it."""
    rows, columns = state.shape
    waiting = np.zeros((rows, columns), np.uint8)
    for row in range(rows):
        for column in range(columns):
            s = state[row, column]
            if s == VOID or s & RIM:
                continue
            for turn in range(2):
                if s & FIXED:
                    candidate = turn == 0
                else:
                    candidate = s & (_FIRST_LOWER if turn == 0 else _SECOND_LOWER) != 0
                if not candidate:
                    continue
                k = (s + turn) & 7
                r, c = row + ROW_STEP[k], column + COLUMN_STEP[k]
                # Only cells of the frame around a tile point out of it.
                if 0 <= r < rows and 0 <= c < columns:
                    waiting[r, c] += 1
    return waiting


@numba.njit(cache=True)
def outweighs(
    area: int, deviation: np.float32, other_area: int, other_deviation: np.float32
) -> bool:
    """Whether the deviation of an inflow is carried on rather than another's.

    The larger area's is; of equal areas the smaller deviation, then the left one. So the choice is
    the same in whatever order inflows come.
    """
    if area != other_area:
        return area > other_area
    off, other_off = abs(deviation), abs(other_deviation)
    return bool(off < other_off or (off == other_off and deviation > other_deviation))


@numba.njit(cache=True, nogil=True)
def peel(
    filled_m: GroundArray,
    state: Uint8Array,
    waiting: Uint8Array,
    upstream: CountArray,
    largest_inflow: CountArray,
    deviation: GroundArray,
    starts: npt.NDArray[np.int64],
) -> None:
    """Choose each cell's neighbour from the top down, carrying area and deviation along.

    A cell is ready when every cell that might drain to it has chosen. Candidates are strictly lower
    or the flood's parent, so no cell waits for ever. What flows in adds up in any order.

    Parameters
    ----------
    filled_m : (rows, columns) float32, m
    state : (rows, columns) uint8; a chosen cell's becomes its direction
    waiting : (rows, columns) uint8, of `awaited`; 255 once a cell has chosen
    upstream : (rows, columns) uint32, valid cells: the cell itself and what has flowed in
    largest_inflow, deviation : (rows, columns) the largest of the inflows, and the deviation that
        came with it, in cells, left of the true path positive
    starts : flat indices of cells that are ready
    """
    columns = filled_m.shape[1]
    stack = np.empty(1024, np.int64)
    for start in starts:
        stack[0] = start
        depth = 1
        while depth > 0:
            depth -= 1
            row, column = stack[depth] // columns, stack[depth] % columns
            waiting[row, column] = _DONE
            s = state[row, column]
            if s & RIM:
                state[row, column] = END
                continue
            carried = 0.0
            if s & FIXED:
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
            own = upstream[row, column]
            kept = np.float32(carried)  # as it is kept, so that equal ones are equal
            if outweighs(own, kept, largest_inflow[r, c], deviation[r, c]):
                largest_inflow[r, c] = own
                deviation[r, c] = kept
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
    lower neighbour goes towards the nearest outlet of its flat. No rule depends on the order in
    which cells are visited: tiles give the same (docs/decisions/013).
    """
    state = facets(filled_m, domain)
    drain_flats(filled_m, state)
    waiting = awaited(state)
    upstream = valid.astype(np.uint32)
    largest_inflow = np.zeros(state.shape, np.uint32)
    deviation = np.zeros(state.shape, np.float32)
    ready = np.flatnonzero((waiting == 0) & (state != VOID))
    peel(filled_m, state, waiting, upstream, largest_inflow, deviation, ready)
    return Flow(state, upstream)
