"""Slow and obvious forms of the compiled kernels, by their definitions and nothing else."""

import math

import numpy as np
import numpy.typing as npt

from soakline.grid import BoolArray, FloatArray, GroundArray
from soakline.terrain.compass import COLUMN_STEP, END, ROW_STEP, VOID

Uint8Array = npt.NDArray[np.uint8]
Cell = tuple[int, int]


def neighbour(cell: Cell, k: int) -> Cell:
    return cell[0] + int(ROW_STEP[k]), cell[1] + int(COLUMN_STEP[k])


def below(direction: Uint8Array, cell: Cell) -> Cell | None:
    """The next cell on the way down; None on the rim."""
    k = int(direction[cell])
    return None if k == END else neighbour(cell, k)


def upstream_by_walking(direction: Uint8Array, valid: BoolArray) -> npt.NDArray[np.int64]:
    """Walk down from every valid cell and count it wherever it passes."""
    count = np.zeros(direction.shape, dtype=np.int64)
    for start in zip(*np.nonzero(valid), strict=True):
        cell: Cell | None = (int(start[0]), int(start[1]))
        for _ in range(direction.size + 1):
            count[cell] += 1
            cell = below(direction, cell)
            if cell is None:
                break
        else:
            raise AssertionError(f"water from {start} runs in a circle")
    return count


def first_met(direction: Uint8Array, burnt: npt.NDArray[np.int32]) -> npt.NDArray[np.int32]:
    """Label of the first burnt cell on the way down; −1 where none is met, 0 outside."""
    label = np.zeros(direction.shape, dtype=np.int32)
    for start in np.ndindex(direction.shape):
        if direction[start] == VOID and burnt[start] == 0:
            continue
        cell: Cell | None = start
        while cell is not None and burnt[cell] == 0:
            cell = below(direction, cell)
        label[start] = -1 if cell is None else burnt[cell]
    return label


def disc_mean(dem_m: GroundArray, radius_cells: float) -> FloatArray:
    """Mean of the valid cells whose centres lie within a radius; NaN where the cell is."""
    out = np.full(dem_m.shape, np.nan)
    reach = math.ceil(radius_cells)
    for row, column in np.ndindex(dem_m.shape):
        if np.isnan(dem_m[row, column]):
            continue
        near = [
            float(dem_m[r, c])
            for r in range(max(row - reach, 0), min(row + reach + 1, dem_m.shape[0]))
            for c in range(max(column - reach, 0), min(column + reach + 1, dem_m.shape[1]))
            if math.hypot(r - row, c - column) <= radius_cells + 1e-9 and not np.isnan(dem_m[r, c])
        ]
        out[row, column] = sum(near) / len(near)
    return out


def facet_aspect(
    centre: float, first: float, second: float, first_is_cardinal: bool
) -> tuple[float, float]:
    """Steepest descent on one facet: its slope, and its angle from the cardinal neighbour.

    A facet is the triangle of a cell, a cardinal neighbour one cell away and the diagonal one
    beside it (Tarboton 1997, which D8-LTD builds on).
    """
    cardinal, diagonal = (first, second) if first_is_cardinal else (second, first)
    s1, s2 = centre - cardinal, cardinal - diagonal
    angle = math.atan2(s2, s1)
    if angle < 0.0:
        return s1, 0.0
    if angle > math.pi / 4.0:
        return (centre - diagonal) / math.sqrt(2.0), math.pi / 4.0
    return math.hypot(s1, s2), angle


def against_least_deviation(
    filled_m: GroundArray, direction: Uint8Array, upstream: npt.NDArray[np.uint32]
) -> list[Cell]:
    """Cells whose direction is not that of least transversal deviation; no flats, no holes.

    Goes from the highest cell down and keeps, at each, the deviations that it may carry on: more
    than one where inflows have equal areas, since the definition does not say which then counts.
    """
    rows, columns = filled_m.shape
    wrong: list[Cell] = []
    carried: dict[Cell, set[float]] = {}
    donors: dict[Cell, list[Cell]] = {}
    for cell in sorted(np.ndindex(filled_m.shape), key=lambda cell: -float(filled_m[cell])):
        if cell[0] in (0, rows - 1) or cell[1] in (0, columns - 1):
            continue
        own = donors.get(cell, [])
        most = max((upstream[donor] for donor in own), default=0)
        before = {d for donor in own if upstream[donor] == most for d in carried[donor]} or {0.0}
        centre = float(filled_m[cell])
        heights = [float(filled_m[neighbour(cell, k)]) for k in range(8)]
        facets = [
            (*facet_aspect(centre, heights[f], heights[(f + 1) % 8], f % 2 == 0), f)
            for f in range(8)
        ]
        _, angle, f = max(facets, key=lambda facet: facet[0])
        cardinal, diagonal = (f, (f + 1) % 8) if f % 2 == 0 else ((f + 1) % 8, f)
        # The diagonal neighbour lies anticlockwise of the cardinal one, or clockwise.
        side = 1.0 if f % 2 == 0 else -1.0
        off = {
            cardinal: -side * math.sin(angle),
            diagonal: side * math.sqrt(2.0) * math.sin(math.pi / 4.0 - angle),
        }
        lower = [k for k in off if heights[k] < centre]
        chosen = int(direction[cell])
        may = {
            b + off[chosen]
            for b in (before if chosen in lower else ())
            if all(abs(b + off[chosen]) <= abs(b + off[k]) + 1e-5 for k in lower)
        }
        if not may:
            wrong.append(cell)
            may = {b + off.get(chosen, 0.0) for b in before}
        carried[cell] = may
        donors.setdefault(neighbour(cell, chosen), []).append(cell)
    return wrong


def quinn_accumulation(surface_m: GroundArray, own: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Area spread over all lower neighbours by slope times contour length, from the highest down.

    Quinn, Beven, Chevallier & Planchon 1991: contour lengths of 0.5 and 0.354 cells. No flats. The
    second figure is the mean way that it has come, in cells, half of one on its own.
    """
    rows, columns = surface_m.shape
    area, ways = own.copy(), 0.5 * own
    for cell in sorted(np.ndindex(surface_m.shape), key=lambda cell: -float(surface_m[cell])):
        if cell[0] in (0, rows - 1) or cell[1] in (0, columns - 1):
            continue
        weight, step = {}, {}
        for k in range(8):
            drop = float(surface_m[cell]) - float(surface_m[neighbour(cell, k)])
            step[k], contour = (1.0, 0.5) if k % 2 == 0 else (math.sqrt(2.0), 0.354)
            weight[k] = max(drop, 0.0) / step[k] * contour
        for k, w in weight.items():
            if w > 0.0:
                below = neighbour(cell, k)
                share = w / sum(weight.values())
                area[below] += area[cell] * share
                ways[below] += (ways[cell] + area[cell] * step[k]) * share
    return area, ways / area


def more_than_beside(area: FloatArray, surface_m: FloatArray) -> BoolArray:
    """Whether no more runs through the places a cell to the left and to the right of the slope."""
    rows, columns = area.shape

    def at(row: float, column: float) -> float:
        row, column = min(max(row, 0.0), rows - 1.0), min(max(column, 0.0), columns - 1.0)
        top, left = min(int(row), rows - 2), min(int(column), columns - 2)
        d, r = row - top, column - left
        upper = (1.0 - r) * area[top, left] + r * area[top, left + 1]
        lower = (1.0 - r) * area[top + 1, left] + r * area[top + 1, left + 1]
        return float((1.0 - d) * upper + d * lower)

    most = np.zeros(area.shape, dtype=bool)
    for row, column in np.ndindex(area.shape):
        above, below = max(row - 1, 0), min(row + 1, rows - 1)
        left, right = max(column - 1, 0), min(column + 1, columns - 1)
        down = (surface_m[below, column] - surface_m[above, column]) / (below - above)
        across = (surface_m[row, right] - surface_m[row, left]) / (right - left)
        steepness = math.hypot(down, across)
        step = across / steepness, -down / steepness
        sides = [at(row + k * step[0], column + k * step[1]) for k in (-1.0, 1.0)]
        most[row, column] = area[row, column] >= max(sides)
    return most
