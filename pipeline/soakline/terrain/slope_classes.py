"""Slope classes as clean polygons over the property."""

from itertools import pairwise

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import MultiPolygon
from shapely.geometry.base import BaseGeometry

from soakline.grid import BoolArray, FloatArray, Grid, GroundArray
from soakline.terrain.cells import GeometryArray, burn, outlines, polygons_of
from soakline.terrain.flow import Uint8Array

SPECK_M2 = 100.0
_MOST_CELLS = 2e6
# Shifts of the limits are tried this often, or until areas are this near, as a share of the land.
_ROUNDS = 8
_NEARLY = 0.002
# Then cells along the edges of patches change sides, until each class is this near to its own area.
_CLASS_NEARLY = 0.01
_EDGE_ROUNDS = 24
_STALE_ROUNDS = 3


def class_of(
    slope_pct: GroundArray | FloatArray, lower_limits_pct: FloatArray
) -> npt.NDArray[np.int64]:
    """Number of the class of each cell, from 1; the lower limit of a class belongs to it.

    FAO 2006, Guidelines for soil description, 4th ed., Table 7, does not say which class a limit
    value falls in; here it is the upper one.
    """
    above = np.searchsorted(lower_limits_pct, slope_pct, side="right")
    return np.asarray(above + 1, dtype=np.int64)


def _sieved(slope: GroundArray, limits_pct: FloatArray, least: int) -> Uint8Array:
    """Classes by given limits, patches of fewer cells than given in the class around them."""
    return _sieve(class_of(slope, limits_pct).astype(np.uint8), least)


def _sieve(classes: Uint8Array, least: int) -> Uint8Array:
    if least <= 1:
        return classes
    from rasterio.features import sieve  # noqa: PLC0415 - slow to load, no rerun needs it

    return np.asarray(sieve(classes, least, connectivity=4), dtype=np.uint8)


def clean_classes(
    slope: GroundArray, within: BoolArray, limits_pct: tuple[float, ...], least: int
) -> Uint8Array:
    """Classes without specks, whose areas stay what they were.

    Where the ground lies close to a limit, sieving gives whole regions to the commoner class. The
    limits are therefore shifted, by parts of a percent, until about as much ground lies under each
    as lay under the true one; what is still missing is made up along the edges of patches, cells
    that lie nearest to the limit first.

    Parameters
    ----------
    slope : (rows, columns) %, without NaN
    within : (rows, columns) bool; the land whose areas are kept
    limits_pct : rising upper limits of all classes but the last, %
    least : fewest cells of a patch

    Returns
    -------
    (rows, columns) uint8, class numbers from 1
    """
    limits = np.asarray(limits_pct, dtype=float)
    rising = np.sort(slope[within])
    wanted = np.searchsorted(rising, limits, side="left")
    aimed = wanted.astype(float)
    gain, last = np.full(limits.size, 0.5), np.zeros_like(wanted)

    def off_by(classes: Uint8Array) -> npt.NDArray[np.int64]:
        under = np.cumsum(np.bincount(classes[within], minlength=limits.size + 2))
        return np.asarray(wanted - under[1 : limits.size + 1])

    best = _sieved(slope, limits, least)
    if rising.size == 0:
        return best
    off = off_by(best)
    best_off = float(np.abs(off).max()) / rising.size
    for _ in range(_ROUNDS):
        if best_off < _NEARLY:
            break
        # Close to a limit a small shift turns whole regions over: steps that overshoot are halved.
        gain = np.where(off * last < 0, gain / 2.0, gain)
        last = off
        aimed = np.maximum.accumulate(np.clip(aimed + gain * off, 0, rising.size))
        # The slope under which the aimed number of cells lies takes the place of the limit.
        at = np.clip(np.rint(aimed).astype(int), 0, rising.size)
        shifted = np.where(
            (aimed > 0) & (at < rising.size), rising[np.minimum(at, rising.size - 1)], limits
        )
        classes = _sieved(slope, np.maximum.accumulate(shifted), least)
        off = off_by(classes)
        worst = float(np.abs(off).max()) / rising.size
        if worst < best_off:
            best, best_off = classes, worst
    return _evened(best, slope, within, wanted, least)


def _evened(
    classes: Uint8Array,
    slope: GroundArray,
    within: BoolArray,
    wanted: npt.NDArray[np.int64],
    least: int,
) -> Uint8Array:
    """Classes with the areas wanted, as near as edges of patches can be moved.

    Parameters
    ----------
    classes, slope, within, least : as in `clean_classes`
    wanted : (limits,) cells under each limit
    """
    true_area = np.diff(wanted, prepend=0, append=np.count_nonzero(within))

    def area_of(found: Uint8Array) -> npt.NDArray[np.int64]:
        return np.asarray(np.bincount(found[within], minlength=true_area.size + 1)[1:])

    best, best_off, stale = classes, np.abs(area_of(classes) - true_area), 0
    for _ in range(_EDGE_ROUNDS):
        area = area_of(classes)
        # A class without a patch has no edge to grow from, and no patch may become a speck: what
        # such classes have too little or too much is the largest one's.
        aimed = np.where((area == 0) | (true_area < least), area, true_area)
        aimed[aimed.argmax()] += true_area.sum() - aimed.sum()
        if stale == _STALE_ROUNDS or np.all(np.abs(area - aimed) <= _CLASS_NEARLY * aimed):
            break
        classes = _sieve(_edges_moved(classes, slope, within, np.cumsum(aimed)), least)
        off = np.abs(area_of(classes) - true_area)
        stale += 1
        if off.sum() < best_off.sum():
            best, best_off, stale = classes, off, 0
    return best


def _edges_moved(
    classes: Uint8Array, slope: GroundArray, within: BoolArray, under: npt.NDArray[np.int64]
) -> Uint8Array:
    """Cells beside a patch made part of it, nearest to its limit first, until its class is full.

    Parameters
    ----------
    classes, slope, within : as in `clean_classes`
    under : (classes,) cells wanted in each class and all below it
    """
    moved = classes.copy()
    count = np.bincount(classes[within])
    for low, high in pairwise(np.flatnonzero(count)):
        missing = int(under[low - 1] - count[: low + 1].sum())
        if missing == 0:
            continue
        side, taker = (moved > low, low) if missing > 0 else (moved <= low, high)
        edge = np.flatnonzero(side & within & _beside(moved == taker))
        nearest = np.argsort(slope.ravel()[edge] * np.sign(missing), kind="stable")
        taken = edge[nearest[: abs(missing)]]
        count -= np.bincount(moved.ravel()[taken], minlength=count.size)
        count[taker] += taken.size
        moved.ravel()[taken] = taker
    return moved


def _beside(cells: BoolArray) -> BoolArray:
    """Cells with a marked one among their four neighbours."""
    near = np.zeros_like(cells)
    near[1:] |= cells[:-1]
    near[:-1] |= cells[1:]
    near[:, 1:] |= cells[:, :-1]
    near[:, :-1] |= cells[:, 1:]
    return near


def slope_class_polygons(
    slope_pct: GroundArray, grid: Grid, area: BaseGeometry, limits_pct: tuple[float, ...]
) -> list[tuple[int, float, float | None, MultiPolygon]]:
    """Polygons of the slope classes, a partition of the property.

    Parameters
    ----------
    slope_pct : (rows, columns) %; NaN where not valid
    grid : Grid
    area : the property
    limits_pct : rising upper limits of all classes but the last, %

    Returns
    -------
    number, lower and upper limit (None for the steepest) and ground of each class that occurs

    Notes
    -----
    Patches under 100 m² take the class of their largest neighbour (GDAL's sieve).
    """
    west, south, east, north = shapely.bounds(area)
    box_cells = (east - west) * (north - south) / grid.cell_area_m2
    size = max(1, int(np.ceil(np.sqrt(box_cells / _MOST_CELLS))))
    row0 = max(0, int((grid.north_m - north) / grid.cell_m) - size)
    row1 = min(grid.rows, int((grid.north_m - south) / grid.cell_m) + 1 + size)
    column0 = max(0, int((west - grid.west_m) / grid.cell_m) - size)
    column1 = min(grid.columns, int((east - grid.west_m) / grid.cell_m) + 1 + size)
    window = slope_pct[row0:row1, column0:column1]
    # A hole has the class of level ground, so that the classes cover all of the property. Large
    # land is drawn on every second cell or fewer: one cell stands for the block around it, the last
    # one where the land ends within the block.
    middle = [np.minimum(np.arange(size // 2, n + -n % size, size), n - 1) for n in window.shape]
    sampled = np.nan_to_num(window[np.ix_(*middle)], nan=0.0)
    block_m = size * grid.cell_m
    blocks = Grid(
        sampled.shape[0],
        sampled.shape[1],
        grid.west_m + column0 * grid.cell_m,
        grid.north_m - row0 * grid.cell_m,
        block_m,
        grid.crs_wkt,
    )
    within = burn(np.array([area], dtype=object), blocks)
    classes = clean_classes(sampled, within, limits_pct, int(np.ceil(SPECK_M2 / block_m**2)))
    pieces, number = outlines(classes, np.ones(classes.shape, dtype=bool), blocks.transform)
    shapely.prepare(area)
    inside = shapely.contains_properly(area, pieces)
    meets = ~inside & shapely.intersects(area, pieces)
    pieces[meets] = shapely.intersection(pieces[meets], area)
    pieces, number = _without_slivers(pieces[inside | meets], number[inside | meets])
    edges = (0.0, *limits_pct)
    found = []
    for value in np.unique(number):
        own = pieces[number == value]
        # Patches that the property's edge has joined may touch themselves at a corner.
        folded = ~shapely.is_valid(own)
        own[folded] = shapely.make_valid(own[folded])
        parts = polygons_of(own)
        upper = limits_pct[value - 1] if value <= len(limits_pct) else None
        found.append((int(value), edges[value - 1], upper, MultiPolygon(list(parts))))
    return found


def _without_slivers(
    pieces: GeometryArray, number: npt.NDArray[np.int64]
) -> tuple[GeometryArray, npt.NDArray[np.int64]]:
    """Specks that the property's edge cut off go to the neighbour along most of their edge."""
    members, inner = shapely.get_parts(pieces, return_index=True)
    parts, outer = shapely.get_parts(members, return_index=True)
    wide = (shapely.get_type_id(parts) == 3) & (shapely.area(parts) > 1e-6)
    parts, of = parts[wide], number[inner[outer[wide]]]
    # What a patch has become part of; a patch that still stands is its own.
    into = np.arange(parts.size)
    small = np.flatnonzero(shapely.area(parts) < SPECK_M2)
    tree = shapely.STRtree(parts.copy())
    for index in small[np.argsort(shapely.area(parts[small]), kind="stable")]:
        if into[index] != index:
            continue
        near = tree.query(parts[index], predicate="intersects")
        while np.any(into[near] != near):
            near = into[near]
        near = np.unique(near[near != index])
        shared = shapely.length(shapely.intersection(parts[near], parts[index]))
        if near.size and shared.max() > 0:
            # Other patches of that class along its edge become one with it: parts of a
            # multipolygon may only touch in points.
            host = near[int(shared.argmax())]
            joined = near[(of[near] == of[host]) & (shared > 0)]
            parts[host] = shapely.union_all(parts[np.append(joined, index)])
            into[joined] = host
            into[index] = host
    stands = into == np.arange(parts.size)
    return parts[stands], of[stands]
