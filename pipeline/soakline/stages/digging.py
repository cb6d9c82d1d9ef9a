"""Ground works of the swales, once sections, sills and routes are known."""

from collections.abc import Callable

import numpy as np
import shapely

from soakline.grid import FloatArray
from soakline.inputs.types import Elevation
from soakline.outputs.designed import BuiltCrossings
from soakline.overflow.routes import Route, in_plan
from soakline.overflow.sills import Outlets
from soakline.section.cuts import cuts_of
from soakline.section.design import SectionDesign
from soakline.section.earthworks import OtherEarth, highest_face_m, sill_cut_m2
from soakline.section.footprint import filled_ground
from soakline.section.pegs import Pegs
from soakline.section.point_faces import with_open_faces_m
from soakline.section.points import SwalePoints
from soakline.section.profiles import closed_to_spoil, closer
from soakline.section.stations import IntArray, interpolated
from soakline.section.trench import Trenches, base_area_m2, trenches_of
from soakline.section.works import (
    APART_M,
    FollowedLips,
    GroundWorks,
    clear_of_others,
    without_mounds_on,
    works_of,
)
from soakline.siting.excluded import ExcludedGround, ground_met
from soakline.stages.crossing import TrackWorks
from soakline.stages.draining import Drained
from soakline.stages.laying import Laid
from soakline.stages.placing import pegs_along
from soakline.terrain.cells import GeometryArray
from soakline.terrain.condition import Terrain

# Beside the middle of a route no spoil is left this near.
_PASSAGE_M = 0.5
_NO_GROUND: GeometryArray = np.empty(0, dtype=object)
_NO_LIP: IntArray = np.empty(0, dtype=np.int64)


def followed_lips(
    laid: Laid,
    drained: Drained,
    routes: list[Route],
    design: SectionDesign,
    terrain: Terrain,
    dem: Elevation,
    excluded: ExcludedGround,
) -> tuple[FollowedLips, Pegs, GeometryArray]:
    """Stations along all lips, the pegs among them, and ground beside each kept free of spoil."""
    lines = [line.coordinates for line in laid.placed.lines]
    pegs = _set_out(laid, drained.outlets, design, terrain)
    closed = _closed_to_spoil(lines, routes, excluded, design.mound_reach_m)
    close = closer(pegs.stations, lines, laid.level_m, dem.dem_m, dem.grid)
    close = closed_to_spoil(close, closed)
    return FollowedLips(laid.pegs.stations, pegs.stations, close), pegs, closed


def dug_along(
    lips: FollowedLips,
    closed: GeometryArray,
    laid: Laid,
    drained: Drained,
    tracks: TrackWorks,
    crossings: BuiltCrossings,
    mound_height_m: FloatArray,
    check_head_m: FloatArray,
    design: SectionDesign,
    points: SwalePoints | None = None,
) -> GroundWorks:
    """Ground works of every swale, whose mounds keep off the faces of ponds and basins too.

    No mound stands at sills, nor where tracks cross; what tracks take of the spoil is told by their
    crossings.
    """
    trench = trenches_of(drained.sections)
    dug = cuts_of(trench.take(lips.pegs.at.lip), lips.pegs.uphill_m)
    # Faces begin at what is dug for a layer under the base.
    layer = design.layers_m(laid.texture)
    face = highest_face_m(lips.pegs, dug) + layer
    if points is not None:
        face = with_open_faces_m(face, points, layer)
    mound = design.mound.off_faces(face)
    works = works_of(
        lips,
        drained.sections,
        laid.sill_drop_m,
        mound,
        mound_height_m,
        check_head_m,
        [a + b for a, b in zip(drained.outlets.spans(), tracks.spans(), strict=True)],
        tracks.over(),
        filled_ground(lips.drawn, trench, tracks.filled(drained.sections)),
        design.spoil,
        _other_earth(laid, drained.outlets, trench, crossings, design),
    )
    works = without_mounds_on(works, closed)
    # Where two given swales meet is told, and theirs to mend.
    planned = np.array([not line.given for line in laid.placed.lines], dtype=bool)
    return clear_of_others(
        works,
        planned | (mound.berm_m > design.mound.berm_m),
        *((_NO_GROUND, _NO_LIP) if points is None else (points.outline, points.lip)),
    )


def dug_with_points(
    dug: Callable[..., GroundWorks], placed: Callable[[GroundWorks], SwalePoints]
) -> tuple[GroundWorks, SwalePoints]:
    """Ground works with mounds off the faces of ponds and basins, which keep off other works."""
    works = dug()
    points = placed(works)
    return (dug(points=points) if points.lip.size else works), points


def _set_out(laid: Laid, outlets: Outlets, design: SectionDesign, terrain: Terrain) -> Pegs:
    """Pegs that set out every swale, sills included."""
    sills = [[(start + end) / 2.0 for start, end in own] for own in outlets.spans()]
    return pegs_along(laid.placed.lines, design, terrain, sills)


def _other_earth(
    laid: Laid,
    outlets: Outlets,
    trench: Trenches,
    crossings: BuiltCrossings,
    design: SectionDesign,
) -> OtherEarth:
    """What tracks move, what is dug below treated bases, and sills through higher ground."""
    swales, stations = laid.level_m.size, laid.pegs.stations

    def by_swale(volume_m3: FloatArray) -> FloatArray:
        return np.bincount(crossings.met.lip, weights=volume_m3, minlength=swales).astype(float)

    sills = [sill for own in outlets.sills for sill in own]
    lip = np.repeat(np.arange(swales), [len(own) for own in outlets.sills])
    ends = np.array([(sill.start_m, sill.end_m) for sill in sills], dtype=float).reshape(-1, 2)
    middle = stations.at.weights(lip, ends.mean(axis=1)) if lip.size else (lip, np.empty(0))
    above, fall = (interpolated(of, *middle) for of in (stations.ground_above_m, stations.fall))
    sill_m2 = sill_cut_m2(above + laid.sill_drop_m[lip], fall)
    return OtherEarth(
        track_cut_m3=by_swale(crossings.earth.cut_m3),
        track_fill_m3=by_swale(crossings.earth.fill_m3),
        below_m3=design.layers_m(laid.texture) * base_area_m2(trench, laid.length_m),
        sill_cut_m3=np.bincount(
            lip, weights=sill_m2 * np.diff(ends, axis=1)[:, 0], minlength=swales
        ).astype(float),
    )


def _closed_to_spoil(
    lines: list[FloatArray], routes: list[Route], excluded: ExcludedGround, reach_m: float
) -> GeometryArray:
    """Ground beside each lip that no mound lies on: excluded, or in the way of its own spill."""
    beside = shapely.buffer(
        np.array([shapely.LineString(line) for line in lines], dtype=object), reach_m, quad_segs=2
    )
    ways: GeometryArray = np.empty(beside.size, dtype=object)
    ways[:] = shapely.MultiLineString()
    order = sorted(routes, key=lambda route: route.swale)
    shapely.multilinestrings(in_plan(order), indices=[route.swale for route in order], out=ways)
    # Only what of a way lies by the mound is widened.
    passage = shapely.buffer(shapely.intersection(ways, beside), _PASSAGE_M, quad_segs=2)
    return np.asarray(shapely.union(passage, shapely.buffer(ground_met(beside, excluded), APART_M)))
