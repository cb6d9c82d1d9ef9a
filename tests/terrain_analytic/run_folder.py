"""Writes a whole run folder for a DEM: what a user would have on disk before `soakline plan`."""

import json
import tomllib
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import rasterio
from shapely import MultiPolygon, Polygon, box

from soakline.grid import Grid, GroundArray

NO_DATA = -9999.0

DEFAULT_RAIN = """\
duration_min,2,5,10,20,50,100
5,6.3,8.4,10,11.7,14.2,16.3
10,9.6,12.8,15.3,18,21.8,25
15,12,16,19.1,22.4,27.2,31.2
30,16.8,22.3,26.8,31.4,38.2,43.9
60,23.6,31.5,38,44.7,54.4,62.6
120,31,41.6,50.2,59.2,72.2,83.3
180,36,48.5,58.6,69.2,84.6,97.7
360,45.8,62,75.3,89.2,109.6,127
720,53.8,73.4,89.5,106.5,131.3,152.6
1440,62.6,85.8,105,125.3,155.1,180.7
2880,76,104.8,128.6,154,191.2,223.4
"""


def write_run(
    folder: Path,
    dem: GroundArray,
    grid: Grid,
    *,
    inset_m: float = 20.0,
    boundary: Polygon | MultiPolygon | gpd.GeoDataFrame | None = None,
    features: dict[str, gpd.GeoDataFrame] | None = None,
    run: dict[str, Any] | None = None,
    rain: str | None = None,
) -> Path:
    """Write dem.tif, boundary.gpkg, rain.csv, features.gpkg if any, and run.toml.

    Parameters
    ----------
    folder : made if it is not there
    dem : (rows, columns) m; NaN is written as no-data
    grid : of the DEM
    inset_m : distance of the default boundary, a rectangle, from the DEM's edge
    boundary : instead of the default: a polygon in the DEM's CRS, or a frame with its own CRS
    features : layer name to frame, as in the contract; a frame without CRS gets the DEM's
    run : tables of the run file to add or override; a value of None removes a key
    rain : text of the rain table; an invented temperate one by default

    Returns
    -------
    path of run.toml
    """
    folder.mkdir(parents=True, exist_ok=True)
    write_dem(folder / "dem.tif", dem, grid)
    if boundary is None:
        west, south, east, north = grid.bounds
        boundary = box(west + inset_m, south + inset_m, east - inset_m, north - inset_m)
    if isinstance(boundary, gpd.GeoDataFrame):
        outline = boundary
    else:
        outline = gpd.GeoDataFrame({"name": ["test"]}, geometry=[boundary], crs=grid.crs_wkt)
    outline.to_file(folder / "boundary.gpkg", layer="boundary", driver="GPKG")
    (folder / "rain.csv").write_text(DEFAULT_RAIN if rain is None else rain, encoding="utf-8")
    settings: dict[str, Any] = {
        "property": {"name": "test", "dem": "dem.tif", "boundary": "boundary.gpkg"},
        "rain": {"table": "rain.csv"},
    }
    if features:
        features_file = folder / "features.gpkg"
        features_file.unlink(missing_ok=True)
        for layer, frame in features.items():
            placed = frame if frame.crs is not None else frame.set_crs(grid.crs_wkt)
            placed.to_file(features_file, layer=layer, driver="GPKG")
        settings["property"]["features"] = "features.gpkg"
    run_file = folder / "run.toml"
    run_file.write_text(toml_text(merged(settings, run or {})), encoding="utf-8")
    return run_file


def write_dem(path: Path, dem: GroundArray, grid: Grid) -> None:
    """Write a float32 GeoTIFF with -9999 for no-data."""
    stored = np.where(np.isfinite(dem), dem, NO_DATA).astype(np.float32)
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        dtype="float32",
        count=1,
        height=grid.rows,
        width=grid.columns,
        crs=grid.crs_wkt,
        transform=grid.transform,
        nodata=NO_DATA,
    ) as dataset:
        dataset.write(stored, 1)


def merged(base: dict[str, Any], changes: dict[str, Any]) -> dict[str, Any]:
    """Copy of nested tables with changes laid over them; None takes a key away."""
    result = dict(base)
    for key, value in changes.items():
        if value is None:
            result.pop(key, None)
        elif isinstance(value, dict) and isinstance(result.get(key), dict):
            result[key] = merged(result[key], value)
        else:
            result[key] = value
    return result


def toml_text(settings: dict[str, Any]) -> str:
    """Nested dicts as TOML; tables below a section become sections of their own."""
    text = "\n".join(_section_lines("", settings)) + "\n"
    tomllib.loads(text)  # a mistake here would otherwise look like a defect of the reader
    return text


def _section_lines(name: str, table: dict[str, Any]) -> list[str]:
    lines = [f"[{name}]"] if name else []
    lines += [f"{key} = {_value(v)}" for key, v in table.items() if not isinstance(v, dict)]
    for key, value in table.items():
        if isinstance(value, dict):
            lines += _section_lines(f"{name}.{key}" if name else key, value)
    return lines


def _value(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (int, float)):
        return repr(value)
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(_value(item) for item in value) + "]"
    raise TypeError(f"no TOML form for {type(value).__name__}")
