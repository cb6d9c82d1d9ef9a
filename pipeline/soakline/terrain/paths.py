"""Following the directions down: labels, paths and what they pass."""

import numba
import numpy as np
import numpy.typing as npt

from soakline.grid import BoolArray, FloatArray
from soakline.terrain.compass import COLUMN_STEP, DISTANCE_CELLS, END, ROW_STEP, VOID
from soakline.terrain.flow import Uint8Array

LabelArray = npt.NDArray[np.int32]
CellArray = npt.NDArray[np.int64]

BYPASS = -1


@numba.njit(cache=True)
def first_intercept(direction: Uint8Array, burnt: LabelArray) -> LabelArray:
    """Label of the first burnt cell that each cell's water meets, its own cell included.

    Parameters
    ----------
    direction : (rows, columns) uint8
    burnt : (rows, columns) int32; 0 where nothing is burnt, else a positive label

    Returns
    -------
    (rows, columns) int32; `BYPASS` where water leaves the grid unmet, 0 outside the domain
    """
    rows, columns = direction.shape
    label = burnt.copy()
    for start_row in range(rows):
        for start_column in range(columns):
            if label[start_row, start_column] != 0 or direction[start_row, start_column] == VOID:
                continue
            row, column = start_row, start_column
            found = BYPASS
            # Walk down to a cell whose answer is known, then write it along the same path.
            while label[row, column] == 0 and direction[row, column] != END:
                k = direction[row, column]
                row += ROW_STEP[k]
                column += COLUMN_STEP[k]
            if label[row, column] != 0:
                found = label[row, column]
            row, column = start_row, start_column
            while label[row, column] == 0:
                label[row, column] = found
                k = direction[row, column]
                if k == END:
                    break
                row += ROW_STEP[k]
                column += COLUMN_STEP[k]
    return label


@numba.njit(cache=True)
def path_down(direction: Uint8Array, start: int, stop: BoolArray) -> CellArray:
    """Flat indices of the cells on the way down, to the first stop cell or the edge.

    Parameters
    ----------
    direction : (rows, columns) uint8
    start : flat index of the first cell, which is part of the path
    stop : (rows, columns) bool; the first such cell ends the path and belongs to it

    Returns
    -------
    (n,) int64
    """
    columns = direction.shape[1]
    row, column = start // columns, start % columns
    out = np.empty(256, np.int64)
    n = 0
    while direction[row, column] != VOID:
        if n == out.size:
            longer = np.empty(2 * n, np.int64)
            longer[:n] = out
            out = longer
        out[n] = row * columns + column
        n += 1
        if stop[row, column] or direction[row, column] == END:
            break
        k = direction[row, column]
        row += ROW_STEP[k]
        column += COLUMN_STEP[k]
    return out[:n]


@numba.njit(cache=True)
def way_to_target_m(
    direction: Uint8Array, starts: CellArray, target: BoolArray, cell_m: float, limit_m: float
) -> FloatArray:
    """Length of the flow path from each start to the first target cell.

    Parameters
    ----------
    direction : (rows, columns) uint8
    starts : (n,) flat indices
    target : (rows, columns) bool
    cell_m : side of a cell, m
    limit_m : longer ways are not followed, m

    Returns
    -------
    (n,) m; 0 on a target, inf where the path does not meet one within the limit
    """
    columns = direction.shape[1]
    out = np.full(starts.size, np.inf)
    for i in range(starts.size):
        row, column = starts[i] // columns, starts[i] % columns
        way = 0.0
        while way <= limit_m and direction[row, column] != VOID:
            if target[row, column]:
                out[i] = way
                break
            k = direction[row, column]
            if k == END:
                break
            row += ROW_STEP[k]
            column += COLUMN_STEP[k]
            way += DISTANCE_CELLS[k] * cell_m
    return out
