"""Mounds in plan, stretch by stretch, with their returns round the ends of trenches."""

from dataclasses import dataclass, replace

import numpy as np
import shapely

from soakline.grid import BoolArray, FloatArray
from soakline.section.aslant import TrackSpans, beyond_edges, followed_m, mounded_ends
from soakline.section.mound import toe_m
from soakline.section.mounds import Mounds, mound_reaches, returns_of
from soakline.section.returns import EndReturns
from soakline.section.stations import IntArray, LipStations
from soakline.section.stretches import Stretches
from soakline.section.strips import empty_areas, outlines, strips, united
from soakline.terrain.cells import GeometryArray


@dataclass(frozen=True, eq=False, slots=True)
class Heaps:
    """Mounds stretch by stretch.

    Parameters
    ----------
    lip : (stretches,) that carry a mound
    stations : LipStations of each
    foot_m, toe_m : (n,) distance from the lip to the uphill and to the downhill toe
    begins, ends : stretches that begin, or end, where their lip does
    before, after : (k, 3, 2) corners of the mound's return round that end of the trench, in the
        order in which an outline that comes up from the toe passes them
    """

    lip: IntArray
    stations: LipStations
    foot_m: FloatArray
    toe_m: FloatArray
    begins: IntArray
    ends: IntArray
    before: FloatArray
    after: FloatArray


def heaps_of(stations: LipStations, along: Stretches, mounds: Mounds) -> Heaps:
    """Mounds along all stretches that carry one, their ends square to the lip."""
    reaches = mound_reaches(stations, along)
    part = reaches.stations
    height, crest = (part.each(of[reaches.lip]) for of in (mounds.height_m, mounds.crest_m))
    shape = mounds.shape.take(reaches.lip[part.at.lip])
    toe = toe_m(shape, height, crest, part.ground_above_m, part.fall)
    first, last = returns_of(reaches, mounds)
    before = _corners(part, part.first[reaches.begins], -1.0, first)
    after = _corners(part, part.last[reaches.ends], 1.0, last)
    return Heaps(
        reaches.lip, part, shape.berm_m, toe, reaches.begins, reaches.ends, before, after[:, ::-1]
    )


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


def with_returns(
    heaps: Heaps, near: FloatArray, of: IntArray, owner: IntArray
) -> tuple[FloatArray, IntArray]:
    """Points along toes, from the corners of the return at one end to those at the other."""
    points = np.concatenate([heaps.before.reshape(-1, 2), near, heaps.after.reshape(-1, 2)])
    belongs = np.concatenate(
        [np.repeat(owner[heaps.begins], 3), of, np.repeat(owner[heaps.ends], 3)]
    )
    order = np.argsort(belongs, kind="stable")
    return points[order], belongs[order]


def to_edges(
    heaps: Heaps, stations: LipStations, along: Stretches, mounds: Mounds, tracks: TrackSpans
) -> tuple[Heaps, GeometryArray]:
    """Mounds drawn on to the edges of the tracks that they end at, and what is to be cut off them.

    Parameters
    ----------
    heaps : of the stretches as they are
    stations, along, mounds : as of `heaps_of`
    tracks : TrackSpans that lean

    """
    ends = mounded_ends(along, tracks)
    stretch = np.flatnonzero(along.mounded)[ends.stretch]
    before = ends.outward < 0.0
    part = heaps.stations
    toe = heaps.toe_m[np.where(before, part.first[ends.stretch], part.last[ends.stretch])]
    start, end = along.start_m.copy(), along.end_m.copy()
    reached = followed_m(ends, tracks, toe)
    np.minimum.at(start, stretch[before], reached[before])
    np.maximum.at(end, stretch[~before], reached[~before])
    longer = heaps_of(stations, replace(along, start_m=start, end_m=end), mounds)
    cut_off = beyond_edges(ends, tracks, stations, along.lip[stretch], toe)
    return longer, united(cut_off, ends.stretch, heaps.lip.size)


def heaped(heaps: Heaps, folds: BoolArray, beyond: GeometryArray) -> GeometryArray:
    """Mound of every lip with its returns, not yet cut from anything but tracks; (lips,).

    Parameters
    ----------
    heaps : Heaps
    folds : (lips,) bool; whose pieces may lie over each other, those beside tracks among them
    beyond : (stretches that carry a mound,) ground beyond the edges of tracks, may be empty
    """

    def cut(areas: GeometryArray, stretch: IntArray) -> GeometryArray:
        here = ~shapely.is_empty(beyond[stretch])
        areas[here] = shapely.difference(areas[here], beyond[stretch][here])
        return areas

    part, each = heaps.stations, np.arange(heaps.lip.size)
    folded = folds[heaps.lip]
    far = part.beside(-heaps.foot_m)
    near, of = with_returns(heaps, part.beside(-heaps.toe_m), part.at.lip, each)
    pieces = outlines(near, of, far, part.at.lip)
    if not folded.any():
        return _gathered(pieces, heaps.lip, folds.size)
    own = np.repeat(folded, np.diff(part.at.start))
    pieces[folded] = strips(part.of_lips(folded), -heaps.toe_m[own], -heaps.foot_m[own])
    pieces[folded] = cut(pieces[folded], each[folded])
    returns, ends = [], []
    for at, corners, station in (
        (heaps.begins, heaps.before, part.first),
        (heaps.ends, heaps.after[:, ::-1], part.last),
    ):
        chosen = folded[at]
        foot = part.beside(-heaps.toe_m)[station[at][chosen]]
        ring = np.concatenate([foot[:, None], corners[chosen]], axis=1)
        turned = np.asarray(shapely.make_valid(shapely.polygons(ring)), dtype=np.object_)
        returns.append(cut(turned, at[chosen]))
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
