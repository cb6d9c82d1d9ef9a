"""Layers that have a value for every cell of the grid: ground, slope, filled surface, flow."""

from collections.abc import Callable
from dataclasses import dataclass

from soakline.grid import GroundArray
from soakline.inputs.types import Elevation
from soakline.runfile.sections import TerrainKeys
from soakline.terrain.flow import Flow, flow_over
from soakline.terrain.ground import horn_slope_pct, mean_ground
from soakline.terrain.hollows import FilledGround, fill_hollows

Told = Callable[[float], None]
"""Is told the share of the terrain that is done."""


@dataclass(frozen=True, eq=False, slots=True)
class Surfaces:
    """Arrays are (rows, columns), in memory or on disk.

    Parameters
    ----------
    ground_m : the DEM averaged over the smoothing disc, m; NaN where not valid
    slope_pct : Horn's slope of the ground, %
    filled : the DEM as read with every hollow filled
    flow : directions and contributing cells
    """

    ground_m: GroundArray
    slope_pct: GroundArray
    filled: FilledGround
    flow: Flow


SurfaceMaker = Callable[[Elevation, TerrainKeys, Told], Surfaces]


def whole_surfaces(elevation: Elevation, keys: TerrainKeys, advanced: Told) -> Surfaces:
    """Make the layers with the whole grid in memory.

    Parameters
    ----------
    elevation : Elevation
    keys : the run file's `[terrain]`
    advanced : Told
    """
    grid, dem = elevation.grid, elevation.dem_m
    ground = mean_ground(dem, grid, keys.smoothing_m)
    slope = horn_slope_pct(ground, grid.cell_m)
    advanced(0.15)
    filled = fill_hollows(dem)
    advanced(0.35)
    flow = flow_over(filled.filled_m, filled.valid, filled.domain)
    return Surfaces(ground, slope, filled, flow)
