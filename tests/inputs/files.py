"""Small files of every awkward kind, written the way other programs write them."""

from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import rasterio
from affine import Affine
from rasterio.transform import from_origin
from shapely.geometry.base import BaseGeometry

from soakline.findings import Finding
from soakline.inputs.elevation import VerticalUnit, plan_elevation, read_elevation
from soakline.inputs.types import Elevation

UTM = "EPSG:32755"
WEST_M, NORTH_M = 600_000.0, 6_100_000.0


def tilted_m(rows: int = 60, columns: int = 80) -> np.ndarray:
    """Heights of a tilted plane, (rows, columns) float32, m; no two neighbours are level."""
    row, column = np.mgrid[0:rows, 0:columns]
    return (100.0 + 0.05 * row + 0.031 * column).astype(np.float32)


def write_raster(
    path: Path,
    heights: np.ndarray,
    transform: Affine | None = None,
    crs: str | None = UTM,
    **profile: Any,
) -> Path:
    """Write one band, 1 m cells with the corner at (`WEST_M`, `NORTH_M`) unless told otherwise."""
    bands = heights if heights.ndim == 3 else heights[None]
    settings = {
        "driver": "GTiff",
        "count": bands.shape[0],
        "height": bands.shape[1],
        "width": bands.shape[2],
        "dtype": heights.dtype,
        "crs": crs,
        "transform": transform or from_origin(WEST_M, NORTH_M, 1.0, 1.0),
    } | profile
    with rasterio.open(path, "w", **settings) as dataset:
        dataset.write(bands.astype(settings["dtype"]))
    return path


def write_layer(
    path: Path,
    layer: str,
    shapes: list[BaseGeometry | None],
    crs: str | None = UTM,
    **columns: list[Any],
) -> Path:
    """Add a layer to a GeoPackage."""
    frame = gpd.GeoDataFrame(columns, geometry=shapes, crs=crs)
    frame.to_file(path, layer=layer, driver="GPKG")
    return path


def read_dem(
    *paths: Path, unit: VerticalUnit = "m", crs: Any = None
) -> tuple[Elevation, tuple[Finding, ...]]:
    """Headers, then cells, as a run reads them."""
    return read_elevation(plan_elevation(paths, crs), unit)


def codes(findings: tuple[Finding, ...]) -> list[str]:
    """Codes of findings, in their order."""
    return [finding.code for finding in findings]
