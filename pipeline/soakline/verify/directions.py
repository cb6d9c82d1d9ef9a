"""Flow directions by least cumulative deviation from the steepest aspect, for pyflwdir to follow.

Orlandini, Moretti, Franchini, Aldighieri & Testa (2003), "Path-based methods for the determination
of nondispersive drainage directions in grid-based digital elevation models": D8-LTD, λ = 1. The
steepest of eight facets: Tarboton (1997). Hollows are filled by pyflwdir.
"""

import numba
import numpy as np
import numpy.typing as npt
import pyflwdir
from pyflwdir import dem as flow

Heights = npt.NDArray[np.float32]
Codes = npt.NDArray[np.uint8]

NONE = np.float32(-9999.0)
# Eight neighbours clockwise from the north, and pyflwdir's codes for ways to them.
_DOWN = np.array([-1, -1, 0, 1, 1, 1, 0, -1])
_RIGHT = np.array([0, 1, 1, 1, 0, -1, -1, -1])
_CODE = np.array([64, 128, 1, 2, 4, 8, 16, 32], np.uint8)
_END = np.uint8(0)
_EIGHTH = np.pi / 4.0


def directions(height_m: Heights) -> tuple[Codes, npt.NDArray[np.bool_]]:
    """One way down for each cell, as pyflwdir codes them, and where another would do as well.

    Parameters
    ----------
    height_m : (rows, columns) m; NaN where there is none

    Returns
    -------
    (rows, columns) codes, and whether each is the way that pyflwdir's filling gave: of a cell that
    it raised, and of one with no lower neighbour. Another filling may lead water out of a hollow by
    other cells. Cells at the rim end
    """
    known = ~np.isnan(height_m)
    raw = np.where(known, height_m, NONE)
    filled, codes = flow.fill_depressions(raw, nodata=NONE)
    # A filled hollow is as high as its outlet: its cells come before that, the farthest first.
    rank = pyflwdir.from_array(codes, ftype="d8", check_ftype=False).rank
    order = np.lexsort((rank.ravel(), filled.ravel()))[::-1]
    filled_way = np.zeros(codes.shape, dtype=np.bool_)
    _least_deviation(raw, filled, known, order.astype(np.int64), codes, filled_way)
    return np.asarray(codes), filled_way


@numba.njit(cache=True)
def _facet(
    filled: Heights, row: int, column: int, cardinal: int, diagonal: int
) -> tuple[float, float]:
    """Slope of a facet, in heights a cell, and the aspect's angle from its cardinal side."""
    here = filled[row, column]
    one = filled[row + _DOWN[cardinal], column + _RIGHT[cardinal]]
    other = filled[row + _DOWN[diagonal], column + _RIGHT[diagonal]]
    along, across = float(here) - float(one), float(one) - float(other)
    angle = np.arctan2(across, along)
    if angle < 0.0:
        return along, 0.0
    if angle > _EIGHTH:
        return (float(here) - float(other)) / np.sqrt(2.0), _EIGHTH
    return np.hypot(along, across), angle


@numba.njit(cache=True)
def _on_the_rim(known: npt.NDArray[np.bool_], row: int, column: int) -> bool:
    """Whether a cell lies beside none: water leaves the heights there."""
    rows, columns = known.shape
    if not (0 < row < rows - 1 and 0 < column < columns - 1):
        return True
    return not known[row - 1 : row + 2, column - 1 : column + 2].all()


@numba.njit(cache=True)
def _way(filled: Heights, row: int, column: int, carried: float) -> tuple[int, float]:
    """Neighbour that keeps the deviation least, and the deviation; −1 where none is lower."""
    steepest, best, angle = 0.0, -1, 0.0
    for turned_by in range(8):
        # A facet between each neighbour and the next one clockwise; of equally steep ones, as where
        # the steepest way is a neighbour's own, the first of them counter-clockwise from the east.
        k = (1 - turned_by) % 8
        after = (k + 1) % 8
        cardinal, diagonal = (k, after) if k % 2 == 0 else (after, k)
        slope, turned = _facet(filled, row, column, cardinal, diagonal)
        if slope > steepest:
            steepest, best, angle = slope, k, turned
    if best < 0:
        return -1, 0.0
    after = (best + 1) % 8
    first, second, turn = (best, after, 1.0) if best % 2 == 0 else (after, best, -1.0)
    to_first = carried + turn * np.sin(angle)
    to_second = carried - turn * np.sqrt(2.0) * np.sin(_EIGHTH - angle)
    if abs(to_second) < abs(to_first):
        first, second, to_first, to_second = second, first, to_second, to_first
    here = filled[row, column]
    if filled[row + _DOWN[first], column + _RIGHT[first]] < here:
        return first, to_first
    if filled[row + _DOWN[second], column + _RIGHT[second]] < here:
        return second, to_second
    return -1, 0.0


@numba.njit(cache=True)
def _coded(code: int) -> int:
    """Neighbour that a code leads to; −1 for none."""
    for k in range(8):
        if code == _CODE[k]:
            return k
    return -1


@numba.njit(cache=True)
def _least_deviation(
    raw: Heights,
    filled: Heights,
    known: npt.NDArray[np.bool_],
    order: npt.NDArray[np.int64],
    codes: Codes,
    filled_way: npt.NDArray[np.bool_],
) -> None:
    """Set the codes of all cells that slope, from the highest down, and mark the others."""
    rows, columns = filled.shape
    area = np.ones((rows, columns), np.float32)
    largest = np.zeros((rows, columns), np.float32)
    carried = np.zeros((rows, columns), np.float32)
    for cell in order:
        row, column = cell // columns, cell % columns
        if not known[row, column]:
            continue
        if _on_the_rim(known, row, column):
            codes[row, column] = _END
            continue
        to, deviation = -1, 0.0
        if filled[row, column] == raw[row, column]:
            to, deviation = _way(filled, row, column, carried[row, column])
        if to >= 0:
            codes[row, column] = _CODE[to]
        else:
            filled_way[row, column] = True
            to = _coded(codes[row, column])
        r, c = row + _DOWN[to], column + _RIGHT[to]
        if to >= 0 and 0 <= r < rows and 0 <= c < columns:
            area[r, c] += area[row, column]
            # Of all that flows in, the largest carries its deviation on; of equals the least.
            own, most = area[row, column], largest[r, c]
            if own > most or (own == most and abs(deviation) < abs(carried[r, c])):
                largest[r, c] = area[row, column]
                carried[r, c] = deviation
