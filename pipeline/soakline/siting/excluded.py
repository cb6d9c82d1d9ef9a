"""Ground where no swale may lie, by first reason.

Two kinds of exclusion: `too_steep` and `wet` bind the lip and live on the grid; all others bind the
whole footprint and are polygons, so that setbacks hold exactly and not to the nearest cell.
"""

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely
from shapely.geometry import MultiPolygon
from shapely.geometry.base import BaseGeometry

from soakline.grid import BoolArray, FloatArray, Grid, GroundArray
from soakline.inputs.types import Features
from soakline.runfile.sections import SetbackKeys
from soakline.siting.subtract import less
from soakline.terrain.cells import GeometryArray, burn, cell_polygons, polygons_of
from soakline.terrain.flow import Uint8Array
from soakline.terrain.paths import way_to_target_m

REASONS = (
    "boundary", "building", "septic", "well", "drainage_line", "watercourse", "dam", "service",
    "track", "landslip", "too_steep", "wet", "shallow_soil", "saline", "protected", "by_wish",
)  # fmt: skip
LIP_REASONS = ("too_steep", "wet")

# Soil that must stay below a floor, over rock and over the water table.
ROCK_ROOM_M, WATER_ROOM_M = 0.3, 1.0

# Buffers are drawn outside the true arc by this factor, so that no setback is cut short.
_QUADRANT = 16
_TOUCH_M2 = 1e-4
_ARC_FACTOR = 1.0 / np.cos(np.pi / (4 * _QUADRANT))


@dataclass(frozen=True, eq=False, slots=True)
class ExcludedGround:
    """Where swales may not lie.

    Parameters
    ----------
    inner : the property less the boundary's setback; footprints stay within
    polygons, polygon_reason : (n,) polygons that footprints keep out of, and the reason of each
    too_steep, wet : (rows, columns) bool; cells that the lip keeps out of
    parts : reason, ground and m²; a partition of the excluded part of the property
    """

    inner: BaseGeometry
    polygons: GeometryArray
    polygon_reason: tuple[str, ...]
    too_steep: BoolArray
    wet: BoolArray
    parts: tuple[tuple[str, MultiPolygon, float], ...]


def buffered(geometry: GeometryArray, distance_m: FloatArray | float) -> GeometryArray:
    """Buffers that reach at least the given distance everywhere."""
    out: GeometryArray = shapely.buffer(
        geometry, np.asarray(distance_m, dtype=float) * _ARC_FACTOR, quad_segs=_QUADRANT
    )
    return out


def _partition(
    area: BaseGeometry, ground: dict[str, GeometryArray]
) -> tuple[tuple[str, MultiPolygon, float], ...]:
    """Ground by first reason, clipped to the property."""
    shapely.prepare(area)
    nothing = np.array([], dtype=object)
    by_shape, by_cell = nothing, nothing
    parts = []
    for reason in REASONS:
        own = ground[reason]
        if own.size == 0:
            continue
        if reason not in LIP_REASONS:
            own = polygons_of(np.array([shapely.union_all(own)], dtype=object))
        crosses = ~shapely.contains_properly(area, own)
        own = own.copy()
        own[crosses] = shapely.intersection(own[crosses], area)
        own = less(polygons_of(own), by_shape)
        if reason in LIP_REASONS:
            # Steep and wet cells are disjoint on the grid already.
            own = polygons_of(own)
            by_cell = np.concatenate([by_cell, own])
        else:
            own = polygons_of(less(own, by_cell))
            by_shape = np.concatenate([by_shape, own])
        if own.size:
            parts.append((reason, MultiPolygon(list(own)), float(shapely.area(own).sum())))
    return tuple(parts)


def _flowing_towards(
    near: GeometryArray,
    target: GeometryArray,
    direction: Uint8Array,
    grid: Grid,
    limit_m: float,
) -> GeometryArray:
    """Cells of the ground near something whose water runs on to it."""
    if near.size == 0:
        return near
    goal = burn(target, grid, all_touched=True)
    starts = np.flatnonzero(burn(near, grid, all_touched=True) & ~goal)
    reached = np.isfinite(way_to_target_m(direction, starts, goal, grid.cell_m, limit_m))
    mask = np.zeros(grid.shape, dtype=bool)
    mask.ravel()[starts[reached]] = True
    return cell_polygons(mask, grid)


def _half_width(layer: gpd.GeoDataFrame) -> FloatArray:
    return np.asarray(layer["width_m"].astype(float).fillna(0.0).to_numpy() / 2.0)


def excluded_ground(
    area: BaseGeometry,
    features: Features,
    drainage: GeometryArray,
    kept_hollows: BoolArray,
    slope_pct: GroundArray,
    direction: Uint8Array,
    grid: Grid,
    setback: SetbackKeys,
    max_slope_pct: float,
    depth_m: float,
    cross_tracks: bool,
) -> ExcludedGround:
    """Excluded ground of a property, by first reason.

    Parameters
    ----------
    area : the property
    features : Features
    drainage : (n,) drainage lines
    kept_hollows : (rows, columns) bool, water surface of kept hollows
    slope_pct : (rows, columns) %
    direction : (rows, columns) uint8
    grid : Grid
    setback : distances in plan from each kind of feature to the footprint, m
    max_slope_pct : steeper ground is excluded, %
    depth_m : of the trench below full water; rock and water table are measured from its base
    cross_tracks : tracks may be crossed, so they exclude nothing

    Returns
    -------
    ExcludedGround
    """

    def of(layer: gpd.GeoDataFrame) -> GeometryArray:
        return np.asarray(layer.geometry.array, dtype=object)

    inner = shapely.buffer(area, -setback.boundary)
    rim = np.array([shapely.difference(area, inner)], dtype=object)
    buildings = of(features.buildings)
    near_building = buffered(buildings, setback.building)
    landslips = of(features.landslip)
    soils = features.soils
    shallow = soils["rock_m"].astype(float).to_numpy() < depth_m + ROCK_ROOM_M
    wet_soil = soils["watertable_m"].astype(float).to_numpy() < depth_m + WATER_ROOM_M
    dams = of(features.dams)

    too_steep = slope_pct > max_slope_pct
    dam_surface = dams[shapely.area(dams) > 0]
    wet = kept_hollows | burn(np.concatenate([dam_surface, of(soils)[wet_soil]]), grid)

    ground: dict[str, GeometryArray] = {
        "boundary": rim,
        "building": np.concatenate(
            [
                near_building,
                _flowing_towards(
                    buffered(buildings, setback.building_below),
                    near_building,
                    direction,
                    grid,
                    np.inf,
                ),
                of(features.hard_surfaces),  # roofs and paving: no distance is kept from them
            ]
        ),
        "septic": buffered(of(features.septic), setback.septic),
        "well": buffered(of(features.wells), setback.well),
        "drainage_line": buffered(drainage, setback.drainage_line),
        "watercourse": buffered(
            of(features.watercourses), setback.watercourse + _half_width(features.watercourses)
        ),
        "dam": buffered(dams, setback.dam),
        "service": buffered(
            of(features.services), setback.service + _half_width(features.services)
        ),
        "track": buffered(of(features.tracks), setback.track + _half_width(features.tracks)),
        "landslip": np.concatenate(
            [
                buffered(landslips, setback.landslip),
                _flowing_towards(
                    buffered(landslips, setback.landslip_below),
                    landslips,
                    direction,
                    grid,
                    setback.landslip_below,
                ),
            ]
        ),
        "too_steep": cell_polygons(
            too_steep & burn(np.array([area]), grid, all_touched=True), grid
        ),
        "wet": cell_polygons(
            wet & ~too_steep & burn(np.array([area]), grid, all_touched=True), grid
        ),
        "shallow_soil": of(soils)[shallow],
        "saline": of(features.saline),
        "protected": of(features.protected),
        "by_wish": of(features.no_swales),
    }
    if cross_tracks:
        ground["track"] = np.array([], dtype=object)

    binding = [r for r in REASONS if r not in (*LIP_REASONS, "boundary")]
    polygons = [polygons_of(ground[r]) for r in binding]
    return ExcludedGround(
        inner=inner,
        polygons=np.concatenate(polygons),
        polygon_reason=tuple(
            r for r, some in zip(binding, polygons, strict=True) for _ in range(some.size)
        ),
        too_steep=too_steep,
        wet=wet,
        parts=_partition(area, ground),
    )


def ground_met(works: GeometryArray, excluded: ExcludedGround) -> GeometryArray:
    """Excluded ground that each piece of ground works reaches into, or what of it lies outside.

    Parameters
    ----------
    works : (n,) polygons
    excluded : ExcludedGround

    Returns
    -------
    (n,) geometries, empty where the works keep off
    """
    met = np.full(works.size, shapely.Polygon(), dtype=object)
    shapely.prepare(excluded.inner)
    outside = ~shapely.covers(excluded.inner, works)
    met[outside] = shapely.difference(works[outside], excluded.inner)
    # Asked this way round, it is the large polygons that are prepared for many questions.
    other, own = shapely.STRtree(works).query(excluded.polygons, predicate="intersects")
    for index in np.unique(own):
        hit = shapely.union_all(excluded.polygons[other[own == index]])
        met[index] = shapely.union(met[index], shapely.intersection(works[index], hit))
    # Works that only touch a setback's edge keep it.
    met[shapely.area(met) < _TOUCH_M2] = shapely.Polygon()
    return met
