"""A run's size, from the headers of its DEM."""

from dataclasses import dataclass

from soakline.grid import Grid
from soakline.inputs.elevation import plan_elevation
from soakline.inputs.working_crs import read_crs_key
from soakline.runfile.sections import RunFile


@dataclass(frozen=True, slots=True)
class Survey:
    """What the headers tell of a run's size, for estimates.

    Parameters
    ----------
    grid : the working grid
    source_cells : cells of all DEM files together
    dem_bytes : size of the DEM files
    warped : the DEM will be interpolated on to `grid`, which needs memory for both
    """

    grid: Grid
    source_cells: int
    dem_bytes: int
    warped: bool


def survey(run: RunFile) -> Survey:
    """Learn the size of a run from the DEM's headers; no cell is read.

    Raises
    ------
    InputRefused
        If the DEM cannot be used.
    """
    plan = plan_elevation(run.dem_files(), read_crs_key(run.property.crs, str(run.file)))
    tiles = [tile for tile, _, _ in plan.layout.tiles]
    return Survey(
        grid=plan.grid,
        source_cells=sum(tile.cells for tile in tiles),
        dem_bytes=sum(tile.path.stat().st_size for tile in tiles),
        warped=plan.warped,
    )
