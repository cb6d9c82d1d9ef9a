"""Volumes swept along lips: sections close together, each slice as long as its own way is.

Between two stations a slice at a distance u uphill of the lip is Δs − Δθ u long, where the lip
turns left by Δθ: the curvature correction of the average end area method, or Pappus, slice by
slice. Inside a bend nothing is counted beyond the bend's middle.
"""

from dataclasses import dataclass

import numba
import numpy as np

from soakline.grid import FloatArray
from soakline.section.cuts import PROFILE_STEP_M
from soakline.section.mound import MoundShapes, toe_m
from soakline.section.stations import IntArray, LipStations
from soakline.section.trench import Trenches

# To a step of the profile.
_SLICES = 4
_SLICE_M = PROFILE_STEP_M / _SLICES
# Where the hill lies so far under the uphill batter, the cut has ended.
_ENDED_M = 0.05


@dataclass(frozen=True, eq=False, slots=True)
class Swath:
    """Ground on one side of lips in slices.

    Parameters
    ----------
    stations : LipStations, n of them
    longer : (n,) by how much a slice is longer, on the way to the next station, for each metre
        that it lies from the lip; m per m, 0 after the last
    ground_m : (n, k) ground less level in the middle of each slice; infinite where it is not this
        station's
    """

    stations: LipStations
    longer: FloatArray
    ground_m: FloatArray


@numba.njit(cache=True)
def _sliced(profile_m: FloatArray, instead_m: float) -> FloatArray:
    """Heights in the middle of slices; those nearest to a place that is NaN are another."""
    steps = max(profile_m.shape[1] - 1, 0)
    ground = np.empty((profile_m.shape[0], steps * _SLICES))
    for i in range(profile_m.shape[0]):
        for step in range(steps):
            low, high = profile_m[i, step], profile_m[i, step + 1]
            for slice_ in range(_SLICES):
                share = (slice_ + 0.5) / _SLICES
                own = low + share * (high - low)
                if np.isnan(own):
                    own = low if share < 0.5 else high
                ground[i, step * _SLICES + slice_] = instead_m if np.isnan(own) else own
    return ground


def _turns(stations: LipStations) -> FloatArray:
    """How far lips turn left from each station to the next, (n,) radians; 0 from the last."""
    east, north = stations.left_east, stations.left_north
    turn = np.zeros(east.size)
    # Where a stretch begins or ends in a bend, its vector is a mean and shorter than 1.
    turn[:-1] = np.arctan2(
        east[:-1] * north[1:] - north[:-1] * east[1:], east[:-1] * east[1:] + north[:-1] * north[1:]
    )
    turn[stations.last] = 0.0
    return turn


def uphill(stations: LipStations) -> Swath:
    """The ground uphill of lips; stations close together."""
    return Swath(stations, -_turns(stations), _sliced(stations.uphill_m, -np.inf))


def downhill(stations: LipStations) -> Swath:
    """The ground downhill of lips; stations close together."""
    return Swath(stations, _turns(stations), _sliced(stations.downhill_m, np.inf))


@numba.njit(cache=True)
def _middles_m(ground_m: FloatArray) -> FloatArray:
    """From the lip to the middle of each slice."""
    return (np.arange(0.5, ground_m.shape[1]) * _SLICE_M).astype(np.float64)


@numba.njit(cache=True)
def _between_m3(
    first_m: FloatArray, second_m: FloatArray, u_m: FloatArray, step_m: float, longer: float
) -> float:
    """Between two neighbouring sections, as far as one may hold something: the slices of u."""
    volume = 0.0
    for k in range(u_m.size):
        volume += (first_m[k] + second_m[k]) * max(step_m + longer * u_m[k], 0.0)
    return volume * _SLICE_M / 2.0


@numba.njit(cache=True)
def _trench_m3(
    start: IntArray,
    along_m: FloatArray,
    longer: FloatArray,
    trench: FloatArray,
    ground_m: FloatArray,
) -> FloatArray:
    volume, u_m = np.zeros(start.size - 1), _middles_m(ground_m)
    sections = np.zeros((2, u_m.size))
    for lip in range(start.size - 1):
        base, depth, batter = trench[lip]
        top = base + 2.0 * batter * depth
        for i in range(start[lip], start[lip + 1]):
            own = sections[i % 2]
            own[:] = 0.0
            for k in range(own.size):
                over = ground_m[i, k] - max(-u_m[k] / batter, (u_m[k] - top) / batter, -depth)
                if u_m[k] > top and -np.inf < over < -_ENDED_M:
                    break
                own[k] = max(over, 0.0)
            if i > start[lip]:
                before, step = sections[(i - 1) % 2], along_m[i] - along_m[i - 1]
                volume[lip] += _between_m3(before, own, u_m, step, longer[i - 1])
    return volume


@numba.njit(cache=True)
def _mound_m3(
    start: IntArray,
    along_m: FloatArray,
    longer: FloatArray,
    mound: FloatArray,
    foot_m: FloatArray,
    toes_m: FloatArray,
    ground_m: FloatArray,
) -> FloatArray:
    volume, u_m = np.zeros(start.size - 1), _middles_m(ground_m)
    sections = np.zeros((2, u_m.size))
    for reach in range(start.size - 1):
        berm, steep, high, crest = mound[reach]
        reaches, first = 0, int(np.ceil(berm / _SLICE_M - 0.5))
        for i in range(start[reach], start[reach + 1]):
            own = sections[i % 2]
            own[:] = 0.0
            foot = foot_m[i] - steep * berm
            top = high + steep * (berm + crest) + high - foot_m[i]
            toe = max(min(toes_m[i] / _SLICE_M, float(own.size)), 0.0)
            last = int(np.ceil(toe))
            # Loops that begin at 0 take half the time of others.
            here, u, ground = own[first:last], u_m[first:last], ground_m[i, first:last]
            for k in range(here.size):
                up = steep * u[k]
                here[k] = max(min(high, foot + up, top - up) - ground[k], 0.0)
            # As much of the last one as the mound covers: what is held grows evenly with the crest.
            if here.size:
                here[-1] *= toe - (last - 1)
            if i > start[reach]:
                before, step = sections[(i - 1) % 2], along_m[i] - along_m[i - 1]
                held = u_m[: max(reaches, last)]
                volume[reach] += _between_m3(before, own, held, step, longer[i - 1])
            reaches = last
    return volume


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

    def volume(swath: Swath, longer: FloatArray) -> FloatArray:
        at = swath.stations.at
        found: FloatArray = _trench_m3(at.start, at.along_m, longer, shape, swath.ground_m)
        return found

    own = uphill(close)
    return volume(own, own.longer) - volume(uphill(pegs), np.zeros_like(pegs.rise))


def mound_m3(
    swath: Swath, shape: MoundShapes, crest_height_m: FloatArray, crest_width_m: FloatArray
) -> FloatArray:
    """Settled volume of mounds with upright ends.

    Parameters
    ----------
    swath : Swath downhill of stretches
    shape : (stretches,) MoundShapes
    crest_height_m, crest_width_m : (stretches,) m

    Returns
    -------
    (stretches,) m³
    """
    stations, at = swath.stations, swath.stations.at
    each = shape.take(at.lip)
    high, crest = stations.each(crest_height_m), stations.each(crest_width_m)
    toe = toe_m(each, high, crest, stations.ground_above_m, stations.fall)
    foot = stations.ground_above_m - stations.fall * each.berm_m
    steep = np.full_like(shape.berm_m, 1.0 / shape.batter)
    mound = np.column_stack([shape.berm_m, steep, crest_height_m, crest_width_m])
    found: FloatArray = _mound_m3(
        at.start, at.along_m, swath.longer, mound, foot, toe, swath.ground_m
    )
    return found
