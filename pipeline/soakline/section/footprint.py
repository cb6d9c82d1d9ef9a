"""The ground that trenches and mounds take, as polygons that do not overlap."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from soakline.grid import BoolArray, FloatArray
from soakline.section.cuts import cuts_of
from soakline.section.mound import toe_m
from soakline.section.mounds import Mounds, mound_reaches, returns_of, standing
from soakline.section.returns import EndReturns
from soakline.section.stations import IntArray, LipStations
from soakline.section.stretches import Span, Stretches
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


def filled_ground(
    stations: LipStations, trench: Trenches, spans_m: Sequence[Sequence[Span]]
) -> GeometryArray:
    """Ground of causeways, from each lip over the whole cut, which is neither water nor cut slope.

    Parameters
    ----------
    stations : LipStations
    trench : (lips,) Trenches
    spans_m : of each lip, what fill takes of the water's surface, m along it

    Returns
    -------
    (lips,) areas, empty where there is none
    """
    edge = _daylight_edge_m(stations, trench.take(stations.at.lip))
    far = np.maximum.reduceat(edge, stations.first) if stations.at.lips else np.empty(0)
    lip = np.repeat(np.arange(stations.at.lips), [len(own) for own in spans_m])
    ends = np.array([span for own in spans_m for span in own], dtype=float).reshape(-1, 2)
    ends = np.clip(ends, 0.0, stations.at.length_m[lip][:, None])
    part = stations.between(lip, ends[:, 0], ends[:, 1])
    zero = np.zeros_like(part.rise)
    return united(strips(part, zero, part.each(2.0 * far[lip])), lip, stations.at.lips)


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

    Returns
    -------
    Footprint

    Notes
    -----
    Where nothing folds over, the strips of a lip lie side by side as they are drawn. Only those of
    the other lips, round tight bends, are cut from each other.
    """
    zero = np.zeros_like(stations.rise)
    shore = stations.each(shore_m)
    full = stations.each(trench.top_width_m - shore_m)
    edge = _daylight_edge_m(stations, trench.take(stations.at.lip))
    berm_m = mounds.shape.berm_m
    along = standing(along, mounds)
    heaps = _heaps(stations, along, mounds)
    folds = ~_lie_flat(stations, edge, along, heaps, berm_m)
    ponded = ponded_ground(stations, shore_m, trench.top_width_m, filled)
    slope = strips(stations, full, edge)
    dry = shore_m > 0.0
    slope[dry] = shapely.union(slope[dry], strips(stations, zero, shore)[dry])
    slope[folds] = shapely.difference(slope[folds], ponded[folds])
    cut_slope = only_area(_clear_of(slope, filled))
    berm = mound = empty_areas(folds.size)
    dug = shapely.union(ponded[folds], cut_slope[folds])
    if berm_m > 0:
        below = strips(stations, zero - berm_m, zero)
        below[folds] = shapely.difference(below[folds], dug)
        berm = only_area(_clear_of(below, filled))
    if along.mounded.any():
        heaped = _heaped(heaps, folds, berm_m)
        open_ground = _below_sills(stations, along.where(along.sill & folds[along.lip]), folds.size)
        free = shapely.union(shapely.union(dug, berm[folds]), open_ground[folds])
        heaped[folds] = shapely.difference(heaped[folds], free)
        mound = only_area(heaped)
    return Footprint(ponded, cut_slope, berm, mound)


@dataclass(frozen=True, eq=False, slots=True)
class _Heaps:
    """Mounds stretch by stretch.

    Parameters
    ----------
    lip : (stretches,) that carry a mound
    stations : LipStations of each
    toe_m : (n,) distance from the lip to the toe
    begins, ends : stretches that begin, or end, where their lip does
    before, after : (k, 3, 2) corners of the mound's return round that end of the trench, in the
        order in which an outline that comes up from the toe passes them
    """

    lip: IntArray
    stations: LipStations
    toe_m: FloatArray
    begins: IntArray
    ends: IntArray
    before: FloatArray
    after: FloatArray


def _heaps(stations: LipStations, along: Stretches, mounds: Mounds) -> _Heaps:
    reaches = mound_reaches(stations, along)
    part = reaches.stations
    height, crest = (part.each(of[reaches.lip]) for of in (mounds.height_m, mounds.crest_m))
    toe = toe_m(mounds.shape, height, crest, part.ground_above_m, part.fall)
    first, last = returns_of(reaches, mounds)
    before = _corners(part, part.first[reaches.begins], -1.0, first)
    after = _corners(part, part.last[reaches.ends], 1.0, last)
    return _Heaps(reaches.lip, part, toe, reaches.begins, reaches.ends, before, after[:, ::-1])


def _corners(stations: LipStations, at: IntArray, outward: float, ends: EndReturns) -> FloatArray:
    """Corners of returns besides the toe at the lip's end, (k, 3, 2).

    Uphill of the lip, and ahead of it at the level and the toe.
    """
    left = np.column_stack([stations.left_east[at], stations.left_north[at]])
    lip = np.column_stack([stations.easting_m[at], stations.northing_m[at]])
    forward = outward * np.column_stack([left[:, 1], -left[:, 0]])
    ahead = lip + ends.width_m[:, None] * forward
    tip = lip + ends.uphill_m[:, None] * left
    return np.stack([tip, ahead, ahead - ends.toe_m[:, None] * left], axis=1)


def _lie_flat(
    stations: LipStations, edge_m: FloatArray, along: Stretches, heaps: _Heaps, berm_m: float
) -> BoolArray:
    """Lips whose works nowhere reach over each other, as far as is plain to see; (lips,) bool.

    Every piece between two stations is convex and turns the same way round, and the outline of all
    of them does not cross itself: then each place within it is covered once.
    """
    part = stations.between(along.lip, along.start_m, along.end_m)
    reach = part.each(np.where(along.sill, np.maximum(_SILL_APRON_M, berm_m), berm_m))
    reach[part.each(along.mounded)] = heaps.toe_m
    flat = np.ones(stations.at.lips, dtype=bool)
    flat[heaps.lip[heaps.stations.at.lip[heaps.toe_m <= berm_m]]] = False
    corners, lip = quadrilaterals(stations, np.zeros_like(edge_m), edge_m)
    flat[lip[~turned_right(corners)]] = False
    corners, stretch = quadrilaterals(part, -reach, np.zeros_like(reach))
    covered = (along.sill | along.mounded)[stretch] | (berm_m > 0)
    flat[along.lip[stretch[covered & ~turned_right(corners)]]] = False
    near, near_of = _with_returns(heaps, part.beside(-reach), along.lip[part.at.lip], heaps.lip)
    far = stations.beside(edge_m)
    return flat & shapely.is_valid(outlines(near, near_of, far, stations.at.lip))


def _with_returns(
    heaps: _Heaps, near: FloatArray, of: IntArray, owner: IntArray
) -> tuple[FloatArray, IntArray]:
    """Points along toes, from the corners of the return at one end to those at the other."""
    points = np.concatenate([heaps.before.reshape(-1, 2), near, heaps.after.reshape(-1, 2)])
    belongs = np.concatenate(
        [np.repeat(owner[heaps.begins], 3), of, np.repeat(owner[heaps.ends], 3)]
    )
    order = np.argsort(belongs, kind="stable")
    return points[order], belongs[order]


def _heaped(heaps: _Heaps, folds: BoolArray, berm_m: float) -> GeometryArray:
    """Mound of every lip with its returns, not yet cut from anything; (lips,)."""
    part, each = heaps.stations, np.arange(heaps.lip.size)
    folded = folds[heaps.lip]
    far = part.beside(-berm_m)
    near, of = _with_returns(heaps, part.beside(-heaps.toe_m), part.at.lip, each)
    pieces = outlines(near, of, far, part.at.lip)
    if not folded.any():
        return _gathered(pieces, heaps.lip, folds.size)
    own = np.repeat(folded, np.diff(part.at.start))
    toe = heaps.toe_m[own]
    pieces[folded] = strips(part.of_lips(folded), -toe, np.full_like(toe, -berm_m))
    returns, ends = [], []
    for at, corners, station in (
        (heaps.begins, heaps.before, part.first),
        (heaps.ends, heaps.after[:, ::-1], part.last),
    ):
        chosen = folded[at]
        foot = part.beside(-heaps.toe_m)[station[at][chosen]]
        ring = np.concatenate([foot[:, None], corners[chosen]], axis=1)
        returns.append(shapely.make_valid(shapely.polygons(ring)))
        ends.append(heaps.lip[at][chosen])
    whole = _gathered(pieces, heaps.lip, folds.size)
    lip = np.concatenate([heaps.lip[folded], *ends])
    joined = united(np.concatenate([pieces[folded], *returns]), lip, folds.size)
    whole[folds] = joined[folds]
    return whole


def _gathered(pieces: GeometryArray, lip: IntArray, count: int) -> GeometryArray:
    """The pieces of each lip together as they are."""
    together = empty_areas(count)
    shapely.geometrycollections(pieces, indices=lip, out=together)
    return together


def _below_sills(stations: LipStations, sills: Stretches, count: int) -> GeometryArray:
    """Ground below sills; (lips,).

    Where the lip bends tightly a neighbouring stretch's mound would reach before a sill.
    """
    part = stations.between(sills.lip, sills.start_m, sills.end_m)
    zero = np.zeros_like(part.fall)
    return united(strips(part, zero - _SILL_APRON_M, zero), sills.lip, count)
