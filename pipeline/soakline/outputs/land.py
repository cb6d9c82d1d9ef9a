"""Layers of the land: property, slope classes, excluded ground, hollows, drainage lines."""

import geopandas as gpd
import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from soakline.findings import Finding
from soakline.ids import hollow_id, line_id
from soakline.inputs.types import Property
from soakline.outputs.columns import SCHEMAS, frame
from soakline.runfile.sections import TerrainKeys
from soakline.siting.excluded import ExcludedGround
from soakline.terrain.condition import Terrain
from soakline.terrain.hollows import Hollows
from soakline.terrain.slope_classes import slope_class_polygons


def property_layer(land: Property, crs: str) -> gpd.GeoDataFrame:
    """The `property` layer."""
    row = {"name": land.name, "area_m2": float(shapely.area(land.area))}
    return frame(SCHEMAS["property"], [row], [land.area], crs)


def slope_layer(
    terrain: Terrain, land: Property, limits_pct: tuple[float, ...], crs: str
) -> gpd.GeoDataFrame:
    """The `slope_classes` layer."""
    found = slope_class_polygons(terrain.slope_pct, terrain.grid, land.area, limits_pct)
    rows = [
        {"class": number, "lower_pct": low, "upper_pct": high, "area_m2": float(ground.area)}
        for number, low, high, ground in found
    ]
    return frame(SCHEMAS["slope_classes"], rows, [ground for *_, ground in found], crs)


def excluded_layer(excluded: ExcludedGround, crs: str) -> gpd.GeoDataFrame:
    """The `excluded_ground` layer."""
    rows = [{"reason": reason, "area_m2": area} for reason, _, area in excluded.parts]
    return frame(SCHEMAS["excluded_ground"], rows, [ground for _, ground, _ in excluded.parts], crs)


def drainage_layer(terrain: Terrain, crs: str) -> gpd.GeoDataFrame:
    """The `drainage_lines` layer."""
    rows = [
        {
            "line_id": line_id(i),
            "order_strahler": line.order_strahler,
            "contributing_m2": line.contributing_m2,
        }
        for i, line in enumerate(terrain.drainage)
    ]
    return frame(SCHEMAS["drainage_lines"], rows, list(terrain.drainage_line), crs)


def listed_hollows(hollows: Hollows, keys: TerrainKeys) -> list[int]:
    """Hollows over the depth or the area of the run file; the rest is told in one note."""
    over = (hollows.depth_m > keys.hollow_depth_m) | (hollows.area_m2 > keys.hollow_area_m2)
    return [int(i) for i in np.flatnonzero(over)]


def hollow_layer(hollows: Hollows, shapes: dict[int, BaseGeometry], crs: str) -> gpd.GeoDataFrame:
    """The `hollows` layer."""
    rows = [
        {
            "hollow_id": hollow_id(i),
            "depth_m": float(hollows.depth_m[i]),
            "volume_m3": float(hollows.volume_m3[i]),
            "treatment": "kept" if hollows.kept[i] else "filled",
        }
        for i in shapes
    ]
    return frame(SCHEMAS["hollows"], rows, list(shapes.values()), crs)


def small_hollows(hollows: Hollows, listed: list[int]) -> tuple[Finding, ...]:
    """One note on all hollows too small to list."""
    rest = np.ones(hollows.depth_m.size, dtype=bool)
    rest[listed] = False
    if not rest.any():
        return ()
    return (
        Finding(
            "small_hollows",
            "note",
            "hollows",
            "",
            f"{int(rest.sum())} small hollows were filled: {hollows.area_m2[rest].sum():.0f} m² in "
            f"all, the deepest {hollows.depth_m[rest].max():.2f} m",
            "",
        ),
    )
