"""Profiles of the ground across lips: of stations, and of places closer together than those."""

from collections.abc import Sequence
from dataclasses import replace

import numba
import numpy as np
import shapely

from soakline.grid import FloatArray, Grid, GroundArray
from soakline.section.cuts import PROFILE_STEP_M
from soakline.section.stations import (
    Chainages,
    IntArray,
    LipStations,
    interpolated,
    on_lips,
    starts_of,
    vertices_of,
)
from soakline.terrain.cells import GeometryArray
from soakline.terrain.ground import sample

# Ground and bends are followed this closely along lips: the short ones more closely.
_CLOSE_M, _CLOSEST_M, _AS_MANY = 4.0, 1.0, 60
# Stations nearer to each other along the lip than this lie on one bend: how long slices are there
# says what is whose.
_ONE_BEND_M = 4.0
# A place is another station's if it is so much nearer to that.
_NEARER_M = 0.25


def with_profiles(
    stations: LipStations,
    level_m: FloatArray,
    uphill_m: float,
    downhill_m: float,
    ground_m: GroundArray,
    grid: Grid,
) -> LipStations:
    """The same stations with profiles of some ground on both sides.

    Parameters
    ----------
    stations : LipStations, n of them
    level_m : (n,) of the lip at each, m
    uphill_m, downhill_m : least length of the profiles, m
    ground_m : (rows, columns) float32, m
    grid : Grid
    """

    def profile(length_m: float, slope: FloatArray, side: float) -> FloatArray:
        far = PROFILE_STEP_M * np.arange(np.ceil(length_m / PROFILE_STEP_M) + 1)
        east = stations.easting_m[:, None] + side * far * stations.left_east[:, None]
        north = stations.northing_m[:, None] + side * far * stations.left_north[:, None]
        own = sample(ground_m, grid, east.ravel(), north.ravel()).reshape(east.shape)
        own -= level_m[:, None]
        # Beyond the edge of the heights the ground is taken to go on at its mean slope.
        row, place = np.nonzero(np.isnan(own))
        own[row, place] = stations.ground_above_m[row] + side * slope[row] * far[place]
        return own

    return replace(
        stations,
        uphill_m=profile(uphill_m, stations.rise, 1.0),
        downhill_m=profile(downhill_m, stations.fall, -1.0),
    )


def closer(
    pegs: LipStations,
    lines: Sequence[FloatArray],
    level_m: FloatArray,
    dem_m: GroundArray,
    grid: Grid,
) -> LipStations:
    """Stations 1 to 4 m apart, with profiles of the DEM as read.

    Inside bends a place belongs to the station nearest to it; the others' profiles are NaN there.

    Parameters
    ----------
    pegs : LipStations of the lips; what lies between them is straight in all but the profiles
    lines : (k, 2) of each lip, m
    level_m : (lips,) m
    dem_m : (rows, columns) float32, m
    grid : Grid
    """
    length = pegs.at.length_m
    most = np.minimum(np.ceil(length / _CLOSEST_M), _AS_MANY)
    parts = np.maximum(np.ceil(length / _CLOSE_M), most).astype(np.int64)
    start = starts_of(parts + 1)
    lip = np.repeat(np.arange(length.size), parts + 1)
    along = (np.arange(start[-1]) - start[lip]) * (length / parts)[lip]
    at = Chainages(start, along)
    vertices, place = vertices_of(lines)
    where = on_lips(vertices, place, lip, along)
    before, share = pegs.at.weights(lip, along)
    above, rise, fall = (
        interpolated(of, before, share) for of in (pegs.ground_above_m, pegs.rise, pegs.fall)
    )
    none = np.empty((lip.size, 0))
    stations = LipStations(
        at,
        *where,
        above,
        rise,
        fall,
        none,
        none,
    )
    uphill, downhill = (
        PROFILE_STEP_M * (of.shape[1] - 1) for of in (pegs.uphill_m, pegs.downhill_m)
    )
    stations = with_profiles(stations, level_m[lip], uphill, downhill, dem_m, grid)
    _leave_to_nearer(start, along, *where, stations.uphill_m, stations.downhill_m)
    return stations


@numba.njit(cache=True)
def _leave_to_nearer(
    start: IntArray,
    along_m: FloatArray,
    easting_m: FloatArray,
    northing_m: FloatArray,
    left_east: FloatArray,
    left_north: FloatArray,
    uphill_m: FloatArray,
    downhill_m: FloatArray,
) -> None:
    """NaN in place of ground that is nearer to another station of the same lip."""
    reach = PROFILE_STEP_M * (max(uphill_m.shape[1], downhill_m.shape[1]) - 1)
    for lip in range(start.size - 1):
        for i in range(start[lip], start[lip + 1]):
            for j in range(start[lip], start[lip + 1]):
                east, north = easting_m[j] - easting_m[i], northing_m[j] - northing_m[i]
                apart = east * east + north * north
                square = left_east[i] * east + left_north[i] * north
                # Along the profile the other is nearer from (d² / 2) / (d · n) on.
                if apart >= 2.0 * reach * abs(square):
                    continue
                if abs(along_m[j] - along_m[i]) < _ONE_BEND_M:
                    continue
                equal = apart / (2.0 * abs(square)) + _NEARER_M
                profile = uphill_m if square > 0.0 else downhill_m
                profile[i, min(int(np.ceil(equal / PROFILE_STEP_M)), profile.shape[1]) :] = np.nan


def closed_to_spoil(stations: LipStations, ground: GeometryArray) -> LipStations:
    """The same stations with nothing heaped on some ground: profiles downhill are NaN there.

    Parameters
    ----------
    stations : LipStations
    ground : (lips,) areas, may be empty
    """
    downhill = stations.downhill_m.copy()
    far = PROFILE_STEP_M * np.arange(downhill.shape[1])
    shapely.prepare(ground)
    for lip in np.flatnonzero(~shapely.is_empty(ground)):
        own = slice(*stations.at.start[lip : lip + 2])
        east = stations.easting_m[own, None] - far * stations.left_east[own, None]
        north = stations.northing_m[own, None] - far * stations.left_north[own, None]
        downhill[own][shapely.contains_xy(ground[lip], east, north)] = np.nan
    return replace(stations, downhill_m=downhill)
