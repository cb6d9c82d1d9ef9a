"""The ground that trenches and mounds take, as polygons that do not overlap."""

from dataclasses import dataclass

import numpy as np
import shapely

from soakline.grid import BoolArray, FloatArray
from soakline.section.aslant import TrackSpans, aslant_ends
from soakline.section.cuts import cuts_of
from soakline.section.heaps import Heaps, heaped, heaps_of, to_edges, with_returns
from soakline.section.mounds import Mounds, standing
from soakline.section.stations import LipStations
from soakline.section.stretches import Stretches
from soakline.section.strips import (
    empty_areas,
    only_area,
    outlines,
    quadrilaterals,
    strips,
    turned_right,
    united,
)
from soakline.section.trench import Trenches
from soakline.terrain.cells import GeometryArray

# Ground below a sill that no mound reaches over.
_SILL_APRON_M = 3.0


@dataclass(frozen=True, eq=False, slots=True)
class Footprint:
    """Ground works of every swale in plan, (swales,) areas; parts do not overlap, may be empty."""

    ponded: GeometryArray
    cut_slope: GeometryArray
    berm: GeometryArray
    mound: GeometryArray

    @property
    def parts(self) -> GeometryArray:
        """All of them, (4, swales)."""
        return np.stack([self.ponded, self.cut_slope, self.berm, self.mound])

    @property
    def area_m2(self) -> FloatArray:
        """Of all parts, (swales,)."""
        total: FloatArray = np.sum(shapely.area(self.parts), axis=0)
        return total


def filled_ground(stations: LipStations, trench: Trenches, fill: TrackSpans) -> GeometryArray:
    """Ground of causeways, from each lip over the whole cut, which is neither water nor cut slope.

    Parameters
    ----------
    stations : LipStations
    trench : (lips,) Trenches
    fill : what the fill of each causeway takes of the water's surface

    Returns
    -------
    (lips,) areas, empty where there is none
    """
    edge = _daylight_edge_m(stations, trench.take(stations.at.lip))
    far = np.maximum.reduceat(edge, stations.first) if stations.at.lips else np.empty(0)
    return united(fill.ground(stations, 2.0 * far[fill.lip]), fill.lip, stations.at.lips)


def _clear_of(areas: GeometryArray, filled: GeometryArray) -> GeometryArray:
    """Areas without the ground of causeways."""
    there = ~shapely.is_empty(filled)
    areas[there] = shapely.difference(areas[there], filled[there])
    return areas


def ponded_ground(
    stations: LipStations, shore_m: FloatArray, top_width_m: FloatArray, filled: GeometryArray
) -> GeometryArray:
    """Water surfaces of full trenches.

    Parameters
    ----------
    stations : LipStations
    shore_m : (lips,) from the lip to the water, along the batter, where the sill is cut lower; m
    top_width_m : (lips,) of the trench at its lip, m
    filled : (lips,) ground of causeways, as of `filled_ground`

    Returns
    -------
    (lips,) multipolygons
    """
    near, far = stations.each(shore_m), stations.each(top_width_m - shore_m)
    return only_area(_clear_of(strips(stations, near, far), filled))


def dug_ground(stations: LipStations, trench: Trenches) -> GeometryArray:
    """Ponded ground and cut slope together, from each lip to its daylight edge."""
    edge = _daylight_edge_m(stations, trench.take(stations.at.lip))
    return only_area(strips(stations, np.zeros_like(edge), edge))


def _daylight_edge_m(stations: LipStations, trench: Trenches) -> FloatArray:
    return cuts_of(trench, stations.uphill_m).daylight_m


def footprint(
    stations: LipStations,
    trench: Trenches,
    shore_m: FloatArray,
    along: Stretches,
    mounds: Mounds,
    filled: GeometryArray,
    tracks: TrackSpans,
) -> Footprint:
    """Polygons of ponded ground, cut slope, berm and mound.

    Parameters
    ----------
    stations : LipStations
    trench : (swales,) Trenches
    shore_m : (swales,) from the lip to the water, as of `ponded_ground`
    along : Stretches of every lip
    mounds : Mounds
    filled : (swales,) ground of causeways, as of `filled_ground`
    tracks : TrackSpans of fords and causeways

    Returns
    -------
    Footprint

    Notes
    -----
    Where nothing folds over, the strips of a lip lie side by side as they are drawn. Only those of
    the other lips, round tight bends and beside tracks that are aslant, are cut from each other.
    """
    zero = np.zeros_like(stations.rise)
    shore = stations.each(shore_m)
    full = stations.each(trench.top_width_m - shore_m)
    edge = _daylight_edge_m(stations, trench.take(stations.at.lip))
    berm_m = mounds.shape.berm_m
    bermed = berm_m > 0.0
    along = standing(along, mounds)
    heaps = heaps_of(stations, along, mounds)
    folds = ~_lie_flat(stations, edge, along, heaps, berm_m)
    leaning = tracks.leaning()
    folds[leaning.lip] = True
    ponded = ponded_ground(stations, shore_m, trench.top_width_m, filled)
    slope = strips(stations, full, edge)
    dry = shore_m > 0.0
    slope[dry] = shapely.union(slope[dry], strips(stations, zero, shore)[dry])
    slope[folds] = shapely.difference(slope[folds], ponded[folds])
    cut_slope = only_area(_clear_of(slope, filled))
    berm = mound = empty_areas(folds.size)
    dug = shapely.union(ponded[folds], cut_slope[folds])
    if bermed.any():
        below = berm.copy()
        own = stations.of_lips(bermed)
        below[bermed] = strips(own, -own.each(berm_m[bermed]), np.zeros_like(own.rise))
        below[folds] = shapely.difference(below[folds], dug)
        berm = only_area(_clear_of(below, filled))
    if along.mounded.any():
        heaps, beyond = to_edges(heaps, stations, along, mounds, leaning)
        whole = heaped(heaps, folds, beyond)
        sills = along.sill & folds[along.lip] & ~aslant_ends(along, leaning).open_stretches(along)
        open_ground = _below_sills(stations, along.where(sills), folds.size)
        free = shapely.union(shapely.union(dug, berm[folds]), open_ground[folds])
        whole[folds] = shapely.difference(whole[folds], free)
        mound = only_area(whole)
    return Footprint(ponded, cut_slope, berm, mound)


def _lie_flat(
    stations: LipStations, edge_m: FloatArray, along: Stretches, heaps: Heaps, berm_m: FloatArray
) -> BoolArray:
    """Lips whose works nowhere reach over each other, as far as is plain to see; (lips,) bool.

    Every piece between two stations is convex and turns the same way round, and the outline of all
    of them does not cross itself: then each place within it is covered once.
    """
    part = stations.between(along.lip, along.start_m, along.end_m)
    berm = berm_m[along.lip]
    reach = part.each(np.where(along.sill, np.maximum(_SILL_APRON_M, berm), berm))
    reach[part.each(along.mounded)] = heaps.toe_m
    flat = np.ones(stations.at.lips, dtype=bool)
    flat[heaps.lip[heaps.stations.at.lip[heaps.toe_m <= heaps.foot_m]]] = False
    corners, lip = quadrilaterals(stations, np.zeros_like(edge_m), edge_m)
    flat[lip[~turned_right(corners)]] = False
    corners, stretch = quadrilaterals(part, -reach, np.zeros_like(reach))
    covered = (along.sill | along.mounded | (berm > 0.0))[stretch]
    flat[along.lip[stretch[covered & ~turned_right(corners)]]] = False
    near, near_of = with_returns(heaps, part.beside(-reach), along.lip[part.at.lip], heaps.lip)
    far = stations.beside(edge_m)
    return flat & shapely.is_valid(outlines(near, near_of, far, stations.at.lip))


def _below_sills(stations: LipStations, sills: Stretches, count: int) -> GeometryArray:
    """Ground below sills; (lips,).

    Where the lip bends tightly a neighbouring stretch's mound would reach before a sill.
    """
    part = stations.between(sills.lip, sills.start_m, sills.end_m)
    zero = np.zeros_like(part.fall)
    return united(strips(part, zero - _SILL_APRON_M, zero), sills.lip, count)
