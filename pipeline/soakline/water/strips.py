"""The widest strip of hillside whose swale still holds every storm, by the level pool itself."""

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor

import numba
import numpy as np

from soakline.cores import cores
from soakline.grid import FloatArray
from soakline.inputs.types import IndexArray
from soakline.water.cascade import pool_arrays
from soakline.water.chain_steps import PoolArrays
from soakline.water.event import Event
from soakline.water.hydrographs import arriving_m3, edges_min, excess_steps_mm
from soakline.water.level_pool import fill
from soakline.water.pools import Pools
from soakline.water.time_of_concentration import LEAST_H
from soakline.water.unit_hydrograph import unit_hydrographs

# Dry ground is found to this share, from the side that holds.
_CLOSE = 1e-5
_TRIALS = 100


def widest_spacing_m(
    pools: Pools,
    length_m: FloatArray,
    area_m2: FloatArray,
    event: Event,
    storms: Sequence[int],
    step_s: float,
) -> FloatArray:
    """Widest spacing at which each swale holds all storms, if nothing spills into it.

    Parameters
    ----------
    pools : of the swales, each by itself; their sills do not matter
    length_m : (swales,) of the lip; a strip of spacing L sheds on L × length, the water included
    area_m2 : (swales, classes) ground whose mix the strip has; its sum does not matter
    event : Event
    storms : those to hold
    step_s : s

    Returns
    -------
    (swales,) m; infinite where no storm gives runoff; that of the water alone where the rain on it
    is already too much

    Notes
    -----
    Runoff arrives by the unit hydrograph of the least time of concentration, 6 minutes ([TR55]_):
    a strip between two swales is short, and water that comes sooner asks for more room. Rain on
    the water is there at once. Below the sill the pool is taken through each step as by `route`,
    so a swale laid with such a strip spills nothing there either.
    """
    total_m2 = area_m2.sum(axis=1, keepdims=True)
    share = np.divide(area_m2, total_m2, out=np.zeros_like(area_m2), where=total_m2 > 0.0)
    classes = len(event.losses)
    unit = unit_hydrographs(np.full(classes, LEAST_H), step_s, event.shape)
    count = pools.full_m3.size
    dry_m2 = np.full(count, np.inf)
    falls = []
    # The storm that sheds most governs nearly always: the others are then tried once.
    for storm in sorted(storms, key=lambda one: -float(event.excess_mm[:, one].max(initial=0.0))):
        shed_m = arriving_m3(
            excess_steps_mm(event.storms[storm], event.losses, step_s), np.eye(classes), unit
        )
        edges = edges_min(event.storms[storm].duration_min, step_s)
        rain_m = np.zeros(shed_m.shape[1])
        rain_m[: edges.size - 1] = np.diff(event.storms[storm].cumulative_depth_mm(edges)) / 1000.0
        falls.append((shed_m, rain_m))

    def narrow(own: IndexArray) -> None:
        mine = pool_arrays(pools, own, step_s)
        found_m2 = dry_m2[own]
        for shed_m, rain_m in falls:
            _narrow(found_m2, mine, pools.ponded_m2[own], share[own], shed_m, rain_m, step_s)
        dry_m2[own] = found_m2

    workers = cores()
    with ThreadPoolExecutor(workers) as threads:
        list(threads.map(narrow, np.array_split(np.arange(count), workers)))
    # Narrower than found by as much again: what is just full in one order of sums holds in all.
    return np.asarray(((1.0 - _CLOSE) * dry_m2 + pools.ponded_m2) / length_m)


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _beyond_m3(pools: PoolArrays, i: int, inflow_m3s: FloatArray, step_s: float) -> float:
    """What one pool would spill over a very long sill, m³; less than 0, the room left, if none."""
    held, most, spilled, node = 0.0, 0.0, 0.0, 0
    to_come_m3s = np.empty_like(inflow_m3s)
    greatest = 0.0
    for step in range(inflow_m3s.size - 1, -1, -1):
        greatest = max(greatest, inflow_m3s[step])
        to_come_m3s[step] = greatest
    for step in range(inflow_m3s.size):
        inflow = inflow_m3s[step]
        # What is to come soaks in faster than it comes: the water rises no more.
        if to_come_m3s[step] <= pools.soaking_m3s[i, node]:
            break
        if held == 0.0 and inflow <= pools.soaking_m3s[i, 0]:
            continue
        held, _, left_s, node = fill(
            held, inflow, step_s, pools.unit_m3[i], pools.soaking_m3s, pools.rise_s, i, node
        )
        most = max(most, held)
        if left_s > 0.0 and held > 0.0:
            spilled += max(inflow - pools.soaking_m3s[i, -1], 0.0) * left_s
    return spilled if spilled > 0.0 else min(most - pools.full_m3[i], 0.0)


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _narrow(
    dry_m2: FloatArray,
    pools: PoolArrays,
    ponded_m2: FloatArray,
    share: FloatArray,
    shed_m: FloatArray,
    rain_m: FloatArray,
    step_s: float,
) -> None:
    """Narrow each strip's dry ground, in place, until its pool holds this storm."""
    for i in range(dry_m2.size):
        shed_m3s = np.zeros(rain_m.size)
        for k in range(share.shape[1]):
            if share[i, k] > 0.0:
                shed_m3s += share[i, k] / step_s * shed_m[k]
        shed_m3 = shed_m3s.sum() * step_s
        ponded_m3 = ponded_m2[i] * rain_m.sum()
        if shed_m3 > 0.0 and dry_m2[i] * shed_m3 + ponded_m3 > pools.full_m3[i]:
            on_water_m3s = ponded_m2[i] / step_s * rain_m
            # More than this can neither be held nor soak in; less is held whatever soaks.
            soaks_m3 = pools.soaking_m3s[i, -1] * step_s * rain_m.size
            most_m2 = min(dry_m2[i], (pools.full_m3[i] + soaks_m3) / shed_m3)
            least_m2 = max((pools.full_m3[i] - ponded_m3) / shed_m3, 0.0)
            dry_m2[i] = _held_m2(pools, i, on_water_m3s, shed_m3s, least_m2, most_m2, step_s)


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _held_m2(
    pools: PoolArrays,
    i: int,
    on_water_m3s: FloatArray,
    shed_m3s: FloatArray,
    low: float,
    high: float,
    step_s: float,
) -> float:
    """Most dry ground, between two bounds, whose water one pool holds, m².

    What is beyond the sill rises with the ground: its zero is found by false position, the end that
    stays being halved (the Illinois rule).
    """
    above = _beyond_m3(pools, i, on_water_m3s + high * shed_m3s, step_s)
    if above <= 0.0:
        return high
    below = _beyond_m3(pools, i, on_water_m3s + low * shed_m3s, step_s)
    if below > 0.0:
        return low  # rain on the water is too much by itself, or all of it is held to round-off
    least = 0.4 * _CLOSE * high  # short of the ends, so that both close in
    last = 0
    for _ in range(_TRIALS):
        if high - low <= _CLOSE * high:
            break
        at = low + (high - low) * below / (below - above)
        at = min(max(at, low + least), high - least)
        beyond = _beyond_m3(pools, i, on_water_m3s + at * shed_m3s, step_s)
        if beyond > 0.0:
            high, above = at, beyond
            below *= 0.5 if last > 0 else 1.0
            last = 1
        else:
            low, below = at, beyond
            above *= 0.5 if last < 0 else 1.0
            last = -1
    return low
