"""Layers and tables of the event: spillways, routes, safe points, storms."""

from collections.abc import Callable, Sequence
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from soakline.grid import BoolArray
from soakline.ids import (
    dam_id,
    given_point_id,
    hollow_id,
    line_id,
    outlet_id,
    route_id,
    spillway_id,
)
from soakline.outputs.columns import SCHEMAS, frame
from soakline.outputs.designed import Designed
from soakline.overflow.aprons import linings_of
from soakline.overflow.routes import Route
from soakline.section.trench import trenches_of
from soakline.siting.ends import End, over_the_edge
from soakline.terrain.paths import path_down


def end_id(end: End, swale_ids: Sequence[str]) -> str | None:
    """Id of what a route ends on; none at the property's edge."""
    naming: dict[str, Callable[[int], str]] = {
        "swale": swale_ids.__getitem__,
        "drainage_line": line_id,
        "dam": dam_id,
        "hollow": hollow_id,
        "safe_point": given_point_id,
    }
    return naming[end.kind](end.index) if end.kind in naming else None


def numbered(routes: list[Route]) -> list[tuple[int, Route]]:
    """Each route with the number of its sill along the lip."""
    seen: dict[int, int] = {}
    out = []
    for route in routes:
        number = seen.get(route.swale, 0)
        seen[route.swale] = number + 1
        out.append((number, route))
    return out


def spillway_layer(plan: Designed, crs: str) -> gpd.GeoDataFrame:
    """The `spillways` layer."""
    rows, points, ids = [], [], plan.placed.ids
    linings = linings_of(plan.routes, plan.figures.texture)
    for (number, route), lining in zip(numbered(plan.routes), linings, strict=True):
        i = route.swale
        rows.append(
            {
                "spillway_id": spillway_id(ids[i], number),
                "swale_id": ids[i],
                "sill_level_m": float(plan.figures.sill_level_m[i]),
                "sill_length_m": route.sill.length_m,
                "check_head_m": float(plan.figures.check_head_m[i]),
                "peak_m3s": route.spill_m3s,
                "sill_width_m": lining.sill_width_m,
                "apron_length_m": lining.apron_m,
                "apron_m2": lining.area_m2(route.sill.length_m),
                "lining": lining.name,
            }
        )
        points.append(shapely.points(route.coordinates[0]))
    return frame(SCHEMAS["spillways"], rows, points, crs)


def route_layer(plan: Designed, crs: str) -> gpd.GeoDataFrame:
    """The `overflow_routes` layer."""
    rows, lines, ids = [], [], plan.placed.ids
    for number, route in numbered(plan.routes):
        rows.append(
            {
                "route_id": route_id(ids[route.swale], number),
                "swale_id": ids[route.swale],
                "spillway_id": spillway_id(ids[route.swale], number),
                "to_kind": route.end.kind,
                "to_id": end_id(route.end, ids),
                "length_m": route.length_m,
                "drop_m": route.drop_m,
                "max_slope_pct": route.max_slope_pct,
                "peak_m3s": route.peak_m3s,
                "velocity_ms": route.velocity_ms,
                "permissible_ms": route.permissible_ms,
                "lining": route.lining,
            }
        )
        lines.append(shapely.linestrings(route.coordinates))
    return frame(SCHEMAS["overflow_routes"], rows, lines, crs)


def _last_step(plan: Designed, left: BoolArray, cell: int) -> tuple[int, ...]:
    """Cells by which a drainage line fed at a cell leaves the property; none if it ends inside."""
    cells = path_down(plan.terrain.flow.direction, cell, left)
    return tuple(cells[-2:].tolist()) if left.ravel()[cells[-1]] else ()


def _outlet(plan: Designed, step: tuple[int, ...]) -> tuple[float, float]:
    """Where the last step of a drainage line crosses the property's edge, or comes next to it where
    the elevation model ends there.
    """
    grid, edge = plan.terrain.grid, plan.inputs.property.area.boundary
    row, column = np.divmod(np.array(step), grid.columns)
    easting, northing = grid.easting_northing(row.astype(float), column.astype(float))
    way = shapely.linestrings(easting[[0, -1]], northing[[0, -1]])
    crossing = shapely.get_coordinates(shapely.intersection(way, edge))
    if not len(crossing):
        crossing = shapely.get_coordinates(shapely.shortest_line(edge, shapely.get_point(way, -1)))
    point = crossing[0]
    return float(point[0]), float(point[1])


def safe_point_layer(plan: Designed, crs: str) -> gpd.GeoDataFrame:
    """The `safe_points` layer: given points, dams that routes reach, outlets of fed lines."""
    rows: list[dict[str, Any]] = []
    points = []
    # The first route into an area enters it here, as into a dam.
    entered = {
        route.end.index: route.coordinates[-1, :2]
        for route in reversed(plan.routes)
        if route.end.kind == "safe_point"
    }
    for i, place in enumerate(plan.inputs.features.safe_points.itertuples()):
        rows.append(
            {"safe_id": given_point_id(i), "name": place.name, "kind": "given", "source": "given"}
        )
        shape = shapely.force_2d(place.geometry)
        met = i in entered and shapely.area(shape) > 0.0
        points.append(shapely.points(entered[i]) if met else shapely.point_on_surface(shape))
    dams = plan.inputs.features.dams
    reached: set[int] = set()
    steps: set[tuple[int, ...]] = set()
    outlets: set[tuple[float, float]] = set()
    left = ~plan.property_cells
    left.ravel()[over_the_edge(plan.property_cells, plan.terrain.flow.direction)] = True
    for route in plan.routes:
        if route.end.kind == "dam" and route.end.index not in reached:
            reached.add(route.end.index)
            rows.append(
                {
                    "safe_id": dam_id(route.end.index),
                    "name": dams["name"].iloc[route.end.index],
                    "kind": "dam",
                    "source": "given",
                }
            )
            points.append(shapely.points(route.coordinates[-1, :2]))
        if route.end.kind == "drainage_line":
            step = _last_step(plan, left, route.end_cell)
            # Many routes share one outlet.
            if not step or step in steps:
                continue
            steps.add(step)
            place = _outlet(plan, step)
            if place not in outlets:
                rows.append(
                    {
                        "safe_id": outlet_id(len(outlets)),
                        "name": None,
                        "kind": "outlet",
                        "source": "derived",
                    }
                )
                outlets.add(place)
                points.append(shapely.points(*place))
    return frame(SCHEMAS["safe_points"], rows, points, crs)


def storm_table(plan: Designed) -> pd.DataFrame:
    """The `storms` table."""
    rows = [
        {
            "storm_id": storm.storm_id,
            "frequency": storm.frequency,
            "aep_pct": storm.aep_pct,
            "duration_min": storm.duration_min,
            "depth_mm": storm.depth_mm,
            "pattern": storm.pattern,
            "purpose": storm.purpose,
        }
        for storm in plan.storms
    ]
    return frame(SCHEMAS["storms"], rows)


def swale_storm_table(plan: Designed) -> pd.DataFrame:
    """The `swale_storms` table."""
    swales, storms = len(plan.placed.lines), len(plan.storms)
    results, routing = plan.results, plan.results.routing
    columns = {
        "swale_id": np.repeat(plan.placed.ids, storms),
        "storm_id": np.tile([storm.storm_id for storm in plan.storms], swales),
        "runoff_m3": results.runoff_m3.ravel(),
        "received_m3": routing.received_m3.ravel(),
        "inflow_m3": routing.inflow_m3.ravel(),
        "stored_m3": routing.stored_m3.ravel(),
        "infiltrated_m3": routing.infiltrated_m3.ravel(),
        "overflow_m3": routing.overflow_m3.ravel(),
        "peak_spill_m3s": routing.peak_spill_m3s.ravel(),
        "max_level_m": results.max_level_m.ravel(),
        "freeboard_m": results.freeboard_m.ravel(),
        "drain_down_h": routing.drain_down_h.ravel(),
    }
    return frame(SCHEMAS["swale_storms"], columns)


def storm_course_table(plan: Designed) -> pd.DataFrame:
    """The `storm_courses` table."""
    own = plan.courses
    base = plan.figures.level_m - trenches_of(plan.figures.sections).depth_m
    storm_ids = np.array([storm.storm_id for storm in plan.storms], dtype=object)
    columns = {
        "swale_id": np.array(plan.placed.ids, dtype=object)[own.swale],
        "storm_id": storm_ids[plan.results.governing[own.swale]],
        "after_min": own.minute,
        "inflow_m3s": own.inflow_m3s,
        "spill_m3s": own.spill_m3s,
        "level_m": base[own.swale] + own.depth_m,
    }
    return frame(SCHEMAS["storm_courses"], columns)
