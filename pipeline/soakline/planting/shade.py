"""When the crowns of trees come to shade the water of a trench."""

from dataclasses import dataclass

import numba as nb
import numpy as np

from soakline.grid import FloatArray
from soakline.planting.first_fit import Cells
from soakline.planting.growth import SHAPE, rate_per_year
from soakline.section.stations import (
    Chainages,
    IntArray,
    LipStations,
    interpolated,
    starts_of,
)

CLOSED_SHARE = 0.6
"""Of the ground under crowns from which a canopy is called closed: FGDC, National Vegetation
Classification Standard, 1997 (60 to 100 %), from memory."""

_ALONG_M = 2.0
_ACROSS = 4
# Cells in which the nearest tree is looked for: about as far apart as trees stand.
_NEAR_M = 4.0


def trench_samples(
    stations: LipStations, top_width_m: FloatArray
) -> tuple[IntArray, FloatArray, FloatArray]:
    """Places spread evenly over the trenches, from the lip to the top width.

    Parameters
    ----------
    stations : LipStations
    top_width_m : (lips,) m

    Returns
    -------
    (n,) lip, easting and northing of each; rising by lip, the same number of them everywhere along
    """
    at: Chainages = stations.at
    count = np.maximum(np.ceil(at.length_m / _ALONG_M).astype(np.int64), 1)
    lip = np.repeat(np.arange(count.size), count)
    along = (np.arange(lip.size) - starts_of(count)[lip] + 0.5) * (at.length_m / count)[lip]
    before, share = at.weights(lip, along)
    east, north, left_east, left_north = (
        interpolated(own, before, share)[:, None]
        for own in (
            stations.easting_m,
            stations.northing_m,
            stations.left_east,
            stations.left_north,
        )
    )
    across = (np.arange(_ACROSS) + 0.5) / _ACROSS * top_width_m[lip][:, None]
    return (
        np.repeat(lip, _ACROSS),
        (east + across * left_east).ravel(),
        (north + across * left_north).ravel(),
    )


@dataclass(frozen=True, eq=False, slots=True)
class _TreesByCell:
    """Trees in the order of the cells that they stand in; x and y from the cells' corner, m.

    Parameters
    ----------
    cells : Cells
    x, y : of places
    order : of trees
    tree_x, tree_y : in that order
    start : of each cell's trees
    """

    cells: Cells
    x: FloatArray
    y: FloatArray
    order: IntArray
    tree_x: FloatArray
    tree_y: FloatArray
    start: IntArray


def _by_cell(
    place: tuple[FloatArray, FloatArray], tree: tuple[FloatArray, FloatArray], size_m: float
) -> _TreesByCell:
    easting, northing = (np.concatenate(own) for own in zip(place, tree, strict=True))
    cells = Cells.over(easting, northing, size_m)
    x, y = tree[0] - cells.west_m, tree[1] - cells.south_m
    cell = (y / size_m).astype(np.int64) * cells.columns + (x / size_m).astype(np.int64)
    order = np.argsort(cell, kind="stable")
    start = starts_of(np.bincount(cell, minlength=cells.columns * cells.rows))
    at = place[0] - cells.west_m, place[1] - cells.south_m
    return _TreesByCell(cells, *at, order, x[order], y[order], start)


def shaded_from_year(
    place: tuple[FloatArray, FloatArray],
    tree: tuple[FloatArray, FloatArray],
    year: IntArray,
    crown_m: FloatArray,
    grown_years: FloatArray,
) -> FloatArray:
    """Year by whose end a crown has grown over each place.

    Parameters
    ----------
    place, tree : easting and northing of (n,) places and (k,) trees, m
    year : (k,) in which each is planted, from 1
    crown_m, grown_years : (k,) as of `crown_width_m`

    Returns
    -------
    (n,) years, not rounded; infinite where no crown ever reaches
    """
    found = np.full(place[0].size, np.inf)
    if found.size == 0 or year.size == 0:
        return found
    near = _by_cell(place, tree, max(float(crown_m.max()) / 2.0, 1.0))
    _earliest(
        near.x,
        near.y,
        near.tree_x,
        near.tree_y,
        year[near.order].astype(float),
        crown_m[near.order],
        rate_per_year(grown_years)[near.order],
        near.start,
        near.cells.size_m,
        near.cells.columns,
        found,
    )
    return found


@nb.njit(cache=True)
def _earliest(
    x: FloatArray,
    y: FloatArray,
    tree_x: FloatArray,
    tree_y: FloatArray,
    year: FloatArray,
    crown_m: FloatArray,
    rate: FloatArray,
    start: IntArray,
    size_m: float,
    columns: int,
    found: FloatArray,
) -> None:
    for i in range(x.size):
        column, line = int(x[i] / size_m), int(y[i] / size_m)
        for cell_line in range(line - 1, line + 2):
            first = start[cell_line * columns + column - 1]
            last = start[cell_line * columns + column + 2]
            for k in range(first, last):
                share = 2.0 * np.hypot(tree_x[k] - x[i], tree_y[k] - y[i]) / crown_m[k]
                if share < 1.0:
                    age = -np.log(1.0 - share ** (1.0 / SHAPE)) / rate[k]
                    found[i] = min(found[i], year[k] - 1.0 + age)


def share_shaded(lip: IntArray, from_year: FloatArray, year: float, lips: int) -> FloatArray:
    """Share of each trench that is shaded by the end of a year; (n,) places to (lips,)."""
    count = np.maximum(np.bincount(lip, minlength=lips), 1)
    return np.bincount(lip[from_year <= year], minlength=lips) / count


def closing_year(lip: IntArray, from_year: FloatArray, lips: int) -> FloatArray:
    """Year by whose end `CLOSED_SHARE` of each trench is shaded; NaN where it never is; (lips,).

    Places stand in the order of their trenches.
    """
    closes = np.ceil(_reached_by_closed_share(lip, from_year, lips))
    closes[np.isinf(closes)] = np.nan
    return closes


def closing_crown_m(
    lip: IntArray,
    place: tuple[FloatArray, FloatArray],
    tree: tuple[FloatArray, FloatArray],
    lips: int,
) -> FloatArray:
    """Width at which crowns would shade `CLOSED_SHARE` of each trench, trees where they stand.

    Parameters
    ----------
    lip : (n,) trench of each place, rising
    place, tree : easting and northing of (n,) places and (k,) trees, m
    lips : number of trenches

    Returns
    -------
    (lips,) m, all crowns being as wide as each other; NaN where no place lies or no tree stands
    """
    if lip.size == 0 or tree[0].size == 0:
        return np.full(lips, np.nan)
    near = _by_cell(place, tree, _NEAR_M)
    nearest_m = _nearest_m(
        near.x, near.y, near.tree_x, near.tree_y, near.start, near.cells.columns, near.cells.rows
    )
    return 2.0 * _reached_by_closed_share(lip, nearest_m, lips)


@nb.njit(cache=True)
def _nearest_m(
    x: FloatArray,
    y: FloatArray,
    tree_x: FloatArray,
    tree_y: FloatArray,
    start: IntArray,
    columns: int,
    rows: int,
) -> FloatArray:
    """Distance from each place to the nearest tree, of which there is one, m."""
    nearest = np.full(x.size, np.inf)
    for i in range(x.size):
        column, line = int(x[i] / _NEAR_M), int(y[i] / _NEAR_M)
        ring = 0
        # Beyond a ring of cells no tree is nearer than the cells inside it are wide.
        while nearest[i] > (ring - 1) * _NEAR_M and ring <= columns + rows:
            for at_line in range(max(line - ring, 0), min(line + ring, rows - 1) + 1):
                whole = abs(at_line - line) == ring
                for at_column in range(column - ring, column + ring + 1, 1 if whole else 2 * ring):
                    if not 0 <= at_column < columns:
                        continue
                    cell = at_line * columns + at_column
                    for k in range(start[cell], start[cell + 1]):
                        apart = np.hypot(tree_x[k] - x[i], tree_y[k] - y[i])
                        nearest[i] = min(nearest[i], apart)
            ring += 1
    return nearest


def _reached_by_closed_share(lip: IntArray, value: FloatArray, lips: int) -> FloatArray:
    """Least value that `CLOSED_SHARE` of each trench's places do not exceed; NaN without places."""
    reached = np.full(lips, np.nan)
    start = starts_of(np.bincount(lip, minlength=lips))
    wanted = np.maximum(np.ceil(CLOSED_SHARE * np.diff(start) - 1e-9).astype(np.int64), 1) - 1
    for own in np.flatnonzero(np.diff(start) > 0).tolist():
        of_lip = value[start[own] : start[own + 1]]
        reached[own] = np.partition(of_lip, wanted[own])[wanted[own]]
    return reached
