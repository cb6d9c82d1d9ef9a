"""The whole of the terrain in one step: elevation in, conditioned ground out."""

from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from soakline.grid import BoolArray, Grid, GroundArray
from soakline.inputs.types import Elevation
from soakline.runfile.sections import TerrainKeys
from soakline.terrain.cells import GeometryArray
from soakline.terrain.drainage import DrainageLine, drainage_lines
from soakline.terrain.flow import Flow
from soakline.terrain.hollow_ways import led_through_hollows
from soakline.terrain.hollows import Hollows, find_hollows, hollow_outlines
from soakline.terrain.surfaces import SurfaceMaker, Told, whole_surfaces

# Lines through cell centres are drawn straighter by at most this many cells.
_STRAIGHTEN_CELLS = 0.75


@dataclass(frozen=True, eq=False, slots=True)
class Terrain:
    """Conditioned ground; arrays are (rows, columns) on `grid`, read-only.

    Parameters
    ----------
    grid : Grid
    ground_m : the DEM averaged over the smoothing disc, m; NaN where not valid
    filled_m : the DEM as read with every hollow filled, m
    valid : cells with a height
    slope_pct : Horn's slope of the ground, %
    flow : directions and contributing cells
    hollows : Hollows
    kept_outline : outlines of the kept ones, by index
    drainage : reaches of drainage lines
    drainage_line : (n,) the same as drawn
    noise_m : rms of DEM less ground, m
    """

    grid: Grid
    ground_m: GroundArray
    filled_m: GroundArray
    valid: BoolArray
    slope_pct: GroundArray
    flow: Flow
    hollows: Hollows
    kept_outline: dict[int, BaseGeometry]
    drainage: tuple[DrainageLine, ...]
    drainage_line: GeometryArray
    noise_m: float


def _rms(dem_m: GroundArray, ground_m: GroundArray) -> float:
    """Root mean square difference, band by band so that no full copy is made."""
    total, count = 0.0, 0
    for row in range(0, dem_m.shape[0], 512):
        off = (dem_m[row : row + 512] - ground_m[row : row + 512]).astype(np.float64)
        off = off[~np.isnan(off)]
        total += float(off @ off)
        count += off.size
    return float(np.sqrt(total / max(count, 1)))


def drawn_line(line: DrainageLine, cell_m: float) -> BaseGeometry:
    """A reach as it is drawn: through its cells' centres, straightened by under a cell."""
    raw = shapely.LineString(np.column_stack([line.easting_m, line.northing_m]))
    return raw.simplify(_STRAIGHTEN_CELLS * cell_m, preserve_topology=False)


def condition_ground(
    elevation: Elevation,
    keys: TerrainKeys,
    advanced: Told = lambda _: None,
    surfaces: SurfaceMaker = whole_surfaces,
) -> Terrain:
    """Ground, slope, flow, hollows and drainage lines of a DEM.

    Parameters
    ----------
    elevation : Elevation
    keys : the run file's `[terrain]`
    advanced : Told
    surfaces : makes the layers of cells, whole or in tiles

    Returns
    -------
    Terrain

    Raises
    ------
    ValueError
        If contributing areas do not sum to the valid area: a defect of ours.
    """
    grid, dem = elevation.grid, elevation.dem_m
    made = surfaces(elevation, keys, advanced)
    ground, slope, filled = made.ground_m, made.slope_pct, made.filled
    advanced(0.75)
    hollows = find_hollows(dem, filled, grid, keys.hollow_depth_m, keys.hollow_area_m2)
    flow = led_through_hollows(made.flow, hollows, dem, filled)
    leaving = int(flow.upstream_cells[flow.direction == 8].sum(dtype=np.int64))
    if leaving != int(filled.valid.sum()):
        raise ValueError(f"{leaving} cells leave the grid, {int(filled.valid.sum())} are on it")
    advanced(0.85)
    lines, _ = drainage_lines(
        ground, flow, grid, keys.drainage_area_ha * 10_000.0, hollows.kept_cells
    )
    drawn = np.empty(len(lines), dtype=object)
    drawn[:] = [drawn_line(line, grid.cell_m) for line in lines]
    for array in (ground, slope, filled.filled_m, flow.direction, flow.upstream_cells):
        array.flags.writeable = False
    return Terrain(
        grid=grid,
        ground_m=ground,
        filled_m=filled.filled_m,
        valid=filled.valid,
        slope_pct=slope,
        flow=flow,
        hollows=hollows,
        kept_outline=hollow_outlines(hollows, np.flatnonzero(hollows.kept).tolist(), grid),
        drainage=lines,
        drainage_line=drawn,
        noise_m=_rms(dem, ground),
    )
