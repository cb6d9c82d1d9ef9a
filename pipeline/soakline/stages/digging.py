"""Ground works of the swales, once sections, sills and routes are known."""

import numpy as np
import shapely

from soakline.grid import FloatArray
from soakline.overflow.routes import Route
from soakline.section.design import SectionDesign
from soakline.section.pegs import Pegs, set_pegs
from soakline.section.stretches import Span
from soakline.section.works import GroundWorks, without_mounds_on, works_of
from soakline.siting.excluded import ExcludedGround, ground_met
from soakline.siting.site import Site
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
    crossed_m: list[list[Span]],
    mound_height_m: FloatArray,
    check_head_m: FloatArray,
    design: SectionDesign,
    terrain: Terrain,
    site: Site,
) -> tuple[GroundWorks, Pegs]:
    """Ground works of every swale, and the pegs that set it out, sills included.

    No mound stands at sills, nor where tracks cross: `crossed_m`, of each lip, m along it.
    """
    lines = laid.placed.lines
    sills = [[(sill.start_m, sill.end_m) for sill in own] for own in drained.outlets.sills]
    works = works_of(
        laid.pegs.stations,
        drained.sections,
        laid.sill_drop_m,
        design.mound,
        mound_height_m,
        check_head_m,
        [own + crossed for own, crossed in zip(sills, crossed_m, strict=True)],
        design.spoil,
    )
    set_out = set_pegs(
        [line.coordinates for line in lines],
        laid.level_m,
        [[(start + end) / 2.0 for start, end in own] for own in sills],
        design.widest_m,
        0.0,
        terrain.ground_m,
        terrain.grid,
    )
    return _spoil_kept_off(works, routes, site.excluded), set_out


def _spoil_kept_off(
    works: GroundWorks, routes: list[Route], excluded: ExcludedGround
) -> GroundWorks:
    """Mounds cut back where they would lie in excluded ground, or in their own spill's way."""
    mounds = works.footprint.mound
    ways: GeometryArray = np.empty(mounds.size, dtype=object)
    ways[:] = shapely.MultiLineString()
    order = sorted(routes, key=lambda route: route.swale)
    place = np.concatenate([np.empty((0, 2)), *(route.coordinates[:, :2] for route in order)])
    route_of = np.repeat(np.arange(len(order)), [len(route.coordinates) for route in order])
    courses = np.asarray(shapely.linestrings(place, indices=route_of), dtype=np.object_)
    shapely.multilinestrings(courses, indices=[route.swale for route in order], out=ways)
    # Only what of a way lies by the mound is widened.
    beside = shapely.box(*(shapely.bounds(mounds) + _BESIDE_M * np.array([-1, -1, 1, 1])).T)
    passage = shapely.buffer(shapely.intersection(ways, beside), _PASSAGE_M, quad_segs=2)
    clear = shapely.union(passage, shapely.buffer(ground_met(mounds, excluded), 0.01))
    return without_mounds_on(works, clear)
