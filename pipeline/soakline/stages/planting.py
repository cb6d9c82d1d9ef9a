"""Trees on and beside the swales, once ground works, sills, routes and tracks are known."""

from dataclasses import replace
from functools import partial

import numpy as np
import shapely

from soakline.grid import BoolArray, FloatArray
from soakline.inputs.planting_blocks import names_of
from soakline.inputs.types import Inputs
from soakline.outputs.designed import DugDiversions, SwaleFigures
from soakline.overflow.routes import Route, in_plan
from soakline.planting.choice import MAIN_GROUPS, TRENCH_MM
from soakline.planting.placing import BandRow, stand
from soakline.planting.rows import Places, Row
from soakline.planting.shade import (
    closing_crown_m,
    closing_year,
    shaded_from_year,
    trench_samples,
)
from soakline.planting.trees import BANDS, Band, Trees, figures_of
from soakline.runfile.sections import RunFile
from soakline.section.cuts import cuts_of
from soakline.section.mound import toe_m
from soakline.section.points import SwalePoints
from soakline.section.stations import LipStations
from soakline.section.stretches import Span, stretches
from soakline.section.strips import strips
from soakline.section.toes import down_to_toes
from soakline.section.trench import trenches_of
from soakline.section.works import GroundWorks
from soakline.siting.excluded import buffered
from soakline.siting.site import Site, geometry_of
from soakline.stages.between import planted_between
from soakline.stages.crossing import TrackWorks
from soakline.stages.draining import Drained
from soakline.stages.laying import Laid
from soakline.stages.species import row_mixtures, swale_mixtures
from soakline.terrain.cells import GeometryArray, cells_of
from soakline.terrain.condition import Terrain

# Bands beside the works are this wide. A row runs in the middle below, nearer the trench uphill.
BAND_M = 2.0
# A line drawn without a width is kept clear as if it were this wide.
_LINE_M = 3.0


def planted(
    run: RunFile,
    inputs: Inputs,
    laid: Laid,
    drained: Drained,
    tracks: TrackWorks,
    works: GroundWorks,
    figures: SwaleFigures,
    windbreak: BoolArray,
    clear: GeometryArray,
    terrain: Terrain,
    site: Site,
) -> Trees:
    """Trees of a plan.

    Parameters
    ----------
    run, inputs : what was asked and given
    laid, drained, tracks, works, figures, terrain, site : of the stages before
    windbreak : (swales,) those that are one
    clear : ground that no trunk stands on; see `kept_clear`

    Returns
    -------
    Trees; none where the run file wants none
    """
    table = inputs.works.species
    lips = laid.length_m.size
    if not run.planting.trees or lips == 0:
        none, nowhere = np.zeros(0, dtype=np.int64), np.zeros(0)
        never = np.full(lips, np.nan)
        return Trees(table, none, none, none, none, nowhere, nowhere, nowhere, none, never)
    stations = down_to_toes(
        laid.pegs.stations, works.mound, figures.mound_height_m, works.volumes.crest_width_m
    )
    shape = works.mound.take(stations.at.lip)
    trench = trenches_of(drained.sections)
    height = stations.each(figures.mound_height_m)
    crest = stations.each(works.volumes.crest_width_m)
    toe = toe_m(shape, height, crest, stations.ground_above_m, stations.fall)
    toe = np.where(height > 0.0, toe, 0.0)
    ground_at_berm = stations.ground_above_m - stations.fall * shape.berm_m
    top = shape.berm_m + shape.batter * np.maximum(height - ground_at_berm, 0.0)
    # Near the trench, that the crowns may shade it, and where even the least crest is.
    top = np.minimum(top + shape.least_crest_m / 2.0, (toe + shape.berm_m) / 2.0)
    daylight = cuts_of(trench.take(stations.at.lip), stations.uphill_m).daylight_m
    uphill: dict[Band, FloatArray] = {
        "mound": -top,
        "below": -(toe + BAND_M / 2.0),
        "uphill": daylight + BAND_M / 4.0,
        "trench": stations.each(trench.top_width_m / 2.0),
    }
    sills = _across(
        stations,
        _without_mound(stations.at.length_m, drained, tracks),
        run.planting.clearance_m,
        -(toe + BAND_M),
        np.zeros_like(toe),
    )
    crossed = _across(
        stations, tracks.spans(), run.planting.clearance_m, -(toe + BAND_M), daylight + BAND_M
    )
    parts = works.footprint
    dug = _present(np.concatenate([parts.ponded, parts.cut_slope, parts.berm]))
    mounds = _present(parts.mound)
    inner = np.array([site.excluded.inner], dtype=object)
    beside = np.concatenate([clear, crossed, sills, dug, mounds])
    ground = {
        # The mound stops right at a sill: without the strips a trunk could stand at its very edge.
        "mound": (parts.mound, np.concatenate([clear, crossed, sills])),
        "below": (inner, beside),
        "uphill": (inner, np.concatenate([clear, crossed, dug, mounds])),
        "trench": (parts.ponded, np.concatenate([clear, crossed])),
    }
    wanted = [band for band in BANDS if band != "trench" or run.rain.annual_mm <= TRENCH_MM]
    rows = [BandRow(band, Row(stations, uphill[band]), *ground[band]) for band in wanted]
    mixtures = row_mixtures(swale_mixtures(run, inputs, laid, figures.tree_height_m, windbreak))
    crown_m = figures_of(table, "crown_m")
    trees = stand(rows, partial(_off_cells, terrain=terrain, site=site), mixtures, crown_m)
    main = np.array([own.group in MAIN_GROUPS for own in table], dtype=bool)
    named = _named(inputs)
    main |= np.array([own.species.casefold() in named for own in table], dtype=bool)
    year = np.where(main, run.planting.main_year, 1)[trees.species]
    sampled, *sample = trench_samples(stations, trench.top_width_m)
    shaded = shaded_from_year(
        (sample[0], sample[1]),
        (trees.easting_m, trees.northing_m),
        year,
        crown_m[trees.species],
        figures_of(table, "grown_years")[trees.species],
    )
    # Trees that close over a trench need no wider crowns.
    never = np.isnan(closing_year(sampled, shaded, lips))[sampled]
    wider_m = closing_crown_m(
        sampled[never],
        (sample[0][never], sample[1][never]),
        (trees.easting_m, trees.northing_m),
        lips,
    )
    beside_swales = Trees(
        table,
        trees.lip,
        trees.band,
        trees.species,
        year,
        trees.easting_m,
        trees.northing_m,
        shaded,
        sampled,
        wider_m,
    )
    return planted_between(run, inputs, laid, figures, beside_swales, beside, terrain, site)


def _without_mound(length_m: FloatArray, drained: Drained, tracks: TrackWorks) -> list[list[Span]]:
    """Sills and tracks of each lip, and what is left beside them that is too short for a mound."""
    open_m = [
        own + crossed for own, crossed in zip(drained.outlets.spans(), tracks.spans(), strict=True)
    ]
    along = stretches(length_m, open_m)
    bare = along.where(~along.mounded)
    spans: list[list[Span]] = [[] for _ in open_m]
    for lip, start, end in zip(
        bare.lip.tolist(), bare.start_m.tolist(), bare.end_m.tolist(), strict=True
    ):
        spans[lip].append((start, end))
    return spans


def _present(shapes: GeometryArray) -> GeometryArray:
    return shapes[~shapely.is_empty(shapes)]


def kept_clear(
    run: RunFile,
    inputs: Inputs,
    routes: list[Route],
    drains: DugDiversions,
    points: SwalePoints,
    terrain: Terrain,
    site: Site,
) -> GeometryArray:
    """Ground that no trunk stands on: excluded for footprints, or near what water or people use.

    None is looked for where no trees are placed.
    """
    if not run.planting.trees:
        return np.empty(0, dtype=object)
    clearance, features = run.planting.clearance_m, inputs.features
    shapes: list[GeometryArray] = [site.excluded.polygons, points.outline]
    shapes.append(buffered(in_plan(routes), clearance))
    courses = np.empty(len(drains.drains), dtype=object)
    courses[:] = [shapely.linestrings(own.coordinates[:, :2]) for own in drains.drains]
    half = np.array([own.base_width_m / 2.0 + own.batter * own.depth_m for own in drains.sections])
    shapes.append(buffered(courses, clearance + half))
    for layer in (features.tracks, features.services, features.watercourses):
        width = layer["width_m"].astype(float).fillna(_LINE_M).to_numpy()
        shapes.append(buffered(geometry_of(layer), clearance + width / 2.0))
    shapes += [
        buffered(geometry_of(layer), clearance)
        for layer in (features.buildings, features.septic, features.wells, features.dams)
    ]
    if run.siting.setback_m.drainage_line < clearance:  # else it is excluded that far
        shapes.append(buffered(terrain.drainage_line, clearance))
    return _present(np.concatenate(shapes))


def _across(
    stations: LipStations,
    spans: list[list[Span]],
    clearance_m: float,
    near_m: FloatArray,
    far_m: FloatArray,
) -> GeometryArray:
    """Strips across rows at stretches of lips, some clearance added at both ends."""
    lip = np.repeat(np.arange(len(spans)), [len(own) for own in spans])
    span = np.array([one for own in spans for one in own], dtype=float).reshape(-1, 2)
    if lip.size == 0:
        return np.zeros(0, dtype=object)
    length = stations.at.length_m[lip]
    start = np.clip(span[:, 0] - clearance_m, 0.0, length)
    end = np.clip(span[:, 1] + clearance_m, 0.0, length)
    # The edges of the strips ride along as the ground does, for `between` to interpolate.
    widened = replace(stations, rise=near_m, fall=far_m).between(lip, start, end)
    return _present(strips(widened, widened.rise, widened.fall))


def _off_cells(places: Places, terrain: Terrain, site: Site) -> BoolArray:
    """Places that lie on no cell that is too steep or wet."""
    cell = cells_of(terrain.grid, places.easting_m, places.northing_m)
    return ~(site.excluded.too_steep.ravel()[cell] | site.excluded.wet.ravel()[cell])


def _named(inputs: Inputs) -> set[str]:
    return {
        name.casefold()
        for cell in inputs.features.planting_blocks["species"]
        for name in names_of(cell)
    }
