"""Where the water of each drain goes on to, and why it never comes round to where it was."""

import numba
import numpy as np

from soakline.diversions.diversion import NONE
from soakline.grid import BoolArray, FloatArray
from soakline.terrain.compass import COLUMN_STEP, DISTANCE_CELLS, END, ROW_STEP, VOID
from soakline.terrain.flow import Uint8Array
from soakline.terrain.paths import CellArray, LabelArray


@numba.njit(cache=True, nogil=True)
def first_met(
    direction: Uint8Array, burnt: LabelArray, start: int, ignored: BoolArray
) -> tuple[int, float]:
    """Label that the way down meets first, and how far off.

    Parameters
    ----------
    direction : (rows, columns) uint8
    burnt : (rows, columns) int32; 0 where nothing is
    start : flat index of the first cell
    ignored : (labels + 1,) bool; labels that are passed by

    Returns
    -------
    label, 0 where the way leaves the grid; and the length of the way, cells
    """
    columns = direction.shape[1]
    row, column = start // columns, start % columns
    way = 0.0
    while direction[row, column] != VOID:
        label = burnt[row, column]
        if label != 0 and not ignored[label]:
            return label, way
        k = direction[row, column]
        if k == END:
            break
        row += ROW_STEP[k]
        column += COLUMN_STEP[k]
        way += DISTANCE_CELLS[k]
    return 0, way


def _next_of_each(
    direct: CellArray,
    joined: CellArray,
    ends: CellArray,
    burnt: LabelArray,
    direction: Uint8Array,
    ignored: BoolArray,
) -> tuple[CellArray, FloatArray]:
    """Label that each drain's water comes to next, drains that it passes by left aside."""
    count = direct.size
    first_drain = ignored.shape[1] - count
    label = np.zeros(count, np.int64)
    way = np.zeros(count)
    for k in range(count):
        if direct[k] != NONE:
            label[k] = direct[k] + 1
        elif joined[k] != NONE and not ignored[k, first_drain + joined[k]]:
            label[k] = first_drain + joined[k]
        else:
            label[k], way[k] = first_met(direction, burnt, int(ends[k]), ignored[k])
    return label, way


def _open_circles(
    direct: CellArray,
    joined: CellArray,
    ends: CellArray,
    burnt: LabelArray,
    direction: Uint8Array,
    ignored: BoolArray,
) -> tuple[CellArray, FloatArray]:
    """Next labels without a circle: drains of one pass each other by, until none is left."""
    import networkx as nx  # noqa: PLC0415 - slow to load, only drains need it

    first_drain = ignored.shape[1] - direct.size
    while True:
        label, way = _next_of_each(direct, joined, ends, burnt, direction, ignored)
        onward = [(k, int(at) - first_drain) for k, at in enumerate(label) if at >= first_drain]
        circles = list(nx.simple_cycles(nx.DiGraph(onward)))
        if not circles:
            return label, way
        for circle in circles:
            ignored[np.ix_(circle, [first_drain + k for k in circle])] = True


def receivers_of(
    direct: CellArray,
    joined: CellArray,
    ends: CellArray,
    together: BoolArray,
    burnt: LabelArray,
    direction: Uint8Array,
    swales: int,
) -> tuple[CellArray, FloatArray]:
    """What takes each drain's water next.

    Parameters
    ----------
    direct : (k,) index of the swale that a drain meets; `NONE` where it meets none
    joined : (k,) index of the drain that it ends on; `NONE` where on none
    ends : (k,) flat index of its last cell
    together : (k, k) bool; drains that end on one spot, each with itself, pass each other by
    burnt : (rows, columns) int32; i + 1 on swale i, swales + k + 1 on drain k
    direction : (rows, columns) uint8
    swales : how many there are

    Returns
    -------
    (k,) label as in `burnt`, 0 for a drain that comes to no swale and is not dug; and how far the
    water runs over the ground to it, cells

    Notes
    -----
    Each drain has one next label, so following them either ends in a swale or comes round. Drains
    that would send water round to each other pass each other by, and the water of each leaves over
    the ground, which only leads down. Drains that come to nothing are taken out of the ground, and
    the others are followed anew. Both steps only take ways out, so they come to an end.
    """
    count = direct.size
    label, way = np.zeros(count, np.int64), np.zeros(count)
    gone = np.zeros(count, dtype=bool)
    while True:
        ignored = np.zeros((count, swales + 1 + count), dtype=bool)
        ignored[:, swales + 1 :] = gone | together
        label, way = _open_circles(direct, joined, ends, burnt, direction, ignored)
        label[gone] = 0
        missing = (label == 0) & ~gone
        if not missing.any():
            return label, way
        gone |= missing
