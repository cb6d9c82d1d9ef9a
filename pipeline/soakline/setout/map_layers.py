"""What map sheets show of a finished plan: its layers, and its ground where it holds that."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
from pyproj import CRS

from soakline.grid import Grid, GroundArray
from soakline.plan_file import layer_names, read_tables
from soakline.plan_ground import Bounds, coverage_of, read_coarse
from soakline.problems import InputRefused

_COLUMNS: Mapping[str, tuple[str, ...]] = {
    "property": ("name",),
    "swales": ("swale_id", "state"),
    "swale_ground": ("part",),
    "spillways": ("spillway_id",),
    "overflow_routes": ("route_id",),
    "safe_points": ("kind",),
    "drainage_lines": ("order_strahler",),
    "excluded_ground": ("reason",),
    "hollows": ("treatment",),
    "pegs": ("peg_id", "kind"),
    "diversions": ("diversion_id",),
    "crossings": ("kind",),
    "swale_points": ("kind",),
}


@dataclass(frozen=True, eq=False, slots=True)
class MapLayers:
    """Layers to be drawn, and the plan that may hold their ground.

    Parameters
    ----------
    layers : by name, in the plan's CRS
    plan : the GeoPackage
    """

    layers: Mapping[str, gpd.GeoDataFrame]
    plan: Path

    def ground_within(self, bounds: Bounds, pixels: int) -> tuple[Grid, GroundArray] | None:
        """Elevation within bounds, coarsened to about so many cells along the longer side, m.

        None where the plan holds no ground, or it does not reach into the bounds.
        """
        crs = CRS.from_wkt(self.layers["property"].crs.to_wkt())
        return read_coarse(coverage_of(self.plan), bounds, crs, pixels)


def read_map_layers(path: Path) -> MapLayers:
    """Read what the sheets show.

    Raises
    ------
    InputRefused
        If the file is no plan, or a layer is damaged.
    """
    there = layer_names(path)
    asked = {name: columns for name, columns in _COLUMNS.items() if name in there}
    tables, problems = read_tables(path, asked, lambda _: True)
    if problems:
        raise InputRefused(problems)
    layers = {name: table for name, table in tables.items() if isinstance(table, gpd.GeoDataFrame)}
    return MapLayers(layers, path)
