"""Strips of ground beside lips as polygons, those of all lips at once."""

import numpy as np
import shapely

from soakline.grid import BoolArray, FloatArray
from soakline.section.stations import IntArray, LipStations
from soakline.terrain.cells import GeometryArray


def empty_areas(count: int) -> GeometryArray:
    """As many empty polygons."""
    areas = np.empty(count, dtype=object)
    areas[:] = shapely.Polygon()
    return areas


def outlines(
    near: FloatArray, near_of: IntArray, far: FloatArray, far_of: IntArray
) -> GeometryArray:
    """Polygons along one line of points and back along another, by what the points belong to.

    Parameters
    ----------
    near, far : (n, 2) and (m, 2) points, in the order of their lips
    near_of, far_of : (n,) and (m,) lip of each, none left out

    Returns
    -------
    (lips,) polygons, valid or not
    """
    of = np.concatenate([near_of, far_of[::-1]])
    order = np.argsort(of, kind="stable")
    rings = shapely.linearrings(np.concatenate([near, far[::-1]])[order], indices=of[order])
    return np.asarray(shapely.polygons(rings), dtype=np.object_)


def quadrilaterals(
    stations: LipStations, near_m: FloatArray, far_m: FloatArray
) -> tuple[FloatArray, IntArray]:
    """The part of each strip between two neighbouring stations.

    Returns
    -------
    (k, 4, 2) corners, anticlockwise where nothing folds over, and (k,) the lip of each
    """
    near, far = stations.beside(near_m), stations.beside(far_m)
    lip = stations.at.lip
    here = np.flatnonzero(lip[1:] == lip[:-1])
    corners = np.stack([near[here], near[here + 1], far[here + 1], far[here]], axis=1)
    return corners, lip[here]


def turned_right(corners: FloatArray) -> BoolArray:
    """Whether a quadrilateral is convex and anticlockwise; (k, 4, 2) to (k,) bool."""
    side = np.roll(corners, -1, axis=1) - corners
    following = np.roll(side, -1, axis=1)
    turn = side[..., 0] * following[..., 1] - side[..., 1] * following[..., 0]
    return np.asarray((turn > 0.0).all(axis=1))


def united(pieces: GeometryArray, of: IntArray, count: int) -> GeometryArray:
    """The union of the pieces of each lip.

    Parameters
    ----------
    pieces : (n,)
    of : (n,) lip of each, from 0 to count − 1, in any order

    Returns
    -------
    (count,) geometries; empty where there are no pieces
    """
    order = np.argsort(of, kind="stable")
    number = np.bincount(of, minlength=count)
    rank = np.arange(of.size) - np.repeat(np.cumsum(number) - number, number)
    table = np.full((count, int(number.max(initial=0))), None, dtype=object)
    table[of[order], rank] = pieces[order]
    return np.asarray(shapely.union_all(table, axis=1), dtype=np.object_)


def strips(stations: LipStations, near_m: FloatArray, far_m: FloatArray) -> GeometryArray:
    """Ground between two distances from each lip, uphill positive.

    Where a tight bend would fold the outline over, strips between stations are made one by one and
    joined.

    Parameters
    ----------
    stations : LipStations, n of them
    near_m, far_m : (n,) m

    Returns
    -------
    (lips,) polygons or multipolygons
    """
    lip = stations.at.lip
    whole = outlines(stations.beside(near_m), lip, stations.beside(far_m), lip)
    folded = ~shapely.is_valid(whole)
    if folded.any():
        each = np.repeat(folded, np.diff(stations.at.start))
        corners, of = quadrilaterals(stations.of_lips(folded), near_m[each], far_m[each])
        pieces = np.asarray(shapely.polygons(corners), dtype=np.object_)
        crossed = ~shapely.is_valid(pieces)
        pieces[crossed] = shapely.convex_hull(pieces[crossed])
        whole[folded] = united(pieces, of, int(folded.sum()))
    return whole


def only_area(geometry: GeometryArray) -> GeometryArray:
    """The polygons of each geometry as one multipolygon; lines, points and slivers are left out.

    Parameters
    ----------
    geometry : (n,)

    Returns
    -------
    (n,) multipolygons, or empty polygons where no area is left
    """
    outer, of = shapely.get_parts(geometry, return_index=True)
    parts, within = shapely.get_parts(outer, return_index=True)
    wide = (shapely.get_type_id(parts) == 3) & (shapely.area(parts) > 1e-4)
    kept = empty_areas(geometry.size)
    if wide.any():
        shapely.multipolygons(parts[wide], indices=of[within][wide], out=kept)
    return kept
