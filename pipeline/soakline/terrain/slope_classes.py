"""Slope classes as clean polygons over the property."""

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import MultiPolygon
from shapely.geometry.base import BaseGeometry

from soakline.grid import Grid, GroundArray
from soakline.terrain.cells import GeometryArray, burn, outlines, polygons_of
from soakline.terrain.clean_classes import clean_classes

SPECK_M2 = 100.0
_MOST_CELLS = 2e6


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
