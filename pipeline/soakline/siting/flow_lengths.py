"""How far and how steeply water runs to each swale: the shape of its catchment."""

from dataclasses import dataclass

import numba
import numpy as np

from soakline.grid import FloatArray, GroundArray
from soakline.siting.catchments import Catchments
from soakline.terrain.compass import COLUMN_STEP, DISTANCE_CELLS, END, ROW_STEP
from soakline.terrain.flow import Uint8Array
from soakline.terrain.paths import CellArray, LabelArray

_BIT_OF_SENDER = np.array([1 << (k + 4) % 8 for k in range(8)], dtype=np.uint8)
_LOWEST_BIT = np.array([(n & -n).bit_length() - 1 for n in range(256)], dtype=np.int64)
_DIAGONAL = float(DISTANCE_CELLS[1])


@dataclass(frozen=True, eq=False, slots=True)
class CatchmentShape:
    """What the time of concentration depends on; all (swales,), 0 for a lip without own cells.

    Parameters
    ----------
    flow_length_m : longest way of water to the lip, along the directions, m
    drop_m : fall of the ground along that way, m
    mean_slope_pct : mean of the land's slope over the catchment, %
    """

    flow_length_m: FloatArray
    drop_m: FloatArray
    mean_slope_pct: FloatArray


@numba.njit(cache=True, nogil=True)
def _senders(direction: Uint8Array, burnt: LabelArray) -> Uint8Array:
    """Neighbours that drain to each cell: bit k for the one at code k.

    A lip's own cells send nothing on: their water is where it should be.
    """
    rows, columns = direction.shape
    senders = np.zeros((rows, columns), np.uint8)
    for row in range(rows):
        for column in range(columns):
            k = direction[row, column]
            if k < END and burnt[row, column] == 0:
                senders[row + ROW_STEP[k], column + COLUMN_STEP[k]] |= _BIT_OF_SENDER[k]
    return senders


@numba.njit(cache=True, nogil=True)
def _longest_ways(
    senders: Uint8Array, burnt: LabelArray, label: LabelArray, filled_m: GroundArray, lines: int
) -> tuple[FloatArray, FloatArray]:
    """Longest way to each line, in cells, and the fall along it, m.

    From each burnt cell against the flow: a cell is met once and nothing is kept of it. Straight
    and diagonal steps are counted apart, since a sum of many roots depends on their order.
    """
    rows, columns = senders.shape
    longest, fall = np.zeros(lines), np.zeros(lines)
    stack = np.empty((256, 4), np.int64)
    for start_row in range(rows):
        for start_column in range(columns):
            own = burnt[start_row, start_column]
            if own == 0:
                continue
            most, drop = longest[own - 1], fall[own - 1]
            stack[0, 0], stack[0, 1], stack[0, 2], stack[0, 3] = start_row, start_column, 0, 0
            depth = 1
            while depth > 0:
                depth -= 1
                row, column = stack[depth, 0], stack[depth, 1]
                straight, diagonal = stack[depth, 2], stack[depth, 3]
                way = straight + diagonal * _DIAGONAL
                if way >= most and label[row, column] == own:
                    here = filled_m[row, column] - filled_m[start_row, start_column]
                    drop = here if way > most else max(here, drop)
                    most = way
                if depth + 8 > stack.shape[0]:
                    stack = _longer(stack)
                left = senders[row, column]
                while left != 0:
                    k = _LOWEST_BIT[left]
                    left &= left - 1
                    stack[depth, 0], stack[depth, 1] = row + ROW_STEP[k], column + COLUMN_STEP[k]
                    stack[depth, 2], stack[depth, 3] = straight + 1 - k % 2, diagonal + k % 2
                    depth += 1
            longest[own - 1], fall[own - 1] = most, drop
    return longest, fall


@numba.njit(cache=True, nogil=True)
def _longer(stack: CellArray) -> CellArray:
    twice = np.empty((2 * stack.shape[0], stack.shape[1]), np.int64)
    twice[: stack.shape[0]] = stack
    return twice


@numba.njit(cache=True, nogil=True)
def _mean_by_label(values: GroundArray, label: LabelArray, lines: int) -> FloatArray:
    total, cells = np.zeros(lines), np.zeros(lines, np.int64)
    for row in range(label.shape[0]):
        for column in range(label.shape[1]):
            if label[row, column] > 0:
                total[label[row, column] - 1] += values[row, column]
                cells[label[row, column] - 1] += 1
    return total / np.maximum(cells, 1)


def catchment_shape(
    catchments: Catchments,
    direction: Uint8Array,
    filled_m: GroundArray,
    slope_pct: GroundArray,
    cell_m: float,
) -> CatchmentShape:
    """Length, fall and slope of the land that drains to each lip.

    Parameters
    ----------
    catchments : Catchments
    direction : (rows, columns) uint8
    filled_m : (rows, columns) float32; the DEM as read with its hollows filled, m
    slope_pct : (rows, columns) float32; Horn's slope, %, NaN where not valid
    cell_m : side of a cell, m

    Returns
    -------
    CatchmentShape

    Notes
    -----
    A way runs from cell centre to cell centre, down to the lip's own cell that it meets first; on
    a plane it is at most 8.2 % longer than the straight line. The fall is between its two ends;
    ways never rise on the filled ground. Of equally long ways the one that falls more counts.
    """
    burnt, label, lines = catchments.burnt, catchments.label, catchments.area_m2.size
    senders = _senders(direction, burnt)
    longest, fall = _longest_ways(senders, burnt, label, filled_m, lines)
    return CatchmentShape(longest * cell_m, fall, _mean_by_label(slope_pct, label, lines))
