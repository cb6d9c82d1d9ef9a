"""Accumulation that spreads over every lower neighbour: it tells a valley from a false channel.

A single-direction method draws parallel channels down any smooth hillside, because all water of a
cell goes to one neighbour. Spread over all lower neighbours, only ground that truly gathers water
has a large area behind it.
"""

import numba
import numpy as np

from soakline.grid import BoolArray, FloatArray, Grid, GroundArray
from soakline.terrain.compass import COLUMN_STEP, DISTANCE_CELLS, ROW_STEP, VOID
from soakline.terrain.flow import FIXED, RIM, Uint8Array, drain_flats, facets
from soakline.terrain.hollows import fill_hollows

# Quinn, Beven, Chevallier & Planchon 1991, Hydrological Processes 5: contour length of a cardinal
# and a diagonal neighbour, over the distance to it, in cells.
_CARDINAL_WEIGHT = 0.5
_DIAGONAL_WEIGHT = 0.354 / np.sqrt(2.0)

_GATHERING = 4.0


@numba.njit(cache=True)
def _spread(
    filled_m: GroundArray, state: Uint8Array, own: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Quinn accumulation of each cell's own area from the top down; mean way of it, in cells."""
    rows, columns = filled_m.shape
    waiting = np.zeros((rows, columns), np.uint8)
    for row in range(rows):
        for column in range(columns):
            s = state[row, column]
            if s == VOID or s & RIM:
                continue
            for k in range(8):
                r, c = row + ROW_STEP[k], column + COLUMN_STEP[k]
                if s & FIXED:
                    waiting[r, c] += k == s & 7
                else:
                    waiting[r, c] += filled_m[r, c] < filled_m[row, column]
    area = own.copy()
    # Area times its way so far: half a cell to leave its own.
    moment = 0.5 * own
    stack = np.empty(1024, np.int64)
    weight = np.empty(8)
    for start_row in range(rows):
        for start_column in range(columns):
            if state[start_row, start_column] == VOID or waiting[start_row, start_column] != 0:
                continue
            stack[0] = start_row * columns + start_column
            depth = 1
            while depth > 0:
                depth -= 1
                row, column = stack[depth] // columns, stack[depth] % columns
                waiting[row, column] = 255
                s = state[row, column]
                if s & RIM:
                    continue
                total = 0.0
                for k in range(8):
                    r, c = row + ROW_STEP[k], column + COLUMN_STEP[k]
                    if s & FIXED:
                        weight[k] = 1.0 if k == s & 7 else 0.0
                    else:
                        drop = filled_m[row, column] - filled_m[r, c]
                        factor = _CARDINAL_WEIGHT if k % 2 == 0 else _DIAGONAL_WEIGHT
                        weight[k] = max(drop, 0.0) * factor
                    total += weight[k]
                if depth + 8 > stack.size:
                    longer = np.empty(2 * stack.size, np.int64)
                    longer[: stack.size] = stack
                    stack = longer
                for k in range(8):
                    if weight[k] == 0.0:
                        continue
                    r, c = row + ROW_STEP[k], column + COLUMN_STEP[k]
                    share = weight[k] / total
                    moved = moment[row, column] + area[row, column] * DISTANCE_CELLS[k]
                    area[r, c] += area[row, column] * share
                    moment[r, c] += moved * share
                    waiting[r, c] -= 1
                    if waiting[r, c] == 0:
                        stack[depth] = r * columns + c
                        depth += 1
    return area, moment / np.maximum(area, 1e-9)


@numba.njit(cache=True, parallel=True)
def _block_mean(surface: GroundArray, size: int) -> tuple[GroundArray, FloatArray]:
    """Mean of the valid cells of each block, and how many there are."""
    rows = (surface.shape[0] + size - 1) // size
    columns = (surface.shape[1] + size - 1) // size
    mean = np.full((rows, columns), np.nan, np.float32)
    count = np.zeros((rows, columns))
    for row in numba.prange(rows):
        for column in range(columns):
            total = 0.0
            for r in range(row * size, min((row + 1) * size, surface.shape[0])):
                for c in range(column * size, min((column + 1) * size, surface.shape[1])):
                    if not np.isnan(surface[r, c]):
                        total += surface[r, c]
                        count[row, column] += 1.0
            if count[row, column] > 0:
                mean[row, column] = total / count[row, column]
    return mean, count


def _on_axis(area: FloatArray, filled_m: GroundArray) -> BoolArray:
    """Whether as much water runs through a block as through its neighbours across the slope."""
    from scipy import ndimage  # noqa: PLC0415 - slow to load, no rerun needs it

    down, right = np.gradient(filled_m.astype(np.float64))
    steepness = np.maximum(np.hypot(down, right), 1e-12)
    row, column = np.indices(area.shape)
    step = np.nan_to_num(np.stack([right, -down]) / steepness)
    left, other = (
        ndimage.map_coordinates(
            area, [row + side * step[0], column + side * step[1]], order=1, mode="nearest"
        )
        for side in (-1.0, 1.0)
    )
    return np.asarray(area >= np.maximum(left, other))


def valley_blocks(
    ground_m: GroundArray, grid: Grid, least_m2: float, block_m: float = 5.0
) -> tuple[BoolArray, int]:
    """Blocks of ground where water truly gathers: true within one block of a valley's axis.

    Parameters
    ----------
    ground_m : (rows, columns) float32, m; NaN where not valid
    grid : Grid
    least_m2 : area behind a drainage line, m²
    block_m : side of the blocks, m: finer ground only carries survey noise

    Returns
    -------
    (block rows, block columns) bool, and the block's side in cells

    Notes
    -----
    Accumulation by Quinn et al. 1991; flats and hollows pass all their water on along the flood's
    path. A block gathers when at least half of the area is behind it (a valley floor shares its
    water between two blocks or three), more than behind its neighbours across the slope, and that
    area is `_GATHERING` times a strip of the block's own width, twice as long as the mean way of
    its water: on a plane that strip is all there is, however long the hillside, and survey noise
    of 10 cm makes it no more than about one and a half times that. The longest way will not do:
    over rough ground and round valley floors it winds.
    """
    from scipy import ndimage  # noqa: PLC0415 - slow to load, no rerun needs it

    size = max(1, round(block_m / grid.cell_m))
    mean, count = _block_mean(ground_m, size)
    filled = fill_hollows(mean)
    state = facets(filled.filled_m, filled.domain)
    drain_flats(filled.filled_m, state)
    area, mean_way = _spread(filled.filled_m, state, count * grid.cell_area_m2)
    block = size * grid.cell_m
    strip = 2.0 * mean_way * block * block
    strong = (area >= least_m2 / 2.0) & (area >= _GATHERING * strip)
    strong &= _on_axis(area, filled.filled_m)
    widened: BoolArray = ndimage.binary_dilation(strong, structure=np.ones((3, 3), dtype=bool))
    return widened, size
