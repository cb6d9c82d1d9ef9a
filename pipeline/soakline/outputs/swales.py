"""Layers of the swales: lips, ground works, catchments, pegs."""

import geopandas as gpd
import numpy as np
import shapely

from soakline.ids import swale_id
from soakline.outputs.columns import SCHEMAS, frame
from soakline.outputs.designed import Designed
from soakline.siting.stations import stations_along
from soakline.terrain.cells import GeometryArray
from soakline.terrain.ground import sample


def _or_none(value: float) -> float | None:
    return None if not np.isfinite(value) else float(value)


def swale_layer(plan: Designed, crs: str) -> gpd.GeoDataFrame:
    """The `swales` layer."""
    figures, routing = plan.figures, plan.results.routing
    design, check = plan.event.of("design"), plan.event.of("check")
    rows, lips = [], []
    for i, line in enumerate(plan.placed.lines):
        works, trench = plan.works[i], figures.sections[i]
        stations = stations_along(line.coordinates, 1.0)
        above = (
            sample(
                plan.terrain.ground_m,
                plan.terrain.grid,
                stations.easting_m,
                stations.northing_m,
            )
            - line.level_m
        )
        governing = int(plan.results.governing[i])
        rows.append(
            {
                "swale_id": swale_id(i),
                "level_m": float(line.level_m),
                "length_m": float(figures.length_m[i]),
                "base_width_m": trench.base_width_m,
                "depth_m": trench.depth_m,
                "batter": trench.batter,
                "top_width_m": trench.top_width_m,
                "face_height_m": works.volumes.face_height_m,
                "mound_height_m": float(figures.mound_height_m[i]),
                "mound_top_level_m": float(figures.level_m[i] + figures.mound_height_m[i]),
                "capacity_m3": float(figures.capacity_m3[i]),
                "catchment_m2": float(plan.catchments.area_m2[i]),
                "spacing_above_m": _or_none(figures.spacing_above_m[i]),
                "interval_above_m": _or_none(figures.interval_above_m[i]),
                "spacing_tree_m": _or_none(figures.spacing_tree_m[i]),
                "spacing_ratio_m": _or_none(figures.spacing_ratio_m[i]),
                "spacing_runoff_m": _or_none(figures.spacing_runoff_m[i]),
                "spacing_rule": figures.spacing_rule,
                "ground_rms_m": float(np.sqrt(np.nanmean(above**2))),
                "ground_min_m": float(np.nanmin(above)),
                "ground_max_m": float(np.nanmax(above)),
                "slope_pct": float(figures.slope_pct[i]),
                "landform": figures.landform[i],
                "governing_storm_id": plan.storms[governing].storm_id,
                "design_inflow_m3": float(routing.inflow_m3[i, governing]),
                "design_overflow_m3": float(routing.overflow_m3[i, governing]),
                "design_peak_m3s": float(routing.peak_spill_m3s[i, design].max()),
                "freeboard_m": float(plan.results.freeboard_m[i, check].min()),
                "drain_down_h": float(figures.drain_down_h[i]),
                "cut_m3": works.volumes.cut_m3,
                "fill_m3": works.volumes.fill_m3,
                "role": "tree",
                "build_order": i + 1,
            }
        )
        level = np.full(len(line.coordinates), line.level_m)
        lips.append(shapely.linestrings(np.column_stack([line.coordinates, level])))
    return frame(SCHEMAS["swales"], rows, lips, crs)


def ground_layer(plan: Designed, crs: str) -> gpd.GeoDataFrame:
    """The `swale_ground` layer."""
    rows, parts = [], []
    for i, works in enumerate(plan.works):
        for part in ("ponded", "cut_slope", "berm", "mound"):
            for piece in shapely.get_parts(getattr(works.footprint, part)):
                if not shapely.is_empty(piece):
                    rows.append(
                        {"swale_id": swale_id(i), "part": part, "area_m2": float(piece.area)}
                    )
                    parts.append(piece)
    return frame(SCHEMAS["swale_ground"], rows, parts, crs)


def catchment_layer(plan: Designed, crs: str) -> gpd.GeoDataFrame:
    """The `swale_catchments` layer."""
    rows = []
    for i in range(len(plan.placed.lines)):
        area = float(plan.catchments.area_m2[i])
        ponded = float(plan.figures.ponded_m2[i])
        runoff_m3 = float(plan.results.runoff_m3[i, plan.results.governing[i]])
        runoff = 1000.0 * runoff_m3 / (area - ponded) if area > ponded else 0.0
        rows.append(
            {
                "swale_id": swale_id(i),
                "area_m2": area,
                "ponded_m2": ponded,
                "runoff_mm": runoff,
                "runoff_m3": runoff * (area - ponded) / 1000.0,
            }
        )
    return frame(SCHEMAS["swale_catchments"], rows, plan.catchment_ground, crs)


def peg_layer(plan: Designed, crs: str) -> gpd.GeoDataFrame:
    """The `pegs` layer; empty where the DEM is too coarse to set out from."""
    columns: dict[str, list[object]] = {c.name: [] for c in SCHEMAS["pegs"].columns}
    points: list[GeometryArray] = []
    for i, pegs in enumerate([] if plan.terrain.grid.cell_m > 10.0 else plan.pegs):
        level = float(plan.figures.level_m[i])
        base = level - plan.figures.sections[i].depth_m
        n = len(pegs.kind)
        columns["peg_id"] += [f"{swale_id(i)}-{k + 1:03d}" for k in range(n)]
        columns["swale_id"] += [swale_id(i)] * n
        columns["kind"] += list(pegs.kind)
        columns["chainage_m"] += pegs.stations.along_m.tolist()
        columns["ground_m"] += pegs.ground_m.tolist()
        columns["level_m"] += [level] * n
        columns["base_level_m"] += [base] * n
        columns["cut_m"] += (pegs.ground_m - base).tolist()
        columns["mound_top_level_m"] += [level + float(plan.figures.mound_height_m[i])] * n
        points.append(
            np.asarray(
                shapely.points(
                    pegs.stations.easting_m, pegs.stations.northing_m, np.full(n, level)
                ),
                dtype=np.object_,
            )
        )
    geometry = np.concatenate(points) if points else np.array([], dtype=object)
    return frame(SCHEMAS["pegs"], columns, geometry, crs)
