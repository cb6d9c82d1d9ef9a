"""Trees by first fit: along rows, each where its crown clears all that stand."""

from dataclasses import dataclass

import numba as nb
import numpy as np

from soakline.grid import FloatArray
from soakline.section.stations import IntArray


@dataclass(frozen=True, eq=False, slots=True)
class Mixtures:
    """Species that follow each other along each row, over and over.

    Parameters
    ----------
    start : (rows + 1,) where each row's own begin in `species`
    species : index of each
    """

    start: IntArray
    species: IntArray


def first_fit(
    easting_m: FloatArray,
    northing_m: FloatArray,
    row: IntArray,
    mixtures: Mixtures,
    crown_m: FloatArray,
) -> IntArray:
    """Plant places one after another, each where the crowns of all trees stay side by side.

    Parameters
    ----------
    easting_m, northing_m : (n,) places in the order in which they are tried, m
    row : (n,) of each place
    mixtures : of the rows
    crown_m : (species,) full-grown crown width, m

    Returns
    -------
    (n,) species planted at each place; −1 where none is

    Notes
    -----
    Two trees stand no nearer than half the sum of their crowns. Where two rows lie nearer to each
    other than that and are tried together by chainage, their trees come to stand staggered.
    """
    used = crown_m[np.unique(mixtures.species)]
    if easting_m.size == 0 or used.size == 0:
        return np.full(easting_m.size, -1, dtype=np.int64)
    heads = Cells.over(easting_m, northing_m, float(used.max()))
    return np.asarray(
        _fit(
            easting_m - heads.west_m,
            northing_m - heads.south_m,
            row,
            mixtures.start,
            mixtures.species,
            crown_m,
            heads.size_m,
            heads.columns,
            heads.rows,
        )
    )


@dataclass(frozen=True, slots=True)
class Cells:
    """Coarse cells that find trees near a place."""

    west_m: float
    south_m: float
    size_m: float
    columns: int
    rows: int

    @classmethod
    def over(cls, easting_m: FloatArray, northing_m: FloatArray, size_m: float) -> "Cells":
        """Cells of a size over all places, a rim of one included."""
        west, south = float(easting_m.min()) - size_m, float(northing_m.min()) - size_m
        columns = int((float(easting_m.max()) - west) / size_m) + 2
        rows = int((float(northing_m.max()) - south) / size_m) + 2
        return cls(west, south, size_m, columns, rows)


@nb.njit(cache=True)
def _fit(
    x: FloatArray,
    y: FloatArray,
    row: IntArray,
    start: IntArray,
    species: IntArray,
    crown_m: FloatArray,
    size_m: float,
    columns: int,
    rows: int,
) -> IntArray:
    planted = np.full(x.size, -1, np.int64)
    head = np.full(columns * rows, -1, np.int32)
    following = np.full(x.size, -1, np.int32)
    turn = np.zeros(start.size - 1, np.int64)
    for i in range(x.size):
        own = row[i]
        many = start[own + 1] - start[own]
        if many == 0:
            continue
        kind = species[start[own] + turn[own] % many]
        column, line = int(x[i] / size_m), int(y[i] / size_m)
        clear = True
        for cell_line in range(line - 1, line + 2):
            for cell_column in range(column - 1, column + 2):
                other = head[cell_line * columns + cell_column]
                while other >= 0 and clear:
                    apart = 0.5 * (crown_m[kind] + crown_m[planted[other]])
                    gap = (x[other] - x[i]) ** 2 + (y[other] - y[i]) ** 2
                    clear = gap >= apart * apart
                    other = following[other]
                if not clear:
                    break
            if not clear:
                break
        if clear:
            planted[i] = kind
            turn[own] += 1
            cell = line * columns + column
            following[i] = head[cell]
            head[cell] = i
    return planted
