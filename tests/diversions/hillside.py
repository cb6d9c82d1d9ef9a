"""Closed-form hillsides with lips laid by hand, and drains walked on them."""

import numpy as np
import shapely

from soakline.diversions.diversion import NONE
from soakline.diversions.traced import Targets, Trace, drain_ways, targets_of, trace_both_ways
from soakline.grid import BoolArray, FloatArray
from soakline.siting.catchments import Catchments, catchments_of
from soakline.siting.lines import LipLine
from soakline.terrain.condition import Terrain
from soakline.terrain.flow import Uint8Array
from tests.siting.land import terrain_of
from tests.terrain_analytic.ground import (
    CENTRE_EASTING_M,
    CENTRE_HEIGHT_M,
    CENTRE_NORTHING_M,
    Height,
    sample,
)

CENTRE = np.array([CENTRE_EASTING_M, CENTRE_NORTHING_M])
SLOPE_PCT = 8.0
NOTHING = np.array([], dtype=object)


def terrain_from(form: Height, width_m: float = 400.0, **settings: float) -> Terrain:
    """Conditioned ground of a form, 1 m cells."""
    return terrain_of(*sample(form, width_m=width_m, **settings))  # type: ignore[arg-type]


def at(east_m: float, north_m: float) -> FloatArray:
    """A place by its distances from the centre."""
    return CENTRE + np.array([east_m, north_m])


def line(*places: tuple[float, float]) -> shapely.LineString:
    return shapely.LineString([at(*place) for place in places])


def lip(level_m: float, west_m: float, east_m: float) -> LipLine:
    """Lip on the plane of 8 % that falls south: uphill, north, is on its left."""
    north_m = (level_m - CENTRE_HEIGHT_M) / (SLOPE_PCT / 100.0)
    return LipLine(level_m, 8.0, np.array([at(west_m, north_m), at(east_m, north_m)]), False)


def catchments(lines: list[LipLine], terrain: Terrain) -> Catchments:
    return catchments_of(
        [own.coordinates for own in lines], terrain.flow.direction, terrain.valid, terrain.grid
    )


def free_ways(terrain: Terrain, forbidden: BoolArray | None = None) -> Uint8Array:
    """All ground but a rim of 10 m, and what is forbidden."""
    inside = np.zeros(terrain.grid.shape, dtype=bool)
    inside[10:-10, 10:-10] = True
    none = np.zeros(terrain.grid.shape, dtype=bool)
    return drain_ways(terrain, inside, none if forbidden is None else forbidden)


def outlet(form: Height, east_m: float = 0.0, north_m: float = 0.0) -> FloatArray:
    """A place on the ground with its true height."""
    easting, northing = at(east_m, north_m)
    return np.array([easting, northing, float(form(easting, northing))])


def traces(
    start: FloatArray,
    lines: list[LipLine],
    terrain: Terrain,
    grade: float = 1.0 / 300.0,
    wanted: int = NONE,
    ways: Uint8Array | None = None,
    reach_m: float = 0.0,
) -> tuple[Trace, Trace, Targets]:
    targets = targets_of(lines, [], reach_m, terrain.grid.cell_m)
    own = free_ways(terrain) if ways is None else ways
    left, right = trace_both_ways(start, targets, wanted, own, NOTHING, terrain, grade)
    return left, right, targets
