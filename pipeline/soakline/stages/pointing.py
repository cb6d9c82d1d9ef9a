"""Ponds, basins and organic pits along the swales, once sections, sills and tracks are known."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from soakline.grid import BoolArray, FloatArray
from soakline.inputs.types import Features
from soakline.runfile.sections import RunFile
from soakline.runfile.swale_point_section import PointKind
from soakline.section.design import SectionDesign
from soakline.section.points import APART_M, LeftOut, Search, SwalePoints, point_rules
from soakline.section.soils import soil_for
from soakline.section.stretches import Span
from soakline.section.trench import trenches_of
from soakline.section.works import GroundWorks
from soakline.siting.along_lip import ksat_along_mm_h, texture_along
from soakline.siting.excluded import ROCK_ROOM_M, WATER_ROOM_M, ground_met
from soakline.siting.lines import part_of
from soakline.siting.point_places import (
    Wanted,
    chosen_points,
    is_free,
    middles,
    pits_along,
    with_room,
)
from soakline.siting.site import Site
from soakline.stages.crossing import TrackWorks
from soakline.stages.draining import Drained
from soakline.stages.laying import Laid
from soakline.stages.shaping import LEAST_DEPTH_M, Shaping, shaped
from soakline.terrain.cells import GeometryArray
from soakline.terrain.condition import Terrain

# Between the works of two swales, as where lines are placed.
_CLEAR_M = 1.0


def swale_points(
    run: RunFile,
    features: Features,
    laid: Laid,
    drained: Drained,
    tracks: TrackWorks,
    works: GroundWorks,
    design: SectionDesign,
    terrain: Terrain,
    site: Site,
) -> SwalePoints:
    """Ponds, basins and pits of a plan: those chosen, then those looked for, then pits.

    Parameters
    ----------
    run : the run file
    features : Features
    laid, drained, tracks, works, design, terrain, site : of the stages before

    Returns
    -------
    SwalePoints; no swale's level, lip, sill, capacity or routing is other than without them
    """
    ground = _Ground(features, laid, drained, works, design, terrain, site)
    keys, lines = run.swale_points, laid.placed.lines
    lips = np.array([shapely.linestrings(line.coordinates) for line in lines], dtype=object)
    taken = _closed(laid, drained, tracks)
    wanted, left_out = chosen_points(features.swale_points, lips, keys)
    kept, refused = _with_room(wanted, taken, ground)
    left_out += refused
    searched = []
    for kind in keys.suggested:
        found, search = _looked_for(kind, run, kept, taken, ground)
        kept += found
        searched.append(search)
    if keys.organic_pit_every_m > 0.0:
        size = keys.size("organic_pit")
        for lip, length in enumerate(laid.length_m.tolist()):
            kept += pits_along(lip, size, keys.organic_pit_every_m, length, taken[lip])
    kept.sort(key=lambda own: (own.lip, own.at_m))
    left_out.sort(key=lambda own: own.row)
    return ground.built(kept, tuple(left_out), tuple(searched))


def _closed(laid: Laid, drained: Drained, tracks: TrackWorks) -> list[list[Span]]:
    """Of each lip, stretches on which nothing else is dug: ends, sills, tracks and their fill."""
    trench = trenches_of(drained.sections)
    slope_m = (trench.batter * trench.depth_m).tolist()
    fill_m = (tracks.fill_batter * (np.maximum(tracks.crown_m, 0.0) + trench.depth_m)).tolist()
    closed = []
    for lip, (length, crossed) in enumerate(
        zip(laid.length_m.tolist(), tracks.spans(), strict=True)
    ):
        end_m = slope_m[lip] + APART_M
        spans = [(-APART_M, end_m), (length - end_m, length + APART_M)]
        spans += [with_room((sill.start_m, sill.end_m)) for sill in drained.outlets.sills[lip]]
        spans += [with_room((first - fill_m[lip], last + fill_m[lip])) for first, last in crossed]
        closed.append(spans)
    return closed


@dataclass(frozen=True, eq=False, slots=True)
class _Ground:
    """All that tells whether there is room for a point, and what it comes to."""

    features: Features
    laid: Laid
    drained: Drained
    works: GroundWorks
    design: SectionDesign
    terrain: Terrain
    site: Site

    def shape(self, wanted: Sequence[Wanted]) -> Shaping:
        """Outlines and volumes."""
        laid, terrain = self.laid, self.terrain
        return shaped(wanted, laid, self.drained.sections, self.design, terrain)

    def soils(self, wanted: Sequence[Wanted]) -> tuple[tuple[str, ...], FloatArray]:
        """Texture and soaking rate of the ground at each, clogging counted, mm/h."""
        lines, default = self.laid.placed.lines, self.design.soil
        parts = [part_of(lines[own.lip].coordinates, *own.span_m) for own in wanted]
        texture = texture_along(parts, self.features.soils, default.texture)
        ksat = ksat_along_mm_h(parts, self.features.soils, default.ksat_mm_h)
        return texture, ksat * self.design.clogging_factor

    def clear(self, wanted: Sequence[Wanted], outline: GeometryArray) -> BoolArray:
        """Whether each keeps off excluded ground and the works of other swales.

        What is dug within its own swale's base keeps off wherever the swale does.
        """
        lip = np.array([own.lip for own in wanted], dtype=np.int64)
        clear = np.ones(lip.size, dtype=bool)
        wide = np.flatnonzero([own.kind == "basin" for own in wanted])
        if wide.size == 0:
            return clear
        clear[wide] = shapely.is_empty(ground_met(outline[wide], self.site.excluded))
        ground = self.works.footprint.parts
        tree = shapely.STRtree(ground.ravel())
        own, other = tree.query(outline[wide], predicate="dwithin", distance=_CLEAR_M)
        clear[wide[own[other % ground.shape[1] != lip[wide[own]]]]] = False
        return clear

    def below(self, outline: GeometryArray) -> tuple[FloatArray, FloatArray]:
        """Least depth to rock and to the water table of the soils that each meets, m."""
        soils = self.features.soils
        own, polygon = shapely.STRtree(soils.geometry.array).query(outline, predicate="intersects")
        least = np.full((2, outline.size), np.inf)
        for row, name in enumerate(("rock_m", "watertable_m")):
            depth = soils[name].astype(float).to_numpy()[polygon]
            np.fmin.at(least[row], own, depth)
        least[np.isinf(least)] = np.nan
        return least[0], least[1]

    def built(
        self, wanted: Sequence[Wanted], left_out: tuple[LeftOut, ...], searched: tuple[Search, ...]
    ) -> SwalePoints:
        """The points with their figures."""
        shape = self.shape(wanted)
        texture, soak_mm_h = self.soils(wanted)
        rock, water = self.below(shape.outline)
        return SwalePoints(
            lip=np.array([own.lip for own in wanted], dtype=np.int64),
            kind=np.array([own.kind for own in wanted], dtype=np.str_),
            row=np.array([own.row for own in wanted], dtype=np.int64),
            texture=texture,
            easting_m=shape.easting_m,
            northing_m=shape.northing_m,
            at_m=np.array([own.at_m for own in wanted], dtype=float),
            length_m=np.array([own.size.length_m for own in wanted], dtype=float),
            width_m=shape.width_m,
            depth_m=shape.depth_m,
            asked_m=np.array([own.size.depth_m for own in wanted], dtype=float),
            area_m2=shape.area_m2,
            storage_m3=shape.storage_m3,
            cut_m3=shape.cut_m3,
            organic_m3=shape.organic_m3,
            soak_m_h=soak_mm_h / 1000.0,
            face_m=shape.face_m,
            daylight_m=shape.daylight_m,
            rock_m=rock,
            water_m=water,
            outline=shape.outline,
            left_out=left_out,
            searched=searched,
        )


def _with_room(
    wanted: list[Wanted], taken: list[list[Span]], ground: _Ground
) -> tuple[list[Wanted], list[LeftOut]]:
    """Chosen points that find room, and why others do not; what they take is added to `taken`."""
    kept, left_out = [], []
    shape = ground.shape(wanted)
    clear = ground.clear(wanted, shape.outline)
    closed = [list(spans) for spans in taken]
    for own, depth, apart in zip(wanted, shape.depth_m.tolist(), clear.tolist(), strict=True):
        why = ""
        if not is_free(closed[own.lip], own.span_m):
            why = "it would lie over a sill, a track's fill or the slope at the trench's end"
        elif not is_free(taken[own.lip], own.span_m):
            why = "it would meet another point"
        elif own.kind == "pond" and depth < LEAST_DEPTH_M:
            why = f"the swale's base leaves room for a pond of {depth:.2f} m only"
        elif not apart:
            why = "it would reach excluded ground or the works of another swale"
        if why:
            left_out.append(LeftOut(own.row, own.kind, why))
        else:
            kept.append(own)
            taken[own.lip].append(with_room(own.span_m))
    return kept, left_out


def _looked_for(
    kind: PointKind,
    run: RunFile,
    kept: list[Wanted],
    taken: list[list[Span]],
    ground: _Ground,
) -> tuple[list[Wanted], Search]:
    """One point of a kind on each longer swale whose soil asks for it.

    In the middle of the longest reach that is clear, else in that of the next longest, and so on.
    """
    keys, rule = run.swale_points, point_rules()[kind]
    length = ground.laid.length_m
    chosen = {own.lip for own in kept if own.kind == kind}
    long = [lip for lip in range(length.size) if lip not in chosen]
    short = {lip for lip in long if length[lip] < keys.least_swale_m}
    tries = {
        lip: middles(lip, kind, keys.size(kind), float(length[lip]), taken[lip])
        for lip in long
        if lip not in short
    }
    found: dict[int, Wanted] = {}
    suited, narrow = {lip for lip, own in tries.items() if not own}, set()
    for place in range(max(map(len, tries.values()), default=0)):
        now = [own[place] for lip, own in tries.items() if lip not in found and place < len(own)]
        shape, (texture, soak) = ground.shape(now), ground.soils(now)
        clear = ground.clear(now, shape.outline)
        rock, water = ground.below(shape.outline)
        floor = shape.base_depth_m + shape.depth_m
        dry = ~(rock < floor + ROCK_ROOM_M) & ~(water < floor + WATER_ROOM_M)
        for k, own in enumerate(now):
            if not rule.suits(soil_for(texture[k]).group, float(soak[k])):
                continue
            suited.add(own.lip)
            if shape.depth_m[k] < own.size.depth_m:
                narrow.add(own.lip)
            elif clear[k] and dry[k]:
                found[own.lip] = own
                taken[own.lip].append(with_room(own.span_m))
    return list(found.values()), Search(
        kind,
        placed=len(found),
        chosen=len(chosen),
        short=len(short),
        other_soil=len(tries.keys() - suited),
        narrow=len(narrow - found.keys()),
        no_room=len(suited - narrow - found.keys()),
    )
