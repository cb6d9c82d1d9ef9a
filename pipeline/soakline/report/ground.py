"""The ground under the report's maps: the plan's own elevation, else its DEM, else none."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from pyproj import CRS

from soakline.grid import Grid, GroundArray
from soakline.inputs.read import sha256_of
from soakline.plan_ground import Bounds, coverage_of, read_coarse
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
    ground = read_coarse(coverage_of(plan.path), bounds, crs, MOST_CELLS_A_SIDE)
    if ground is not None:
        return Ground(*ground, "Hillshade of the coverage elevation in the plan.", True)
    path, reason = _dem_of(plan)
    if path is not None:
        ground = read_coarse(str(path), bounds, crs, MOST_CELLS_A_SIDE)
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
