"""What ponds, basins and pits take of the ground, by the ground beside each."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from soakline.grid import FloatArray
from soakline.section.cuts import cuts_of, profile_reach_m
from soakline.section.design import SectionDesign
from soakline.section.pegs import set_pegs
from soakline.section.points import basin_m3, deepest_pond_m, point_rules, pond_m3
from soakline.section.stations import average_end_area_m3, interpolated
from soakline.section.strips import only_area, strips
from soakline.section.trench import Trench, Trenches, trenches_of
from soakline.siting.point_places import Wanted
from soakline.stages.laying import Laid
from soakline.terrain.cells import GeometryArray
from soakline.terrain.condition import Terrain

# A pond shallower than this is none; common practice, no source.
LEAST_DEPTH_M = 0.1


@dataclass(frozen=True, eq=False, slots=True)
class Shaping:
    """Points with the shape that fits the base of their swale; all (n,), as in `SwalePoints`.

    Parameters
    ----------
    base_depth_m : of the swale's base below its level
    easting_m, northing_m, width_m, depth_m, area_m2, storage_m3, cut_m3, organic_m3, face_m,
        daylight_m, outline : as in `SwalePoints`
    """

    base_depth_m: FloatArray
    easting_m: FloatArray
    northing_m: FloatArray
    width_m: FloatArray
    depth_m: FloatArray
    area_m2: FloatArray
    storage_m3: FloatArray
    cut_m3: FloatArray
    organic_m3: FloatArray
    face_m: FloatArray
    daylight_m: FloatArray
    outline: GeometryArray


def shaped(
    wanted: Sequence[Wanted],
    laid: Laid,
    sections: tuple[Trench, ...],
    design: SectionDesign,
    terrain: Terrain,
) -> Shaping:
    """Outlines, volumes and faces of ponds, basins and pits.

    Parameters
    ----------
    wanted : of the points
    laid : Laid
    sections : of each swale
    design, terrain : of the stages before

    Returns
    -------
    Shaping; a pond is as deep as sides at the batter and ramps at its ends leave a floor, a pit no
    wider than the base

    Notes
    -----
    What a basin cuts beyond its swale is the difference of two sections along the ground's own
    profile, by average end area; of both ends stays what their slope leaves, as at the ends of a
    trench.
    """
    lip = np.array([own.lip for own in wanted], dtype=np.int64)
    kind = np.array([own.kind for own in wanted], dtype=np.str_)
    at, length, asked_width, asked_depth = (
        np.array(
            [(own.at_m, own.size.length_m, own.size.width_m, own.size.depth_m) for own in wanted],
            dtype=float,
        )
        .reshape(-1, 4)
        .T
    )
    pond, basin, pit = (kind == own for own in ("pond", "basin", "organic_pit"))
    trench = trenches_of(sections).take(lip)
    b, d, m = trench.base_width_m, trench.depth_m, trench.batter
    rule = point_rules()["pond"]
    depth = np.where(
        pond, np.minimum(asked_depth, deepest_pond_m(trench, length, rule)), asked_depth
    )
    width = np.where(pond, b, np.where(pit, np.minimum(asked_width, b), asked_width))
    added = np.where(basin, width, 0.0)
    wide = Trenches(b + added, d, m)

    lips, own_lip = np.unique(lip, return_inverse=True)
    reach = profile_reach_m(
        float(wide.top_width_m.max(initial=0.0)), design.deepest_cut_m, float(m.max(initial=0.0))
    )
    pegs = set_pegs(
        [laid.placed.lines[i].coordinates for i in lips],
        laid.level_m[lips],
        [[] for _ in lips],
        design.widest_m,
        reach,
        0.0,
        terrain.ground_m,
        terrain.grid,
    ).stations
    part = pegs.between(own_lip, at - length / 2.0, at + length / 2.0)
    point = part.at.lip
    plain, dug = (cuts_of(own.take(point), part.uphill_m) for own in (trench, wide))
    more = dug.area_m2 - plain.area_m2
    ends = m * d * (more[part.first] + more[part.last]) / 2.0
    near = np.where(basin, trench.top_width_m, m * d + np.where(pit, (b - width) / 2.0, 0.0))[point]
    far = np.where(basin[point], dug.daylight_m, near + width[point])
    before, share = pegs.at.weights(own_lip, at)
    # Over the middle of the floor: of what is added at a basin, of the base elsewhere.
    uphill = m * d + b / 2.0 + np.where(basin, (b + width) / 2.0, 0.0)
    easting, northing = (
        interpolated(along, before, share) + uphill * interpolated(left, before, share)
        for along, left in (
            (pegs.easting_m, pegs.left_east),
            (pegs.northing_m, pegs.left_north),
        )
    )
    hollow = pond_m3(b, m, length, depth, rule.end_ramp)
    pit_m3 = length * width * depth
    water = basin_m3(width, m, length, d, d - laid.sill_drop_m[lip])
    return Shaping(
        base_depth_m=d,
        easting_m=easting,
        northing_m=northing,
        width_m=width,
        depth_m=depth,
        area_m2=width * np.where(basin, length - 2.0 * m * d, length),
        storage_m3=np.select([pond, basin], [hollow, water], 0.0),
        cut_m3=np.select(
            [pond, basin], [hollow, average_end_area_m3(part.at, more) - ends], pit_m3
        ),
        organic_m3=np.where(pit, pit_m3, 0.0),
        face_m=np.maximum.reduceat(dug.face_height_m, part.first) + depth,
        daylight_m=np.maximum.reduceat(dug.daylight_m, part.first),
        outline=only_area(strips(part, near, far)),
    )
