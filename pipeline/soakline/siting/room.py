"""Where a swale's whole footprint fits across the slope, cell by cell."""

import numba
import numpy as np

from soakline.grid import BoolArray, FloatArray, GroundArray
from soakline.inputs.types import IndexArray
from soakline.siting.stations import OPEN, Siteable
from soakline.terrain.cells import burn


def roomy_ground(siteable: Siteable, ground_m: GroundArray) -> BoolArray:
    """Ground where a lip may lie with its trench above it and its mound below it.

    Parameters
    ----------
    siteable : Siteable
    ground_m : (rows, columns) float32, m

    Returns
    -------
    (rows, columns) bool; as near as cells tell, since lines are held against the exact shapes later
    """
    grid, excluded = siteable.grid, siteable.excluded
    roomy: BoolArray = siteable.state == OPEN
    asked = np.flatnonzero(roomy & siteable.near_exclusion)
    if asked.size == 0:
        return roomy
    barred = ~burn(np.array([excluded.inner]), grid)
    barred |= burn(excluded.polygons, grid)
    slope = siteable.slope_pct.ravel()[asked].astype(np.float64)
    uphill, downhill = siteable.reach.at(slope)
    cell = grid.cell_m
    roomy.ravel()[asked] = _fits(ground_m, barred, asked, uphill / cell, downhill / cell)
    return roomy


@numba.njit(cache=True)
def _fits(
    ground_m: GroundArray,
    barred: BoolArray,
    asked: IndexArray,
    uphill_cells: FloatArray,
    downhill_cells: FloatArray,
) -> BoolArray:
    """Whether no cell up and down the slope from each of those asked is barred, as far as told."""
    rows, columns = ground_m.shape
    fits = np.ones(asked.size, np.bool_)
    for k in range(asked.size):
        row, column = divmod(asked[k], columns)
        above, below = max(row - 1, 0), min(row + 1, rows - 1)
        left, right = max(column - 1, 0), min(column + 1, columns - 1)
        south = float(ground_m[below, column]) - float(ground_m[above, column])
        east = float(ground_m[row, right]) - float(ground_m[row, left])
        steepness = np.hypot(south, east)
        if not steepness > 0.0:  # level, or at the edge of what is known
            continue
        along = -downhill_cells[k]
        while fits[k] and along <= uphill_cells[k]:
            at_row = int(np.rint(row + along * south / steepness))
            at_column = int(np.rint(column + along * east / steepness))
            inside = 0 <= at_row < rows and 0 <= at_column < columns
            fits[k] = inside and not barred[at_row, at_column]
            along += 0.5
    return fits
