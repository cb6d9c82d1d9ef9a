"""What drains to each swale: the cells that meet its lip first going downhill."""

from dataclasses import dataclass

import numba
import numpy as np
import numpy.typing as npt
from shapely.geometry import MultiPolygon

from soakline.grid import BoolArray, FloatArray, Grid, GroundArray
from soakline.terrain.cells import outlines
from soakline.terrain.compass import COLUMN_STEP, END, ROW_STEP, VOID
from soakline.terrain.flow import Uint8Array
from soakline.terrain.paths import LabelArray, first_intercept


@numba.njit(cache=True)
def _burn_line(burnt: LabelArray, row: FloatArray, column: FloatArray, label: int) -> None:
    """Mark every cell that a line passes through; rows and columns are fractional."""
    rows, columns = burnt.shape
    for i in range(row.size - 1):
        # In cell units with cell (r, c) covering [r, r + 1): one edge is crossed at a time, so the
        # marked cells always share an edge and no diagonal step slips between two of them.
        y0, x0 = row[i] + 0.5, column[i] + 0.5
        y1, x1 = row[i + 1] + 0.5, column[i + 1] + 0.5
        r, c = int(np.floor(y0)), int(np.floor(x0))
        last_r, last_c = int(np.floor(y1)), int(np.floor(x1))
        dy, dx = y1 - y0, x1 - x0
        step_r = 1 if dy > 0 else -1
        step_c = 1 if dx > 0 else -1
        next_r = np.inf if dy == 0 else ((r + (1 if dy > 0 else 0)) - y0) / dy
        next_c = np.inf if dx == 0 else ((c + (1 if dx > 0 else 0)) - x0) / dx
        for _ in range(abs(last_r - r) + abs(last_c - c) + 1):
            if 0 <= r < rows and 0 <= c < columns and burnt[r, c] == 0:
                burnt[r, c] = label
            if next_r < next_c:
                next_r += 1.0 / abs(dy)
                r += step_r
            else:
                next_c += np.inf if dx == 0 else 1.0 / abs(dx)
                c += step_c
        if 0 <= last_r < rows and 0 <= last_c < columns and burnt[last_r, last_c] == 0:
            burnt[last_r, last_c] = label


def burn_lines(lines: list[FloatArray], grid: Grid) -> LabelArray:
    """Cells that each line passes through, 4-connected.

    Parameters
    ----------
    lines : (k, 2) easting and northing of each, m
    grid : Grid

    Returns
    -------
    (rows, columns) int32; i + 1 on line i, 0 elsewhere; a cell shared by two belongs to the first
    """
    burnt = np.zeros(grid.shape, np.int32)
    for i, line in enumerate(lines):
        row, column = grid.row_column(line[:, 0], line[:, 1])
        _burn_line(burnt, row, column, i + 1)
    return burnt


@numba.njit(cache=True)
def count_labels(label: LabelArray, valid: BoolArray, most: int) -> npt.NDArray[np.int64]:
    """Valid cells of each label, the one for `BYPASS` first; labels of others are set to 0.

    Parameters
    ----------
    label : (rows, columns) int32, −1 to `most`; changed in place
    valid : (rows, columns) bool
    most : largest label

    Returns
    -------
    (most + 2,) int64; entry k + 1 counts label k
    """
    counts = np.zeros(most + 2, np.int64)
    for row in range(label.shape[0]):
        for column in range(label.shape[1]):
            if valid[row, column]:
                counts[label[row, column] + 1] += 1
            else:
                label[row, column] = 0
    return counts


@dataclass(frozen=True, eq=False, slots=True)
class Catchments:
    """Cells by the line that they drain to.

    Parameters
    ----------
    burnt : (rows, columns) int32; cells of the lines themselves, i + 1 on line i
    label : (rows, columns) int32; i + 1 where line i is met first, −1 where none is, 0 outside
    area_m2 : (lines,) m²
    bypass_m2 : area that meets no line, m²
    """

    burnt: LabelArray
    label: LabelArray
    area_m2: FloatArray
    bypass_m2: float


def catchments_of(
    lines: list[FloatArray], direction: Uint8Array, valid: BoolArray, grid: Grid
) -> Catchments:
    """First-intercept catchments of lines.

    Parameters
    ----------
    lines : (k, 2) easting and northing of each, m
    direction : (rows, columns) uint8
    valid : (rows, columns) bool; only these cells have an area
    grid : Grid

    Returns
    -------
    Catchments; areas and bypass sum to the valid area exactly
    """
    burnt = burn_lines(lines, grid)
    label = first_intercept(direction, burnt)
    area = count_labels(label, valid, len(lines)).astype(np.float64) * grid.cell_area_m2
    return Catchments(burnt, label, area[2:], float(area[0]))


def catchment_polygons(catchments: Catchments, grid: Grid) -> list[MultiPolygon]:
    """Ground of each catchment, whole cells."""
    count = catchments.area_m2.size
    label = catchments.label
    pieces, number = outlines(label, label > 0, grid.transform)
    order = np.argsort(number, kind="stable")
    starts = np.searchsorted(number[order], np.arange(1, count + 2))
    return [MultiPolygon(list(pieces[order[starts[i] : starts[i + 1]]])) for i in range(count)]


@numba.njit(cache=True, nogil=True)
def _edge_fed(
    direction: Uint8Array, surface_m: GroundArray, burnt: LabelArray, label: LabelArray
) -> npt.NDArray[np.int8]:
    """Mark the ways from cells that higher ground on the grid's rim would feed, down to a line."""
    rows, columns = direction.shape
    fed = np.zeros((rows, columns), np.int8)
    for start_row in range(rows):
        for start_column in range(columns):
            if direction[start_row, start_column] != END:
                continue
            for k in range(8):
                row, column = start_row + ROW_STEP[k], start_column + COLUMN_STEP[k]
                if not (0 <= row < rows and 0 <= column < columns):
                    continue
                if direction[row, column] >= END or label[row, column] <= 0:
                    continue
                if not surface_m[start_row, start_column] > surface_m[row, column]:
                    continue
                while fed[row, column] == 0:
                    fed[row, column] = 1
                    step = direction[row, column]
                    if burnt[row, column] > 0 or step == END or step == VOID:
                        break
                    row += ROW_STEP[step]
                    column += COLUMN_STEP[step]
    return fed


@numba.njit(cache=True, nogil=True)
def _count_cut_off(
    direction: Uint8Array,
    burnt: LabelArray,
    label: LabelArray,
    fed: npt.NDArray[np.int8],
    most: int,
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    """Cells of each catchment whose water meets a marked way before its line; and all of them.

    Parameters
    ----------
    direction, burnt, label : (rows, columns)
    fed : (rows, columns) int8, of `_edge_fed`; changed to 1 where water meets such a way, else 2
    most : largest label
    """
    cut_off, total = np.zeros(most, np.int64), np.zeros(most, np.int64)
    rows, columns = direction.shape
    for start_row in range(rows):
        for start_column in range(columns):
            own = label[start_row, start_column]
            if own <= 0:
                continue
            row, column = start_row, start_column
            # Down to a cell whose answer is known, then the same way once more to write it.
            while (
                burnt[row, column] == 0 and fed[row, column] == 0 and direction[row, column] < END
            ):
                k = direction[row, column]
                row += ROW_STEP[k]
                column += COLUMN_STEP[k]
            found = 1 if burnt[row, column] == 0 and fed[row, column] == 1 else 2
            row, column = start_row, start_column
            while burnt[row, column] == 0 and fed[row, column] == 0:
                fed[row, column] = found
                k = direction[row, column]
                if k >= END:
                    break
                row += ROW_STEP[k]
                column += COLUMN_STEP[k]
            total[own - 1] += 1
            cut_off[own - 1] += found == 1
    return cut_off, total


def share_cut_off(
    catchments: Catchments, direction: Uint8Array, surface_m: GroundArray
) -> FloatArray:
    """Share of each catchment that drains along ways which the DEM's edge cuts off above.

    Parameters
    ----------
    catchments : Catchments
    direction : (rows, columns) uint8
    surface_m : (rows, columns) float32; the filled DEM, m

    Returns
    -------
    (lines,) 0 to 1: what enters the lip along ways that higher ground on the rim would feed, so
    that more land than the DEM shows may drain there

    Notes
    -----
    Cells on the rim end, so nothing flows in from them; where the rim is higher than the cell
    beside it, water from beyond the DEM would.
    """
    count = catchments.area_m2.size
    fed = _edge_fed(direction, surface_m, catchments.burnt, catchments.label)
    if count == 0 or not fed.any():
        return np.zeros(count)
    cut_off, total = _count_cut_off(direction, catchments.burnt, catchments.label, fed, count)
    share: FloatArray = cut_off / np.maximum(total, 1)
    return share
