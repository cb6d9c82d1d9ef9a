"""The finished ground as a GeoTIFF, from the DEM that the plan was made from."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import rasterio
from pyproj import CRS

from soakline.grid import Grid, GroundArray
from soakline.inputs.elevation import plan_elevation, read_elevation
from soakline.inputs.read import sha256_of
from soakline.problems import InputProblem, InputRefused
from soakline.setout.finished import burn
from soakline.setout.plan import SetOutPlan
from soakline.terrain.ground import sample

MOST_CELLS = 400_000_000
_ROWS_AT_ONCE = 512
NO_DATA = -9999.0
CAUTION = (
    "Finished ground of a swale plan: heights are no better than the DEM. Not to be dug from by "
    "machine guidance without levels from an instrument on site; have services located before "
    "digging; local codes and licensed practice come first."
)


@dataclass(frozen=True, eq=False, slots=True)
class Ground:
    """Ground of a plan on the grid that the finished ground is written on.

    Parameters
    ----------
    grid : Grid
    ground_m : (rows, columns) float32, m; NaN where not valid
    """

    grid: Grid
    ground_m: GroundArray


def dem_of(plan: SetOutPlan, given: Sequence[Path]) -> tuple[tuple[Path, ...], str]:
    """The DEM's files, and why they cannot be used.

    Parameters
    ----------
    plan : SetOutPlan
    given : paths to take instead of the names in the plan, which start at the plan's folder

    Returns
    -------
    paths, and the reason in words; empty if there is none
    """
    paths = tuple(given) or tuple(plan.path.parent / name for name, _ in plan.dem)
    lost = [path for path in paths if not path.is_file()]
    if lost or not paths:
        named = ", ".join(str(path) for path in lost) or "the record names none"
        return (), f"the plan's DEM is not there ({named}); name it with --dem"
    if sorted(sha256_of(path) for path in paths) != sorted(digest for _, digest in plan.dem):
        named = ", ".join(str(path) for path in paths)
        return (), f"{named} is not the DEM that the plan was made from (other SHA-256)"
    return paths, ""


def read_ground(plan: SetOutPlan, paths: Sequence[Path], cell_m: float) -> Ground:
    """The DEM on its own cells or on finer ones.

    Parameters
    ----------
    plan : SetOutPlan
    paths : the DEM's files
    cell_m : side of the cells, m; 0 for the DEM's own

    Raises
    ------
    InputRefused
        If the DEM cannot be read, or so many cells are asked for that they would not fit in memory.
    """
    dem, _ = read_elevation(plan_elevation(paths, CRS.from_wkt(plan.crs_wkt)), plan.vertical_unit)
    if cell_m in (0, dem.grid.cell_m):
        return Ground(dem.grid, dem.dem_m)
    own = dem.grid
    rows, columns = (round(n * own.cell_m / cell_m) for n in own.shape)
    if rows * columns > MOST_CELLS:
        found = f"{rows * columns:,} cells of {cell_m:g} m"
        allowed = f"at most {MOST_CELLS:,} cells"
        raise InputRefused([InputProblem(str(plan.path), "finished_cell_m", found, allowed)])
    grid = replace(own, rows=rows, columns=columns, cell_m=cell_m)
    fine = np.empty(grid.shape, np.float32)
    for start in range(0, rows, _ROWS_AT_ONCE):
        row = np.arange(start, min(start + _ROWS_AT_ONCE, rows), dtype=np.float64)
        rr, cc = np.meshgrid(row, np.arange(columns, dtype=np.float64), indexing="ij")
        east, north = grid.easting_northing(rr.ravel(), cc.ravel())
        block = sample(dem.dem_m, own, east, north)
        fine[start : start + row.size] = block.reshape(row.size, columns)
    return Ground(grid, fine)


def write_finished_ground(plan: SetOutPlan, ground: Ground, path: Path) -> None:
    """Write the finished ground, float32, tiled and compressed; no-data is -9999."""
    finished = ground.ground_m.copy()
    burn(finished, ground.ground_m, ground.grid, plan)
    stored = np.where(np.isnan(finished), np.float32(NO_DATA), finished)
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        dtype="float32",
        count=1,
        height=ground.grid.rows,
        width=ground.grid.columns,
        crs=ground.grid.crs_wkt,
        transform=ground.grid.transform,
        nodata=NO_DATA,
        tiled=True,
        compress="deflate",
        predictor=3,
        bigtiff="if_safer",
    ) as dataset:
        dataset.write(stored, 1)
        dataset.set_band_description(1, "finished ground, m")
        dataset.update_tags(TIFFTAG_IMAGEDESCRIPTION=CAUTION)
