"""Volumes swept along lips: sections close together, each slice as long as its own way is.

Between two stations a slice at a distance u uphill of the lip is Δs − Δθ u long, where the lip
turns left by Δθ: the curvature correction of the average end area method, or Pappus, slice by
slice. Inside a bend nothing is counted beyond the bend's middle.
"""

import numba
import numpy as np

from soakline.grid import FloatArray
from soakline.section.cuts import PROFILE_STEP_M
from soakline.section.mound import MoundShapes, toe_m
from soakline.section.stations import IntArray, LipStations
from soakline.section.trench import Trenches

_SLICES = 4
"""To a step of the profile."""
# Where the section has come so far out of the ground, or under it, it has ended.
_ENDED_M = 0.05


@numba.njit(cache=True)
def _ground(profile_m: FloatArray, slice_: int) -> tuple[float, float]:
    """Distance from the lip of the middle of a slice, and height of the ground there.

    NaN where it is that at the nearest place of the profile.
    """
    at = (slice_ + 0.5) / _SLICES
    before = int(at)
    share = at - before
    low, high = profile_m[before], profile_m[before + 1]
    if np.isnan(low) or np.isnan(high):
        return at * PROFILE_STEP_M, low if share < 0.5 else high
    return at * PROFILE_STEP_M, low + share * (high - low)


@numba.njit(cache=True)
def _between_m3(first_m: FloatArray, second_m: FloatArray, step_m: float, turn: float) -> float:
    """Between two neighbouring sections; `turn` away from the side that they lie on, radians."""
    width = PROFILE_STEP_M / _SLICES
    volume = 0.0
    for k in range(first_m.size):
        long = step_m + turn * (k + 0.5) * width
        if long > 0.0:
            volume += (first_m[k] + second_m[k]) / 2.0 * long * width
    return volume


@numba.njit(cache=True)
def _trench_m3(
    start: IntArray,
    along_m: FloatArray,
    turn: FloatArray,
    trench: FloatArray,
    uphill_m: FloatArray,
) -> FloatArray:
    slices = _SLICES * (uphill_m.shape[1] - 1)
    volume = np.zeros(start.size - 1)
    sections = np.zeros((2, slices))
    for lip in range(start.size - 1):
        base, depth, batter = trench[lip]
        top = base + 2.0 * batter * depth
        for i in range(start[lip], start[lip + 1]):
            own = sections[i % 2]
            own[:] = 0.0
            for k in range(slices):
                u, ground = _ground(uphill_m[i], k)
                floor = max(-u / batter, (u - top) / batter, -depth)
                over = ground - floor
                if u > top and over < -_ENDED_M:
                    break
                own[k] = 0.0 if np.isnan(over) else max(over, 0.0)
            if i > start[lip]:
                before, step = sections[(i - 1) % 2], along_m[i] - along_m[i - 1]
                volume[lip] += _between_m3(before, own, step, -turn[i - 1])
    return volume


@numba.njit(cache=True)
def _mound_m3(
    start: IntArray,
    along_m: FloatArray,
    turn: FloatArray,
    mound: FloatArray,
    foot_m: FloatArray,
    toe_m: FloatArray,
    downhill_m: FloatArray,
) -> FloatArray:
    slices = _SLICES * (downhill_m.shape[1] - 1)
    volume = np.zeros(start.size - 1)
    sections = np.zeros((2, slices))
    for reach in range(start.size - 1):
        berm, batter, high, crest = mound[reach]
        for i in range(start[reach], start[reach + 1]):
            own = sections[i % 2]
            own[:] = 0.0
            crest_end = berm + batter * (high - foot_m[i]) + crest
            for k in range(slices):
                u, ground = _ground(downhill_m[i], k)
                if u < berm:
                    continue
                if u > toe_m[i]:
                    break
                inner = foot_m[i] + (u - berm) / batter
                over = min(high, inner, high - (u - crest_end) / batter) - ground
                own[k] = 0.0 if np.isnan(over) else max(over, 0.0)
            if i > start[reach]:
                before, step = sections[(i - 1) % 2], along_m[i] - along_m[i - 1]
                volume[reach] += _between_m3(before, own, step, turn[i - 1])
    return volume


def turns(stations: LipStations) -> FloatArray:
    """How far lips turn left from each station to the next, (n,) radians; 0 from the last."""
    east, north = stations.left_east, stations.left_north
    turn = np.zeros(east.size)
    turn[:-1] = np.arcsin(np.clip(east[:-1] * north[1:] - north[:-1] * east[1:], -1.0, 1.0))
    turn[stations.last] = 0.0
    return turn


def trench_between_m3(pegs: LipStations, close: LipStations, trench: Trenches) -> FloatArray:
    """What bends and the ground between pegs add to the bank volume along the pegs.

    Parameters
    ----------
    pegs, close : LipStations of the same lips, far apart and close together
    trench : (lips,) Trenches

    Returns
    -------
    (lips,) m³, negative where they take from it; both volumes by the same slices, so that nothing
    is left of these on even ground
    """
    shape = np.column_stack([trench.base_width_m, trench.depth_m, trench.batter])

    def volume(stations: LipStations, turn: FloatArray) -> FloatArray:
        at = stations.at
        found: FloatArray = _trench_m3(at.start, at.along_m, turn, shape, stations.uphill_m)
        return found

    return volume(close, turns(close)) - volume(pegs, np.zeros_like(pegs.rise))


def mound_m3(
    stations: LipStations, shape: MoundShapes, crest_height_m: FloatArray, crest_width_m: FloatArray
) -> FloatArray:
    """Settled volume of mounds with upright ends.

    Parameters
    ----------
    stations : LipStations of stretches, close together
    shape : (stretches,) MoundShapes
    crest_height_m, crest_width_m : (stretches,) m

    Returns
    -------
    (stretches,) m³
    """
    at = stations.at
    foot = stations.ground_above_m - stations.fall * stations.each(shape.berm_m)
    each = shape.take(stations.at.lip)
    high, crest = stations.each(crest_height_m), stations.each(crest_width_m)
    toe = toe_m(each, high, crest, stations.ground_above_m, stations.fall)
    batter = np.full_like(shape.berm_m, shape.batter)
    mound = np.column_stack([shape.berm_m, batter, crest_height_m, crest_width_m])
    found: FloatArray = _mound_m3(
        at.start, at.along_m, turns(stations), mound, foot, toe, stations.downhill_m
    )
    return found
