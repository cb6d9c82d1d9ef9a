"""Land without features, and the pieces of it that siting asks for."""

import geopandas as gpd
import numpy as np
import shapely

from soakline.grid import Grid, GroundArray
from soakline.inputs.types import Elevation, Features
from soakline.runfile.sections import SetbackKeys, TerrainKeys
from soakline.section.mound import MoundShape
from soakline.section.reach import FootprintReach, footprint_reach
from soakline.section.trench import Trench
from soakline.siting.excluded import ExcludedGround, excluded_ground
from soakline.siting.given import GivenLips
from soakline.siting.site import kept_surface
from soakline.siting.stations import Siteable, siteable_ground
from soakline.terrain.condition import Terrain, condition_ground

TRENCH = Trench(1.5, 0.5, 1.5)
NONE_GIVEN = GivenLips((), np.array([], dtype=object))
MOUND = MoundShape(0.0, 2.0, 0.5)
# Columns that siting reads, by layer; the rest carry none.
COLUMNS = {
    "watercourses": ["name", "width_m"],
    "services": ["name", "width_m"],
    "tracks": ["name", "width_m"],
    "soils": ["texture", "hydrologic_group", "ksat_mm_h", "rock_m", "watertable_m"],
    "planting_blocks": ["mature_tree_height_m", "species"],
}


def features_of(grid: Grid, **layers: gpd.GeoDataFrame) -> Features:
    """Features with the given layers, all others empty."""
    frames = {
        name: layers.get(
            name,
            gpd.GeoDataFrame(
                {column: [] for column in COLUMNS.get(name, ["name"])},
                geometry=[],
                crs=grid.crs_wkt,
            ),
        )
        for name in Features.__slots__
    }
    return Features(**frames)


def layer(grid: Grid, shape: shapely.Geometry, **values: object) -> gpd.GeoDataFrame:
    """One feature as a layer."""
    columns = {"name": ["it"], **{name: [value] for name, value in values.items()}}
    return gpd.GeoDataFrame(columns, geometry=[shape], crs=grid.crs_wkt)


def terrain_of(dem: GroundArray, grid: Grid) -> Terrain:
    return condition_ground(Elevation(grid, dem), TerrainKeys())


def property_of(grid: Grid, inset_m: float = 20.0) -> shapely.MultiPolygon:
    west, south, east, north = grid.bounds
    return shapely.MultiPolygon(
        [shapely.box(west + inset_m, south + inset_m, east - inset_m, north - inset_m)]
    )


def excluded_of(
    terrain: Terrain, features: Features, area: shapely.MultiPolygon, **changes: object
) -> ExcludedGround:
    settings = {"max_slope_pct": 15.0, "depth_m": 0.5, "cross_tracks": True} | changes
    return excluded_ground(
        area,
        features,
        terrain.drainage_line,
        kept_surface(terrain),
        terrain.slope_pct,
        terrain.flow.direction,
        terrain.grid,
        SetbackKeys(),
        settings["max_slope_pct"],  # type: ignore[arg-type]
        settings["depth_m"],  # type: ignore[arg-type]
        settings["cross_tracks"],  # type: ignore[arg-type]
    )


def reach() -> FootprintReach:
    return footprint_reach(TRENCH, MOUND, 0.25, 1.125, 0.015, 0.8, 0.0)


def siteable_of(terrain: Terrain, excluded: ExcludedGround) -> Siteable:
    return siteable_ground(excluded, terrain.slope_pct, 15.0, reach(), terrain.grid)
