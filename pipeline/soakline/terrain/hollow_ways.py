"""Ways of water through kept hollows: along the deepest ground, as a stream would fill it.

A filled hollow is flat, and the shortest ways over it are straight strokes. Each of its cells keeps
the place where its water leaves; the way there is the one that costs least, where a metre costs the
less the deeper the hollow is. Nothing changes outside: as much water leaves at each place.
"""

import numba
import numpy as np

from soakline.grid import BoolArray, FloatArray, GroundArray
from soakline.inputs.types import IndexArray
from soakline.terrain.compass import COLUMN_STEP, DISTANCE_CELLS, END, ROW_STEP
from soakline.terrain.flow import CountArray, Flow, Uint8Array
from soakline.terrain.heap import pop, pushed
from soakline.terrain.hollows import FilledGround, Hollows

# A metre along the rim costs as much as eleven at the deepest.
_SHALLOW = 0.1
# Costs are whole numbers in the heap.
_PER_CELL = 16.0
_MOST_COST = 2**32 - 1


@numba.njit(cache=True)
def _place_in(cells: IndexArray, cell: int) -> int:
    """Place of a cell among sorted ones, −1 where it is none of them."""
    at = np.searchsorted(cells, cell)
    return int(at) if at < cells.size and cells[at] == cell else -1


@numba.njit(cache=True)
def _exits(
    cells: IndexArray, direction: Uint8Array, filled_m: GroundArray
) -> tuple[IndexArray, BoolArray]:
    """Cell outside that the water of each cell comes to first, and which cells lie right before.

    Both empty where some water comes back in.
    """
    columns = direction.shape[1]
    leads_to, last = np.full(cells.size, -1), np.zeros(cells.size, np.bool_)
    way = np.empty(cells.size, np.int64)
    level = filled_m[cells[0] // columns, cells[0] % columns]
    for start in range(cells.size):
        at, steps, cell = start, 0, cells[start]
        while at >= 0 and leads_to[at] < 0:
            way[steps] = at
            steps += 1
            row, column = cell // columns, cell % columns
            k = direction[row, column]
            cell = (row + ROW_STEP[k]) * columns + column + COLUMN_STEP[k]
            at = _place_in(cells, cell)
        if at < 0:
            last[way[steps - 1]] = True
            # Over ground just as high as the spill level, or a hole, water may come back in.
            row, column = cell // columns, cell % columns
            while filled_m[row, column] >= level and direction[row, column] < END:
                k = direction[row, column]
                row, column = row + ROW_STEP[k], column + COLUMN_STEP[k]
                if _place_in(cells, row * columns + column) >= 0:
                    return leads_to[:0], last[:0]
        else:
            cell = leads_to[at]
        for i in range(steps):
            leads_to[way[i]] = cell
    return leads_to, last


@numba.njit(cache=True)
def _coming_in(cells: IndexArray, direction: Uint8Array, upstream: CountArray) -> IndexArray:
    """Cells behind each cell of a hollow that drain to it from around, itself included."""
    rows, columns = direction.shape
    behind = np.ones(cells.size, np.int64)
    for at in range(cells.size):
        row, column = cells[at] // columns, cells[at] % columns
        for k in range(8):
            r, c = row + ROW_STEP[k], column + COLUMN_STEP[k]
            inside = 0 <= r < rows and 0 <= c < columns
            drains = inside and direction[r, c] == (k + 4) % 8
            if drains and _place_in(cells, r * columns + c) < 0:
                behind[at] += upstream[r, c]
    return behind


@numba.njit(cache=True)
def _turned(
    cells: IndexArray,
    leads_to: IndexArray,
    last: BoolArray,
    depth_share: FloatArray,
    direction: Uint8Array,
) -> IndexArray:
    """Turn directions to the cheapest way to each cell's exit, in place; cells from there upwards.

    Dijkstra 1959, from all exits at once.
    """
    columns = direction.shape[1]
    least = np.full(cells.size, _MOST_COST)
    settled = np.zeros(cells.size, np.bool_)
    order = np.empty(cells.size, np.int64)
    heap = np.empty(1024, np.uint64)
    size, count = 0, 0
    for at in range(cells.size):
        if last[at]:
            least[at] = 0
            heap = pushed(heap, size, 0, at)
            size += 1
    while size > 0:
        at = int(pop(heap, size) & np.uint64(_MOST_COST))
        size -= 1
        if settled[at]:
            continue
        settled[at] = True
        order[count] = at
        count += 1
        row, column = cells[at] // columns, cells[at] % columns
        for k in range(8):
            r, c = row + ROW_STEP[k], column + COLUMN_STEP[k]
            other = _place_in(cells, r * columns + c)
            if other < 0 or settled[other] or leads_to[other] != leads_to[at]:
                continue
            share = 0.5 * (depth_share[at] + depth_share[other])
            step = _PER_CELL * DISTANCE_CELLS[k] / (_SHALLOW + share)
            cost = min(least[at] + int(np.rint(step)), _MOST_COST - 1)
            if cost < least[other]:
                least[other] = cost
                direction[r, c] = (k + 4) % 8
                heap = pushed(heap, size, cost, other)
                size += 1
    return order[:count]


@numba.njit(cache=True)
def _lead_deepest(
    cells: IndexArray,
    depth_share: FloatArray,
    direction: Uint8Array,
    upstream: CountArray,
    filled_m: GroundArray,
) -> None:
    """Turn the directions of a hollow's cells, sorted, to its deepest ground; in place."""
    leads_to, last = _exits(cells, direction, filled_m)
    if leads_to.size == 0:
        return
    columns = direction.shape[1]
    behind = _coming_in(cells, direction, upstream)
    for at in _turned(cells, leads_to, last, depth_share, direction)[::-1]:
        row, column = cells[at] // columns, cells[at] % columns
        upstream[row, column] = behind[at]
        if not last[at]:
            k = direction[row, column]
            to = _place_in(cells, (row + ROW_STEP[k]) * columns + column + COLUMN_STEP[k])
            behind[to] += behind[at]


def led_through_hollows(
    flow: Flow, hollows: Hollows, dem_m: GroundArray, filled: FilledGround
) -> Flow:
    """The same flow, but through kept hollows along their deepest ground.

    Parameters
    ----------
    flow : Flow over the filled ground
    hollows : Hollows
    dem_m : (rows, columns) float32, m
    filled : FilledGround of the same DEM

    Returns
    -------
    Flow; the same one where no hollow is kept
    """
    kept = np.flatnonzero(hollows.kept).tolist()
    if not kept:
        return flow
    direction, upstream = flow.direction.copy(), flow.upstream_cells.copy()
    for index in kept:
        cells = hollows.of(index)
        depth = hollows.level_m[index] - dem_m.ravel()[cells]
        _lead_deepest(cells, depth / hollows.depth_m[index], direction, upstream, filled.filled_m)
    return Flow(direction, upstream)
