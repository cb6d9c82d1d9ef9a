"""Flats by tiles: steps to where each drains, shortened from tile to tile until none changes.

On a flat a cell goes to a neighbour that is one step nearer to where the flat drains (`flow`). The
least number of steps is the same whatever order cells are visited in, so tiles that tell each other
the steps of their edge cells come to what the whole grid has.
"""

import numba
import numpy as np
import numpy.typing as npt

from soakline.grid import GroundArray
from soakline.terrain.compass import COLUMN_STEP, PREFERRED, ROW_STEP
from soakline.terrain.flow import FIXED, Uint8Array
from soakline.terrain.tiles.tiling import NodeArray

StepArray = npt.NDArray[np.int32]

FAR = np.int32(2**31 - 2)
"""Steps of a cell from which no way out is known yet."""


@numba.njit(cache=True, nogil=True)
def first_steps(filled_m: GroundArray, state: Uint8Array, steps: StepArray) -> NodeArray:
    """Set steps of 1 beside cells that drain; return the flat indices.

    Parameters
    ----------
    filled_m : (rows, columns) float32, m, with the cells around the tile
    state : (rows, columns) uint8, of `facets`; `VOID` around the tile
    steps : (rows, columns) int32; 0 where cells drain, `FAR` on flats and around the tile; changed
    """
    rows, columns = state.shape
    found = np.empty(1024, np.int64)
    count = 0
    for row in range(rows):
        for column in range(columns):
            if state[row, column] != 0:
                continue
            for k in range(8):
                r, c = row + ROW_STEP[k], column + COLUMN_STEP[k]
                if steps[r, c] == 0 and filled_m[r, c] == filled_m[row, column]:
                    steps[row, column] = 1
                    if count == found.size:
                        found = np.append(found, np.empty(count, np.int64))
                    found[count] = row * columns + column
                    count += 1
                    break
    return found[:count]


@numba.njit(cache=True, nogil=True)
def shorten(filled_m: GroundArray, state: Uint8Array, steps: StepArray, known: NodeArray) -> None:
    """Shorten the steps of a tile's flats, in place, from cells whose steps are known.

    Parameters
    ----------
    filled_m, state, steps : (rows, columns), as of `first_steps`
    known : flat indices, of rising steps
    """
    rows, columns = state.shape
    far = steps.reshape(-1)
    queue = np.empty(1024, np.int64)
    head, tail, taken = 0, 0, 0
    while taken < known.size or head < tail:
        # The nearer of two queues, each in order of steps: what is added keeps the order.
        if head == tail or (taken < known.size and far[known[taken]] <= far[queue[head]]):
            cell = known[taken]
            taken += 1
        else:
            cell = queue[head]
            head += 1
        row, column = cell // columns, cell % columns
        now = steps[row, column] + 1
        for k in range(8):
            r, c = row + ROW_STEP[k], column + COLUMN_STEP[k]
            if not (0 <= r < rows and 0 <= c < columns) or state[r, c] != 0:
                continue
            if filled_m[r, c] == filled_m[row, column] and steps[r, c] > now:
                steps[r, c] = now
                if tail == queue.size:
                    queue = np.append(queue, np.empty(tail, np.int64))
                queue[tail] = r * columns + c
                tail += 1


@numba.njit(cache=True, nogil=True)
def lead(filled_m: GroundArray, state: Uint8Array, steps: StepArray) -> int:
    """Give each cell of a tile's flats its direction, in place; return how many have none.

    Parameters
    ----------
    filled_m, state, steps : (rows, columns), as of `first_steps`
    """
    rows, columns = state.shape
    lost = 0
    for row in range(rows):
        for column in range(columns):
            if state[row, column] != 0:
                continue
            lost += 1
            for k in PREFERRED:
                r, c = row + ROW_STEP[k], column + COLUMN_STEP[k]
                nearer = steps[r, c] == steps[row, column] - 1
                if nearer and filled_m[r, c] == filled_m[row, column]:
                    state[row, column] = FIXED | k
                    lost -= 1
                    break
    return lost
