"""Where spilled water may arrive, marked cell by cell."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry.base import BaseGeometry

from soakline.grid import BoolArray, Grid
from soakline.terrain.cells import GeometryArray, burn, cells_of
from soakline.terrain.compass import COLUMN_STEP, END, ROW_STEP
from soakline.terrain.flow import Uint8Array
from soakline.terrain.hollows import Hollows
from soakline.terrain.paths import LabelArray

EndKind = Literal["swale", "drainage_line", "dam", "hollow", "safe_point", "property_edge"]


@dataclass(frozen=True, slots=True)
class End:
    """A place where a route may end.

    Parameters
    ----------
    kind : EndKind
    index : which of its kind; 0 for the property's edge
    """

    kind: EndKind
    index: int


@dataclass(frozen=True, eq=False, slots=True)
class EndMap:
    """Ends on the grid.

    Parameters
    ----------
    goal : (rows, columns) int32; i + 1 where `ends[i]` is met, 0 elsewhere. Swales come first, in
        their order
    ends : every end
    """

    goal: LabelArray
    ends: tuple[End, ...]


def _near_points(points: GeometryArray, grid: Grid) -> BoolArray:
    """Cells of points and the four beside each."""
    mask = np.zeros(grid.shape, dtype=bool)
    x, y = shapely.get_x(points), shapely.get_y(points)
    for east, north in ((0, 0), (1, 0), (-1, 0), (0, 1), (0, -1)):
        cell = cells_of(grid, x + east * grid.cell_m, y + north * grid.cell_m)
        mask.ravel()[cell[cell >= 0]] = True
    return mask


def _cells_met(geometry: BaseGeometry, grid: Grid) -> BoolArray:
    one = np.array([geometry], dtype=object)
    return _near_points(one, grid) if geometry.geom_type == "Point" else burn(one, grid, True)


def over_the_edge(inside: BoolArray, direction: Uint8Array) -> npt.NDArray[np.int64]:
    """Flat indices of cells from which water leaves the model and the property at once.

    Where the model reaches no further than the property, or little, none of its cells lies beyond
    the edge. Where only heights are missing, water goes on over the property, nobody knows where.
    """
    row, column = np.nonzero(direction == END)
    leaves = np.zeros(row.size, dtype=bool)
    rows, columns = inside.shape
    for down, right in zip(ROW_STEP[:END].tolist(), COLUMN_STEP[:END].tolist(), strict=True):
        r, c = row + down, column + right
        on_grid = (r >= 0) & (r < rows) & (c >= 0) & (c < columns)
        leaves |= ~(on_grid & inside[r.clip(0, rows - 1), c.clip(0, columns - 1)])
    cells: npt.NDArray[np.int64] = np.ravel_multi_index((row[leaves], column[leaves]), inside.shape)
    return cells


def end_map(
    burnt: LabelArray,
    swales: int,
    drainage_cells: list[npt.NDArray[np.int64]],
    dams: GeometryArray,
    hollows: Hollows,
    safe_points: GeometryArray,
    area: BaseGeometry,
    direction: Uint8Array,
    grid: Grid,
) -> EndMap:
    """Mark every end; where two share a cell the first of swale, dam, hollow, given point and
    drainage line holds it, and outside the property the edge holds all. Where the elevation model
    ends there too, the edge holds the last cells inside, if nothing else does.

    Parameters
    ----------
    burnt : (rows, columns) int32; cells of the lips, i + 1 on swale i
    swales : how many there are
    drainage_cells : flat indices of each drainage line's cells
    dams, safe_points : polygons or points
    hollows : Hollows; the kept ones are ends
    area : the property
    direction : (rows, columns) uint8
    grid : Grid

    Returns
    -------
    EndMap
    """
    ends = [End("swale", i) for i in range(swales)]
    goal = burnt.copy()
    flat = goal.ravel()

    def mark(mask: BoolArray, end: End) -> None:
        ends.append(end)
        goal[mask & (goal == 0)] = len(ends)

    for i, dam in enumerate(dams):
        mark(_cells_met(dam, grid), End("dam", i))
    for i in np.flatnonzero(hollows.kept).tolist():
        ends.append(End("hollow", i))
        own = hollows.of(i)
        flat[own[flat[own] == 0]] = len(ends)
    for i, point in enumerate(safe_points):
        mark(_cells_met(point, grid), End("safe_point", i))
    for i, cells in enumerate(drainage_cells):
        ends.append(End("drainage_line", i))
        free = cells[flat[cells] == 0]
        flat[free] = len(ends)
    ends.append(End("property_edge", 0))
    inside = burn(np.array([area], dtype=object), grid)
    goal[~inside] = len(ends)
    last = over_the_edge(inside, direction)
    flat[last[flat[last] == 0]] = len(ends)
    return EndMap(goal, tuple(ends))
