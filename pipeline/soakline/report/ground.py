"""The ground under the report's maps: the plan's own elevation, else its DEM, else none."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import rasterio
from pyproj import CRS
from rasterio.errors import RasterioError, RasterioIOError, WindowError
from rasterio.windows import Window, from_bounds

from soakline.grid import Grid, GroundArray
from soakline.inputs.read import sha256_of
from soakline.outputs.hillshade import Bounds
from soakline.report.read import ReadPlan

MOST_CELLS_A_SIDE = 1500


@dataclass(frozen=True, eq=False, slots=True)
class Ground:
    """Ground of the land, coarse enough for a picture.

    Parameters
    ----------
    grid : Grid, of square cells
    ground_m : (rows, columns) float32, m; NaN where not known
    source : where it is from, or why there is none; a sentence
    known : whether there is any
    """

    grid: Grid
    ground_m: GroundArray
    source: str
    known: bool


def ground_of(plan: ReadPlan, bounds: Bounds) -> Ground:
    """Find the ground within bounds.

    Parameters
    ----------
    plan : ReadPlan
    bounds : west, south, east, north of what is wanted, m
    """
    crs = CRS.from_wkt(plan.layers["property"].crs.to_wkt())
    ground = _read(f"GPKG:{plan.path.absolute()}:elevation", bounds, crs)
    if ground is not None:
        return Ground(*ground, "Hillshade of the coverage elevation in the plan.", True)
    path, reason = _dem_of(plan)
    if path is not None:
        ground = _read(str(path), bounds, crs)
        if ground is not None:
            return Ground(*ground, f"Hillshade of {path.name}, the DEM of the plan.", True)
        reason = f"{path.name} cannot be read in the plan's CRS"
    side = max(bounds[2] - bounds[0], bounds[3] - bounds[1]) / 2
    nothing = np.full((2, 2), np.nan, np.float32)
    grid = Grid(2, 2, bounds[0], bounds[3], side, crs.to_wkt())
    return Ground(grid, nothing, f"No hillshade: the plan holds no elevation, and {reason}.", False)


def _dem_of(plan: ReadPlan) -> tuple[Path | None, str]:
    """The DEM of the plan, by its SHA-256; else the reason why there is none."""
    dems = [(file, digest) for role, file, digest in plan.inputs if role == "dem"]
    if len(dems) != 1:
        return None, f"its record names {len(dems)} files of a DEM, not one"
    file, digest = dems[0]
    path = plan.path.parent / file
    if not path.is_file():
        return None, f"{file} is not beside it"
    if sha256_of(path) != digest:
        return None, f"{file} is not the DEM that it was made from (other SHA-256)"
    return path, ""


def _read(place: str, bounds: Bounds, crs: CRS) -> tuple[Grid, GroundArray] | None:
    """Cells within bounds, coarsened as they are read; None where they cannot be read."""
    try:
        with rasterio.open(place) as dataset:
            cell_m = float(dataset.transform.a)
            if dataset.crs is None or CRS.from_user_input(dataset.crs) != crs:
                return None
            whole = Window(0, 0, dataset.width, dataset.height)
            window = from_bounds(*bounds, dataset.transform).round_offsets().round_lengths()
            window = window.intersection(whole)
            step = max(1, round(max(window.width, window.height) / MOST_CELLS_A_SIDE))
            rows, columns = (max(2, int(n // step)) for n in (window.height, window.width))
            window = Window(window.col_off, window.row_off, columns * step, rows * step)
            read = dataset.read(1, window=window, out_shape=(rows, columns), masked=True)
            west = float(dataset.transform.c) + window.col_off * cell_m
            north = float(dataset.transform.f) - window.row_off * cell_m
    except (RasterioIOError, RasterioError, WindowError, ValueError):
        return None
    grid = Grid(rows, columns, west, north, cell_m * step, crs.to_wkt())
    ground_m: GroundArray = np.ma.filled(read.astype(np.float32), np.nan)
    return (grid, ground_m) if np.isfinite(ground_m).any() else None
