"""A grid cut into tiles, and the cells along their edges: all that tiles tell each other."""

from dataclasses import dataclass
from typing import TypeVar

import numba
import numpy as np
import numpy.typing as npt

T = TypeVar("T", bound=np.generic)
NodeArray = npt.NDArray[np.int64]


@numba.njit(cache=True)
def rim_index(row: int, column: int, rows: int, columns: int) -> int:
    """Place of a cell in the list of a tile's edge cells; −1 for one that is not on its edge.

    The list: first row, last row, then the rest of the first and of the last column.
    """
    if row == 0:
        return column
    if row == rows - 1:
        return columns + column
    if column == 0:
        return 2 * columns + row - 1
    if column == columns - 1:
        return 2 * columns + rows - 2 + row - 1
    return -1


@numba.njit(cache=True)
def rim_cells(rows: int, columns: int) -> npt.NDArray[np.int64]:
    """Flat indices of a tile's edge cells, in the order of `rim_index`."""
    count = rows * columns
    if rows > 2 and columns > 2:
        count -= (rows - 2) * (columns - 2)
    cells = np.empty(count, np.int64)
    for row in range(rows):
        step = 1 if row in (0, rows - 1) else max(columns - 1, 1)
        for column in range(0, columns, step):
            cells[rim_index(row, column, rows, columns)] = row * columns + column
    return cells


@dataclass(frozen=True, slots=True)
class Tiling:
    """A grid cut into tiles: rows and columns of them, the last ones smaller.

    Parameters
    ----------
    rows, columns : of the grid
    side : of a tile, cells

    Examples
    --------
    >>> tiling = Tiling(5, 7, 3)
    >>> tiling.count, tiling.window(5)
    (6, (3, 5, 6, 7))
    """

    rows: int
    columns: int
    side: int

    @property
    def down(self) -> int:
        """Tiles from north to south."""
        return -(-self.rows // self.side)

    @property
    def across(self) -> int:
        """Tiles from west to east."""
        return -(-self.columns // self.side)

    @property
    def count(self) -> int:
        return self.down * self.across

    def window(self, tile: int) -> tuple[int, int, int, int]:
        """First row and the one after the last, first column and the one after the last."""
        top, left = tile // self.across * self.side, tile % self.across * self.side
        return (
            top,
            min(top + self.side, self.rows),
            left,
            min(left + self.side, self.columns),
        )

    def shape(self, tile: int) -> tuple[int, int]:
        """Rows and columns of a tile."""
        top, bottom, left, right = self.window(tile)
        return bottom - top, right - left

    def beside(self, tile: int) -> list[int]:
        """Tiles that share an edge or a corner with a tile."""
        row, column = divmod(tile, self.across)
        return [
            r * self.across + c
            for r in range(max(row - 1, 0), min(row + 2, self.down))
            for c in range(max(column - 1, 0), min(column + 2, self.across))
            if (r, c) != (row, column)
        ]

    def rim_starts(self) -> NodeArray:
        """(tiles + 1,) where the edge cells of each tile start in a list of those of all tiles."""
        sizes = [rim_cells(*self.shape(tile)).size for tile in range(self.count)]
        return np.cumsum([0, *sizes])

    def frame_nodes(self, tile: int, rim_start: NodeArray) -> NodeArray:
        """Cells around a tile, as places in the list of the edge cells of all tiles.

        Parameters
        ----------
        tile : index
        rim_start : of `rim_starts`

        Returns
        -------
        (n,) in the order of `rim_cells` of the tile with one cell more on each side; −1 off it
        """
        top, _, left, _ = self.window(tile)
        rows, columns = self.shape(tile)
        row, column = np.divmod(rim_cells(rows + 2, columns + 2), columns + 2)
        row, column = row + top - 1, column + left - 1
        inside = (row >= 0) & (row < self.rows) & (column >= 0) & (column < self.columns)
        nodes = np.full(row.size, -1, dtype=np.int64)
        row, column = row[inside], column[inside]
        owner = row // self.side * self.across + column // self.side
        first_row, first_column = row // self.side * self.side, column // self.side * self.side
        nodes[inside] = rim_start[owner] + _rim_indices(
            row - first_row,
            column - first_column,
            np.minimum(self.side, self.rows - first_row),
            np.minimum(self.side, self.columns - first_column),
        )
        return nodes


@numba.njit(cache=True)
def _rim_indices(
    row: NodeArray, column: NodeArray, rows: NodeArray, columns: NodeArray
) -> NodeArray:
    out = np.empty(row.size, np.int64)
    for i in range(row.size):
        out[i] = rim_index(row[i], column[i], rows[i], columns[i])
    return out


def framed(core: npt.NDArray[T], frame: npt.NDArray[T]) -> npt.NDArray[T]:
    """A tile with the cells around it.

    Parameters
    ----------
    core : (rows, columns)
    frame : (n,) values around it, in the order of `Tiling.frame_nodes`

    Returns
    -------
    (rows + 2, columns + 2)
    """
    rows, columns = core.shape[0] + 2, core.shape[1] + 2
    out = np.empty((rows, columns), core.dtype)
    out[1:-1, 1:-1] = core
    out.ravel()[rim_cells(rows, columns)] = frame
    return out
