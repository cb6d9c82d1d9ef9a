"""Mounds along lips: where they stand, where they reach the lips' ends, and what they hold."""

from dataclasses import dataclass, replace

import numpy as np

from soakline.grid import FloatArray
from soakline.section import swept
from soakline.section.aslant import AslantEnds, TrackSpans, followed_m
from soakline.section.mound import MoundShapes, over_ground_m, section_area_m2, toe_m
from soakline.section.returns import EndReturns, end_returns
from soakline.section.stations import IntArray, LipStations, average_end_area_m3
from soakline.section.stretches import AT_END_M, Stretches
from soakline.section.swept import Swath

# Of a mound across the lip, where it ends aslant.
_SLICES = 100


@dataclass(frozen=True, eq=False, slots=True)
class Mounds:
    """What mounds are like, beside their stretches.

    Parameters
    ----------
    shape : (swales,) MoundShapes
    height_m : (swales,) settled crest above the level; 0 where spoil is spread and no mound stands
    crest_m : (swales,) width of the crest
    head_m : (swales,) over the sill in the check storm
    """

    shape: MoundShapes
    height_m: FloatArray
    crest_m: FloatArray
    head_m: FloatArray

    def with_crest(self, crest_m: FloatArray | float) -> "Mounds":
        """The same with crests of another width, m."""
        return replace(self, crest_m=np.broadcast_to(crest_m, self.height_m.shape))


def standing(along: Stretches, mounds: Mounds) -> Stretches:
    """The same stretches; where spoil is spread none carries a mound."""
    stands = mounds.height_m[along.lip] > 0
    return Stretches(along.lip, along.start_m, along.end_m, along.sill, along.mounded & stands)


@dataclass(frozen=True, eq=False, slots=True)
class MoundReaches:
    """Stretches that carry a mound, with the ground along each.

    Parameters
    ----------
    lip : (stretches,) of each
    stations : LipStations of each
    begins, ends : stretches that begin, or end, where their lip does
    """

    lip: IntArray
    stations: LipStations
    begins: IntArray
    ends: IntArray


def mound_reaches(stations: LipStations, along: Stretches) -> MoundReaches:
    """The stretches of all lips that carry a mound; LipStations of the lips."""
    own = along.where(along.mounded)
    length = stations.at.length_m
    return MoundReaches(
        own.lip,
        stations.between(own.lip, own.start_m, own.end_m),
        np.flatnonzero(own.start_m < AT_END_M),
        np.flatnonzero(length[own.lip] - own.end_m < AT_END_M),
    )


def returns_of(reaches: MoundReaches, mounds: Mounds) -> tuple[EndReturns, EndReturns]:
    """Returns of the mounds at the starts, and at the ends, of lips that have one there."""
    part = reaches.stations
    found = []
    for which, station in ((reaches.begins, part.first), (reaches.ends, part.last)):
        at, lip = station[which], reaches.lip[which]
        found.append(
            end_returns(
                mounds.shape.take(lip),
                mounds.height_m[lip],
                mounds.crest_m[lip],
                mounds.head_m[lip],
                part.ground_above_m[at],
                part.rise[at],
                part.fall[at],
            )
        )
    return found[0], found[1]


def mound_m3(swath: Swath, lip: IntArray, mounds: Mounds) -> FloatArray:
    """Settled spoil in the mounds along lips, (swales,) m³.

    Parameters
    ----------
    swath : Swath downhill of the stretches that carry one
    lip : (stretches,) of each
    mounds : Mounds
    """
    height, crest = mounds.height_m[lip], mounds.crest_m[lip]
    return _by_lip(lip, swept.mound_m3(swath, mounds.shape.take(lip), height, crest), mounds)


def straight_mound_m3(reaches: MoundReaches, mounds: Mounds) -> FloatArray:
    """What mounds would hold on even ground beside straight lips, (swales,) m³."""
    part = reaches.stations
    shape = mounds.shape.take(reaches.lip[part.at.lip])
    height, crest = (part.each(of[reaches.lip]) for of in (mounds.height_m, mounds.crest_m))
    area = section_area_m2(shape, height, crest, part.ground_above_m, part.fall)
    return _by_lip(reaches.lip, average_end_area_m3(part.at, np.maximum(area, 0.0)), mounds)


def returns_m3(reaches: MoundReaches, mounds: Mounds) -> FloatArray:
    """Settled spoil in the mounds' returns beyond the lips' ends, (swales,) m³."""
    before, after = returns_of(reaches, mounds)
    first, last = reaches.lip[reaches.begins], reaches.lip[reaches.ends]
    volume = np.concatenate(
        [before.volume_m3(mounds.shape.take(first)), after.volume_m3(mounds.shape.take(last))]
    )
    return _by_lip(np.concatenate([first, last]), volume, mounds)


def slid_m3(
    reaches: MoundReaches, mounds: Mounds, ends: AslantEnds, tracks: TrackSpans
) -> FloatArray:
    """Settled spoil that mounds hold more with ends aslant than with square ones, (swales,) m³.

    Parameters
    ----------
    reaches : MoundReaches
    mounds : Mounds
    ends : of the reaches, as of `mounded_ends`
    tracks : TrackSpans

    Notes
    -----
    Of two mounds beside a track one gains what the other loses. Where a sill, the lip's end or too
    short a stretch lies on one side, nothing makes up for it. At each distance from the lip the
    section there is slid as far as the edge goes: its own, with the ground of the stretch's end. A
    stretch whose two edges cross holds nothing further down.
    """
    own, of_end = np.unique(ends.stretch, return_inverse=True)
    part, lip = reaches.stations, reaches.lip[own]
    station = np.array([part.first[own], part.last[own]])
    at = part.at.along_m[station]
    high, crest = (np.broadcast_to(of[lip], at.shape) for of in (mounds.height_m, mounds.crest_m))
    section = high, crest, part.ground_above_m[station], part.fall[station]
    step = toe_m(mounds.shape.take(lip), *section).max(axis=0) / _SLICES
    down = step[:, None] * (np.arange(_SLICES) + 0.5)
    edge = np.repeat(at[:, :, None], _SLICES, axis=2)
    side = (ends.outward > 0.0).astype(np.int64)
    # Of several edges the innermost bounds.
    edge[side, of_end] = np.where(side > 0, np.inf, -np.inf)[:, None]
    followed = followed_m(ends, tracks, down[of_end])
    for own_side, of in ((0, np.maximum), (1, np.minimum)):
        here = side == own_side
        of.at(edge[own_side], of_end[here], followed[here])
    meet = np.clip(edge.mean(axis=0), at[0][:, None], at[1][:, None])
    edge = np.where(edge[0] > edge[1], meet, edge)
    above, fall = (of[:, :, None] for of in section[2:])
    shape = mounds.shape.take(lip[:, None])
    over = over_ground_m(shape, high[:, :, None], crest[:, :, None], above, fall, down)
    longer = np.array([-1.0, 1.0])[:, None, None] * (edge - at[:, :, None])
    return _by_lip(lip, step * (over * longer).sum(axis=(0, 2)), mounds)


def _by_lip(lip: IntArray, volume_m3: FloatArray, mounds: Mounds) -> FloatArray:
    return np.bincount(lip, weights=volume_m3, minlength=mounds.height_m.size).astype(float)
