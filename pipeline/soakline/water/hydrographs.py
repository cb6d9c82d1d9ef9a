"""Hydrographs: excess rain of a storm into the water that reaches each swale, step by step."""

import math
from collections.abc import Sequence

import numba
import numpy as np
import numpy.typing as npt

from soakline.grid import FloatArray
from soakline.inputs.types import IndexArray
from soakline.water.losses import Loss, excess_mm
from soakline.water.storms import RISE_STEP_S, Storm
from soakline.water.unit_hydrograph import Shape, UnitHydrographs, unit_hydrographs

STEPS_PER_TC = 5.0


def step_s(tc_h: npt.ArrayLike) -> float:
    """Step of all hydrographs of a plan.

    Parameters
    ----------
    tc_h : (swales,) times of concentration, h

    Returns
    -------
    seconds: a fifth of the shortest, in whole multiples of 72 s and at least that, which is a fifth
        of the shortest time there is

    Notes
    -----
    Peaks are bounded by the largest rise of excess over 72 s. A step of n such windows holds at
    most n such rises, so no mean over it passes the bound; of a step in between that cannot be
    said, since rain of a pattern of one's own may come and go within it.

    Examples
    --------
    >>> step_s([0.1, 2.0]), step_s([0.32, 0.5]), step_s([])
    (72.0, 216.0, 72.0)
    """
    shortest_s = 3600.0 * float(np.min(np.asarray(tc_h, dtype=np.float64), initial=np.inf))
    if not math.isfinite(shortest_s):
        return RISE_STEP_S
    # 0.1 h is a multiple in the last place too
    windows = math.floor(shortest_s / (STEPS_PER_TC * RISE_STEP_S) * (1.0 + 1e-12))
    return RISE_STEP_S * max(1, windows)


def edges_min(duration_min: float, step_s: float) -> FloatArray:
    """Ends of steps that cover a duration, (steps + 1,) minutes from 0."""
    steps = max(1, math.ceil(duration_min * 60.0 / step_s))
    return np.arange(steps + 1, dtype=np.float64) * (step_s / 60.0)


def excess_steps_mm(storm: Storm, losses: Sequence[Loss], step_s: float) -> FloatArray:
    """What each class of ground sheds in each step of a storm.

    Parameters
    ----------
    storm : rain in time
    losses : a class each
    step_s : s

    Returns
    -------
    (classes, steps) mm, not negative; `steps` just cover the storm
    """
    excess = excess_mm(storm, losses, edges_min(storm.duration_min, step_s))
    return np.asarray(np.maximum(np.diff(excess, axis=1), 0.0))


def ponded_rain_m3(
    storm: Storm, ponded_m2: FloatArray, step_s: float, steps_out: int
) -> FloatArray:
    """Rain on the water surfaces, which is there at once.

    Parameters
    ----------
    storm : rain in time
    ponded_m2 : (swales,)
    step_s : s
    steps_out : as many as the hydrographs have; at least those of the storm

    Returns
    -------
    (swales, steps_out) m³ in each step
    """
    rain_mm = np.zeros(steps_out)
    fallen = np.diff(storm.cumulative_depth_mm(edges_min(storm.duration_min, step_s)))
    rain_mm[: fallen.size] = fallen
    return np.asarray(ponded_m2[:, None] * (rain_mm / 1000.0))


def storm_hydrographs(
    excess_steps_mm: FloatArray,
    area_m2: FloatArray,
    tc_h: npt.ArrayLike,
    step_s: float,
    shape: Shape,
) -> FloatArray:
    """Water that reaches each swale from its dry ground in each step of a storm.

    Parameters
    ----------
    excess_steps_mm : (classes, steps) shed in each step
    area_m2 : (swales, classes) dry ground of each class in each catchment
    tc_h : (swales,) times of concentration, h
    step_s : s
    shape : "curvilinear" or "triangular"

    Returns
    -------
    (swales, steps_out) m³ in each step, the recession of the slowest swale included

    Notes
    -----
    Each step's excess arrives by the unit hydrograph. All of it arrives: a row's sum is excess
    times area. More excess in any step lowers nothing, to the last bit, since sums are of terms
    that are not negative and always in the same order.
    """
    return arriving_m3(excess_steps_mm, area_m2, unit_hydrographs(tc_h, step_s, shape))


def arriving_m3(
    excess_steps_mm: FloatArray, area_m2: FloatArray, arrival: UnitHydrographs
) -> FloatArray:
    """`storm_hydrographs` with unit hydrographs at hand, which are the same for every storm."""
    if arrival.shares.shape[0] != area_m2.shape[0]:
        raise ValueError("a unit hydrograph for each swale")
    return np.asarray(
        _convolved(
            np.ascontiguousarray(excess_steps_mm, dtype=np.float64) / 1000.0,
            np.ascontiguousarray(area_m2, dtype=np.float64),
            arrival.shares,
            arrival.steps,
        )
    )


@numba.njit(cache=True, nogil=True)
def _convolved(
    excess_m: FloatArray, area_m2: FloatArray, shares: FloatArray, steps: IndexArray
) -> FloatArray:
    """Each swale's shed volume by step, spread by its own unit hydrograph."""
    classes, storm_steps = excess_m.shape
    swales = area_m2.shape[0]
    arriving = np.zeros((swales, storm_steps + max(shares.shape[1], 1) - 1))
    shed = np.empty(storm_steps)
    # Nothing is shed before the first losses are met, often for half the storm.
    first, last = 0, storm_steps
    while first < last and not excess_m[:, first].any():
        first += 1
    while last > first and not excess_m[:, last - 1].any():
        last -= 1
    for swale in range(swales):
        shed[:] = 0.0
        for k in range(classes):
            area = area_m2[swale, k]
            depth = excess_m[k]
            if area > 0.0:
                for step in range(first, last):
                    shed[step] += area * depth[step]
        wet = shed[first:last]
        for later in range(steps[swale]):
            share = shares[swale, later]
            # A view from the burst's own step on: indices that only count up run in vectors.
            row = arriving[swale, first + later : last + later]
            for step in range(wet.size):
                row[step] += share * wet[step]
    return arriving
