"""Ground works of the swales, once sections, sills and routes are known."""

import numpy as np
import shapely

from soakline.grid import FloatArray
from soakline.outputs.designed import BuiltCrossings
from soakline.overflow.routes import Route, in_plan
from soakline.overflow.sills import Outlets
from soakline.section.cuts import cuts_of
from soakline.section.design import SectionDesign
from soakline.section.earthworks import OtherEarth, highest_face_m, sill_cut_m2
from soakline.section.footprint import filled_ground
from soakline.section.pegs import Pegs, set_pegs
from soakline.section.stations import interpolated
from soakline.section.trench import Trenches, base_area_m2, trenches_of
from soakline.section.works import (
    APART_M,
    GroundWorks,
    clear_of_others,
    without_mounds_on,
    works_of,
)
from soakline.siting.excluded import ExcludedGround, ground_met
from soakline.siting.site import Site
from soakline.stages.crossing import TrackWorks
from soakline.stages.draining import Drained
from soakline.stages.laying import Laid
from soakline.terrain.cells import GeometryArray
from soakline.terrain.condition import Terrain

# Beside the middle of a route no spoil is left this near.
_PASSAGE_M = 0.5
# More than that, so that no end of a way that is cut here lies in the mound.
_BESIDE_M = 1.0


def dug_along(
    laid: Laid,
    drained: Drained,
    routes: list[Route],
    tracks: TrackWorks,
    crossings: BuiltCrossings,
    mound_height_m: FloatArray,
    check_head_m: FloatArray,
    design: SectionDesign,
    site: Site,
    terrain: Terrain,
) -> tuple[GroundWorks, Pegs]:
    """Ground works of every swale, and the pegs that set it out, along which it is dug.

    No mound stands at sills, nor where tracks cross; what tracks take of the spoil is told by their
    crossings.
    """
    stations, pegs = laid.pegs.stations, _set_out(laid, drained.outlets, design, terrain)
    trench = trenches_of(drained.sections)
    dug = cuts_of(trench.take(pegs.stations.at.lip), pegs.stations.uphill_m)
    # Faces begin at what is dug for a layer under the base.
    mound = design.mound.off_faces(highest_face_m(pegs.stations, dug) + _layers_m(laid, design))
    works = works_of(
        stations,
        pegs.stations,
        drained.sections,
        laid.sill_drop_m,
        mound,
        mound_height_m,
        check_head_m,
        [a + b for a, b in zip(drained.outlets.spans(), tracks.spans(), strict=True)],
        tracks.over(),
        filled_ground(stations, trench, tracks.filled(drained.sections)),
        design.spoil,
        _other_earth(laid, drained.outlets, trench, crossings, design),
    )
    works = _spoil_kept_off(works, routes, site.excluded)
    # Where two given swales meet is told, and theirs to mend.
    planned = np.array([not line.given for line in laid.placed.lines], dtype=bool)
    return clear_of_others(works, planned | (mound.berm_m > design.mound.berm_m)), pegs


def _set_out(laid: Laid, outlets: Outlets, design: SectionDesign, terrain: Terrain) -> Pegs:
    """Pegs that set out every swale, sills included."""
    return set_pegs(
        [line.coordinates for line in laid.placed.lines],
        laid.level_m,
        [[(start + end) / 2.0 for start, end in own] for own in outlets.spans()],
        design.widest_m,
        design.profile_m,
        terrain.ground_m,
        terrain.grid,
    )


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
        below_m3=_layers_m(laid, design) * base_area_m2(trench, laid.length_m),
        sill_cut_m3=np.bincount(
            lip, weights=sill_m2 * np.diff(ends, axis=1)[:, 0], minlength=swales
        ).astype(float),
    )


def _layers_m(laid: Laid, design: SectionDesign) -> FloatArray:
    """Thickness of what is filled in below each base, (swales,) m."""
    return np.array([design.on(own).amendment.layer_m for own in laid.texture], dtype=float)


def _spoil_kept_off(
    works: GroundWorks, routes: list[Route], excluded: ExcludedGround
) -> GroundWorks:
    """Mounds cut back where they would lie in excluded ground, or in their own spill's way."""
    mounds = works.footprint.mound
    ways: GeometryArray = np.empty(mounds.size, dtype=object)
    ways[:] = shapely.MultiLineString()
    order = sorted(routes, key=lambda route: route.swale)
    shapely.multilinestrings(in_plan(order), indices=[route.swale for route in order], out=ways)
    # Only what of a way lies by the mound is widened.
    beside = shapely.box(*(shapely.bounds(mounds) + _BESIDE_M * np.array([-1, -1, 1, 1])).T)
    passage = shapely.buffer(shapely.intersection(ways, beside), _PASSAGE_M, quad_segs=2)
    clear = shapely.union(passage, shapely.buffer(ground_met(mounds, excluded), APART_M))
    return without_mounds_on(works, clear)
