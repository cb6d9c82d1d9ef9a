"""The compiled walk from places on lips down the cells to where their water arrives."""

from typing import NamedTuple

import numba
import numpy as np

from soakline.grid import FloatArray
from soakline.inputs.types import IndexArray
from soakline.terrain.compass import COLUMN_STEP, DISTANCE_CELLS, END, ROW_STEP, VOID
from soakline.terrain.flow import Uint8Array
from soakline.terrain.paths import LabelArray


class LipPlaces(NamedTuple):
    """Lips ready to be asked where they could spill: points close together along all; n of them.

    Parameters
    ----------
    start : (lips + 1,) where each lip's points begin, and the end of the last
    along_m : (n,) from each lip's start, evenly spaced, m
    row, column : (n,) fractional
    up_row, up_column : (n,) unit vector to the left of the lip, which is uphill
    clear_m : (lips,) from each lip to its mound's toe, m
    level_m : (lips,) m
    """

    start: IndexArray
    along_m: FloatArray
    row: FloatArray
    column: FloatArray
    up_row: FloatArray
    up_column: FloatArray
    clear_m: FloatArray
    level_m: FloatArray


class WaysDown(NamedTuple):
    """Ways from n places on lips.

    Parameters
    ----------
    goal : (n,) end met, 0 for none, −1 where the way does not get clear of the lip, or leads back
        to it
    start_cell : (n,) flat index of the first cell below the lip
    first : (n + 1,) place of each way's first station, and the number of stations
    way_m : (n,) length, m
    passed : (n,) marks of the cells passed
    station_row, station_column : (stations,) fractional, the sill first
    """

    goal: IndexArray
    start_cell: IndexArray
    first: IndexArray
    way_m: FloatArray
    passed: Uint8Array
    station_row: FloatArray
    station_column: FloatArray


@numba.njit(cache=True, nogil=True)
def _first_below(
    row: float,
    column: float,
    left_row: float,
    left_column: float,
    clear_cells: float,
    burnt: LabelArray,
    own: int,
) -> tuple[int, int]:
    """First cell straight below the lip that is clear of the mound; −1, −1 where none is near.

    Water leaves through the gap in the mound, so its way is followed only from beyond the toe.
    """
    for steps in (1.0, 1.5, 2.0, 2.5, 3.0):
        reach = max(clear_cells + steps - 0.5, steps)
        r, c = round(row - reach * left_row), round(column - reach * left_column)
        inside = 0 <= r < burnt.shape[0] and 0 <= c < burnt.shape[1]
        if inside and burnt[r, c] != own:
            return r, c
    return -1, -1


@numba.njit(cache=True, nogil=True)
def ways_down(
    swale: IndexArray,
    along_m: FloatArray,
    places: LipPlaces,
    burnt: LabelArray,
    goal: LabelArray,
    direction: Uint8Array,
    marks: Uint8Array,
    cell_m: float,
    spacing_m: float,
) -> tuple[IndexArray, IndexArray, IndexArray, FloatArray, Uint8Array, FloatArray, FloatArray]:
    """Follow the cells' directions from places on lips to the ends that they meet.

    Parameters
    ----------
    swale, along_m : (n,) lip of each place, and where on it, m
    places : LipPlaces
    burnt, goal, direction, marks : (rows, columns); a way stops where `goal` is not 0; lip k is
        number k + 1 among the burnt ones, and of the ends
    cell_m : m
    spacing_m : between stations of a way, m

    Returns
    -------
    as of `WaysDown`
    """
    count = swale.size
    found, start = np.full(count, -1), np.full(count, -1)
    first = np.zeros(count + 1, np.int64)
    way_m = np.zeros(count)
    passed = np.zeros(count, np.uint8)
    rows_out, columns_out = [0.0][:0], [0.0][:0]
    for i in range(count):
        first[i] = len(rows_out)
        own = swale[i] + 1
        begin, end = places.start[own - 1], places.start[own]
        at = along_m[i] / places.along_m[begin + 1]
        k = min(begin + int(at), end - 2)
        share = at - (k - begin)
        sill_row = places.row[k] + share * (places.row[k + 1] - places.row[k])
        sill_column = places.column[k] + share * (places.column[k + 1] - places.column[k])
        near = k + 1 if share > 0.5 else k
        row, column = _first_below(
            places.row[near],
            places.column[near],
            places.up_row[near],
            places.up_column[near],
            places.clear_m[own - 1] / cell_m,
            burnt,
            own,
        )
        if row < 0:
            continue
        start[i] = row * direction.shape[1] + column
        rows_out.append(sill_row)
        columns_out.append(sill_column)
        since_m = np.hypot(row - sill_row, column - sill_column) * cell_m
        way_m[i] = since_m
        while True:
            passed[i] |= marks[row, column]
            k = direction[row, column]
            last = goal[row, column] != 0 or k == END or k == VOID
            if last or since_m >= spacing_m - 1e-9:
                rows_out.append(float(row))
                columns_out.append(float(column))
                since_m = 0.0
            if last:
                break
            way_m[i] += DISTANCE_CELLS[k] * cell_m
            since_m += DISTANCE_CELLS[k] * cell_m
            row += ROW_STEP[k]
            column += COLUMN_STEP[k]
        found[i] = goal[row, column] if goal[row, column] != own else -1
    first[-1] = len(rows_out)
    return found, start, first, way_m, passed, np.array(rows_out), np.array(columns_out)
