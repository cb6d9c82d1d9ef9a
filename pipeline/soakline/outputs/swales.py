"""Layers of the swales: lips, ground works, catchments, pegs."""

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely

from soakline.grid import FloatArray
from soakline.outputs.columns import SCHEMAS, Columns, frame
from soakline.outputs.designed import Designed
from soakline.outputs.programme import Programme
from soakline.outputs.trees import shade_columns
from soakline.section.cuts import cuts_of
from soakline.section.stations import Chainages, interpolated, starts_of, vertices_of
from soakline.section.toes import down_to_toes
from soakline.section.trench import trenches_of
from soakline.siting.chords import asked_m
from soakline.terrain.ground import sample

# Along a lip the ground is measured twice as often as it is asked along a chord: figures keep to
# some 3 mm between folds of the bilinear ground.
_STEPS_ASKED = 2


def _or_nan(values: FloatArray) -> FloatArray:
    return np.where(np.isfinite(values), values, np.nan)


def _swale_ids(plan: Designed) -> npt.NDArray[np.str_]:
    return np.array(plan.placed.ids, dtype=np.str_)


def _ground_above(
    plan: Designed, vertices: Chainages, place: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Ground less level along each lip: root mean square, least and greatest; (swales,) m."""
    length = vertices.length_m
    step_m = asked_m(plan.terrain.grid.cell_m) / _STEPS_ASKED
    count = np.maximum(np.ceil(length / step_m).astype(np.int64) + 1, 2)
    start = starts_of(count)
    lip = np.repeat(np.arange(count.size), count)
    along = (np.arange(lip.size) - start[lip]) * (length / (count - 1))[lip]
    before, share = vertices.weights(lip, along)
    easting, northing = (interpolated(own, before, share) for own in place.T)
    ground = sample(plan.terrain.ground_m, plan.terrain.grid, easting, northing)
    above = ground - plan.figures.level_m[lip]
    first = start[:-1]
    known = np.add.reduceat((~np.isnan(above)).astype(float), first)
    square = np.add.reduceat(np.nan_to_num(above) ** 2, first)
    return np.sqrt(square / known), np.fmin.reduceat(above, first), np.fmax.reduceat(above, first)


def swale_layer(plan: Designed, programme: Programme, crs: str) -> gpd.GeoDataFrame:
    """The `swales` layer."""
    cost, unknown = programme.bill.swale_cost, [None] * plan.figures.level_m.size
    figures, routing, volumes = plan.figures, plan.results.routing, plan.works.volumes
    design, check = plan.event.of("design"), plan.event.of("check")
    vertices, place = vertices_of([line.coordinates for line in plan.placed.lines])
    ground_rms, ground_min, ground_max = _ground_above(plan, vertices, place)
    trench = trenches_of(figures.sections)
    each = np.arange(figures.level_m.size)
    governing = plan.results.governing
    columns: Columns = {
        "swale_id": _swale_ids(plan),
        "state": [line.state for line in plan.placed.lines],
        "level_m": figures.level_m,
        "length_m": figures.length_m,
        "base_width_m": trench.base_width_m,
        "depth_m": trench.depth_m,
        "batter": trench.batter,
        "soil_texture": figures.texture,
        "soaking_mm_h": 1000.0 * figures.soak_m_h,
        # Of the water: narrower where the sill is cut lower than the lip.
        "top_width_m": trench.top_width_m
        - 2.0 * trench.batter * (figures.level_m - figures.sill_level_m),
        "face_height_m": volumes.face_height_m,
        "mound_height_m": figures.mound_height_m,
        "mound_top_level_m": figures.level_m + figures.mound_height_m,
        "mound_crest_m": volumes.crest_width_m,
        "berm_m": plan.works.mound.berm_m,
        "capacity_m3": figures.capacity_m3,
        "lip_low_m": figures.lip_low_m,
        "first_spill_m": figures.first_spill_m,
        "capacity_lost_m3": figures.capacity_lost_m3,
        "catchment_m2": plan.catchments.area_m2,
        "spacing_above_m": _or_nan(figures.spacing_above_m),
        "interval_above_m": _or_nan(figures.interval_above_m),
        "spacing_tree_m": _or_nan(figures.spacing_tree_m),
        "spacing_ratio_m": _or_nan(figures.spacing_ratio_m),
        "spacing_runoff_m": _or_nan(figures.spacing_runoff_m),
        "spacing_rule": [figures.spacing_rule] * each.size,
        "ground_rms_m": ground_rms,
        "ground_min_m": ground_min,
        "ground_max_m": ground_max,
        "slope_pct": figures.slope_pct,
        "landform": figures.landform,
        "governing_storm_id": [plan.storms[storm].storm_id for storm in governing.tolist()],
        "design_inflow_m3": routing.inflow_m3[each, governing],
        "design_overflow_m3": routing.overflow_m3[each, governing],
        "design_peak_m3s": routing.peak_spill_m3s[:, design].max(axis=1),
        "freeboard_m": plan.results.freeboard_m[:, check].min(axis=1),
        "drain_down_h": figures.drain_down_h,
        "cut_m3": volumes.cut_m3,
        "fill_m3": volumes.fill_m3,
        "role": np.where(plan.windbreaks.chosen, "windbreak", "tree"),
        "wind_met_pct": 100.0 * plan.windbreaks.met,
        "sheltered_pct": 100.0 * plan.windbreaks.sheltered,
        **shade_columns(plan),
        "build_order": programme.order,
        "phase": unknown if programme.phase is None else programme.phase,
        "machine_h": programme.hours,
        "cost": unknown if cost is None else cost,
    }
    lip = vertices.lip
    level = np.column_stack([place, figures.level_m[lip]])
    lips = np.asarray(shapely.linestrings(level, indices=lip), dtype=np.object_)
    return frame(SCHEMAS["swales"], columns, lips, crs)


def ground_layer(plan: Designed, crs: str) -> gpd.GeoDataFrame:
    """The `swale_ground` layer."""
    footprint = plan.works.footprint
    names = ("ponded", "cut_slope", "berm", "mound")
    found = [shapely.get_parts(getattr(footprint, part), return_index=True) for part in names]
    pieces, swale = (np.concatenate(own) for own in zip(*found, strict=True))
    part = np.repeat(np.array(names), [own.size for own, _ in found])
    order = np.argsort(swale, kind="stable")
    order = order[~shapely.is_empty(pieces[order])]
    columns: Columns = {
        "swale_id": _swale_ids(plan)[swale[order]],
        "part": part[order],
        "area_m2": shapely.area(pieces[order]),
    }
    return frame(SCHEMAS["swale_ground"], columns, pieces[order], crs)


def catchment_layer(plan: Designed, crs: str) -> gpd.GeoDataFrame:
    """The `swale_catchments` layer."""
    area, ponded = plan.catchments.area_m2, plan.figures.ponded_m2
    governing = plan.results.governing
    runoff_m3 = plan.results.runoff_m3[np.arange(governing.size), governing]
    dry = area - ponded
    runoff = np.where(dry > 0.0, 1000.0 * runoff_m3 / np.where(dry > 0.0, dry, 1.0), 0.0)
    columns: Columns = {
        "swale_id": _swale_ids(plan),
        "area_m2": area,
        "ponded_m2": ponded,
        "runoff_mm": runoff,
        "runoff_m3": runoff * dry / 1000.0,
    }
    return frame(SCHEMAS["swale_catchments"], columns, plan.catchment_ground, crs)


def peg_layer(plan: Designed, crs: str) -> gpd.GeoDataFrame:
    """The `pegs` layer; empty where the DEM is too coarse to set out from."""
    pegs, figures = plan.pegs, plan.figures
    stations = pegs.stations
    shown = np.full(pegs.kind.size, plan.pegs_are_set)
    swale = stations.at.lip[shown]
    number = np.arange(swale.size) - stations.first[swale] + 1
    ids, level = _swale_ids(plan)[swale], figures.level_m[swale]
    # To the millimetre: a map that labels a peg with its cut prints every digit that is there.
    ground = np.round(pegs.ground_m[shown], 3)
    base = np.round(level - trenches_of(figures.sections).depth_m[swale], 3)
    columns: Columns = {
        "peg_id": [f"{own}-{k:02d}" for own, k in zip(ids, number, strict=True)],
        "swale_id": ids,
        "kind": pegs.kind[shown],
        "chainage_m": stations.at.along_m[shown],
        "ground_m": ground,
        "level_m": level,
        "base_level_m": base,
        "cut_m": np.round(ground - base, 3),
        "mound_top_level_m": np.round(level + figures.mound_height_m[swale], 3),
    }
    points = shapely.points(stations.easting_m[shown], stations.northing_m[shown], level)
    return frame(SCHEMAS["pegs"], columns, points, crs)


def peg_cut_table(plan: Designed) -> pd.DataFrame:
    """The `peg_cuts` table, a row for each peg in the same order."""
    stations = down_to_toes(
        plan.pegs.stations,
        plan.works.mound,
        plan.figures.mound_height_m,
        plan.works.volumes.crest_width_m,
    )
    shown = np.full(plan.pegs.kind.size, plan.pegs_are_set)
    swale = stations.at.lip[shown]
    layer_m = plan.design.layers_m(plan.figures.texture)
    trench = trenches_of(plan.figures.sections)
    dug = cuts_of(trench.take(stations.at.lip), stations.uphill_m)

    def whole(metres: FloatArray) -> FloatArray:
        return np.rint(1000.0 * metres)

    columns: Columns = {
        "dig_below_mm": whole(layer_m[swale]),
        "daylight_mm": whole(dug.daylight_m[shown]),
        "daylight_above_mm": whole(dug.daylight_above_m[shown]),
        "rise_permille": whole(stations.rise[shown]),
        "fall_permille": whole(stations.fall[shown]),
    }
    return frame(SCHEMAS["peg_cuts"], columns)
