"""Ground works of all swales, all together: volumes and footprint."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from soakline.grid import BoolArray, FloatArray
from soakline.section.aslant import TrackSpans
from soakline.section.earthworks import Earthworks, OtherEarth, earthworks
from soakline.section.footprint import Footprint, footprint
from soakline.section.mound import MoundShapes
from soakline.section.mounds import Mounds
from soakline.section.stations import IntArray, LipStations
from soakline.section.stretches import Span, stretches
from soakline.section.strips import only_area, united
from soakline.section.toes import down_to_toes
from soakline.section.trench import Trench, trenches_of
from soakline.terrain.cells import GeometryArray

# Room for the mound was kept as if at least this share of the lip carried it.
LEAST_MOUNDED_SHARE = 0.8
# Of a mound's crest over its ground, and of ground under the level, for drawing it.
_LEAST_HEIGHT_M, _DEEPEST_M = 0.05, 1.0
# Between mounds and what they are cut back for.
APART_M = 0.01


@dataclass(frozen=True, eq=False, slots=True)
class FollowedLips:
    """The same lips by three sets of stations.

    Parameters
    ----------
    drawn : that the footprint is drawn along
    pegs : that set the swales out, sills included; cuts are by their sections
    close : close together, for volumes round bends and between pegs
    """

    drawn: LipStations
    pegs: LipStations
    close: LipStations


@dataclass(frozen=True, eq=False, slots=True)
class GroundWorks:
    """Volumes and footprint of every swale.

    Parameters
    ----------
    volumes : Earthworks
    footprint : Footprint
    mound : (swales,) MoundShapes
    """

    volumes: Earthworks
    footprint: Footprint
    mound: MoundShapes


def works_of(
    lips: FollowedLips,
    sections: Sequence[Trench],
    sill_drop_m: FloatArray,
    shape: MoundShapes,
    crest_height_m: FloatArray,
    head_m: FloatArray,
    open_m: Sequence[Sequence[Span]],
    tracks: TrackSpans,
    filled: GeometryArray,
    spoil_factor: float,
    other: OtherEarth,
) -> GroundWorks:
    """Ground works along the lips of all swales.

    Parameters
    ----------
    lips : FollowedLips
    sections : trench of each swale
    sill_drop_m : (swales,) of the sill below the level, m
    shape : (swales,) MoundShapes
    crest_height_m : (swales,) settled crest above the level; 0 where spoil is spread, m
    head_m : (swales,) over the sills in the check storm, m
    open_m : of each swale, stretches of the lip that stay free of the mound, m
    tracks : TrackSpans of fords and causeways; of `open_m` too
    filled : (swales,) ground of causeways, as of `footprint.filled_ground`
    spoil_factor : settled spoil per volume cut
    other : OtherEarth

    Returns
    -------
    GroundWorks
    """
    trench = trenches_of(sections)
    stations, pegs, close = (
        replace(
            of,
            ground_above_m=_moundable(of, crest_height_m),
            fall=shape.borne_by(of.fall),
        )
        for of in (lips.drawn, lips.pegs, lips.close)
    )
    length = stations.at.length_m
    along = stretches(length, open_m)
    mounds = Mounds(shape, crest_height_m, np.zeros_like(crest_height_m), head_m)
    volumes = earthworks(
        pegs,
        close,
        trench,
        mounds,
        along,
        tracks,
        LEAST_MOUNDED_SHARE * length,
        spoil_factor,
        other,
    )
    stations = down_to_toes(stations, shape, crest_height_m, volumes.crest_width_m)
    shore_m = trench.batter * sill_drop_m
    mounds = mounds.with_crest(volumes.crest_width_m)
    drawn = footprint(stations, trench, shore_m, along, mounds, filled, tracks)
    return GroundWorks(volumes, drawn, shape)


def _moundable(stations: LipStations, crest_height_m: FloatArray) -> FloatArray:
    """Ground less level at the lip as far as a mound can be drawn on it, (n,) m.

    Lips of the rule are within; a given one may lie far off its level, which a finding tells.
    """
    crest = stations.each(np.where(crest_height_m > 0.0, crest_height_m, np.inf))
    highest = np.maximum(crest - _LEAST_HEIGHT_M, 0.0)
    return np.clip(stations.ground_above_m, -_DEEPEST_M, highest)


def without_mounds_on(works: GroundWorks, ground: GeometryArray) -> GroundWorks:
    """The same works with each mound kept off some ground; its few litres go on the rest.

    Parameters
    ----------
    works : GroundWorks
    ground : (swales,) areas, may be empty

    Returns
    -------
    GroundWorks
    """
    mound = works.footprint.mound.copy()
    meets = shapely.intersects(mound, ground)
    mound[meets] = only_area(shapely.difference(mound[meets], ground[meets]))
    return replace(works, footprint=replace(works.footprint, mound=mound))


def clear_of_others(
    works: GroundWorks, gives_way: BoolArray, points: GeometryArray, point_of: IntArray
) -> GroundWorks:
    """The same works with mounds kept off the works of other swales.

    Parameters
    ----------
    works : GroundWorks
    gives_way : (swales,) bool; whether its mound does; of two that do, both give way
    points, point_of : (n,) grounds of ponds, basins and pits, and the swale of each

    Returns
    -------
    GroundWorks

    Notes
    -----
    Room is kept by the slope at each place of a line, as on even ground. Where the ground steepens
    below it, or one steep bank or a pond moves the mound off a high face along the whole lip, a
    mound goes further; the corner of a trench's end lies where no room was looked for; and a given
    lip may be cut deep into the hill.
    """
    parts, mounds = works.footprint.parts, works.footprint.mound
    dug = np.concatenate([parts.ravel(), points])
    dug_of = np.concatenate([np.tile(np.arange(mounds.size), len(parts)), point_of])
    own, met = shapely.STRtree(dug).query(mounds[gives_way], predicate="intersects")
    own = np.flatnonzero(gives_way)[own]
    of_others = own != dug_of[met]
    if not of_others.any():
        return works
    ground = united(dug[met[of_others]], own[of_others], mounds.size)
    return without_mounds_on(works, shapely.buffer(ground, APART_M))
