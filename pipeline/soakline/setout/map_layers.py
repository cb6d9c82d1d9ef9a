"""What map sheets show of a finished plan: its layers, and its ground where it holds that."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import numpy as np
import rasterio
from rasterio.errors import RasterioIOError
from rasterio.windows import from_bounds

from soakline.grid import FloatArray
from soakline.outputs.hillshade import Bounds
from soakline.plan_file import layer_names, read_tables
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
    """Layers to be drawn, and where the ground is.

    Parameters
    ----------
    layers : by name, in the plan's CRS
    ground : name of the coverage for GDAL; empty where the plan holds none
    """

    layers: Mapping[str, gpd.GeoDataFrame]
    ground: str

    def ground_within(self, bounds: Bounds, pixels: int) -> tuple[FloatArray, float, Bounds] | None:
        """Elevation within bounds, coarsened to at most so many cells along the longer side.

        Returns
        -------
        (rows, columns) m, NaN where there is none; side of its cells, m; its bounds. None where
        the plan holds no ground, or it does not reach into the bounds
        """
        if not self.ground:
            return None
        with rasterio.open(self.ground) as source:
            west, south, east, north = (
                max(bounds[0], source.bounds.left),
                max(bounds[1], source.bounds.bottom),
                min(bounds[2], source.bounds.right),
                min(bounds[3], source.bounds.top),
            )
            if west >= east or south >= north:
                return None
            cell_m = max(source.res[0], max(east - west, north - south) / pixels)
            shape = (max(2, round((north - south) / cell_m)), max(2, round((east - west) / cell_m)))
            window = from_bounds(west, south, east, north, source.transform)
            read = source.read(1, window=window, out_shape=shape, masked=True)
        ground = np.asarray(read.filled(np.nan), dtype=np.float64)
        return ground, (north - south) / shape[0], (west, south, east, north)


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
    ground = f"GPKG:{path.absolute()}:elevation"
    try:
        with rasterio.open(ground):
            pass
    except RasterioIOError:
        ground = ""
    return MapLayers(layers, ground)
