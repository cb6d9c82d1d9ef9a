"""The course of its governing storm at each swale: what comes in, spills, and how high it is."""

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import partial

import numba
import numpy as np

from soakline.cores import cores
from soakline.grid import FloatArray
from soakline.inputs.types import IndexArray
from soakline.water.cascade import Part, chain_arrays, parts_of
from soakline.water.chain_steps import route
from soakline.water.network import Chain
from soakline.water.pools import Pools, height_of_m

# A course is told by as few moments as keep it within this share of its own greatest figure.
_CLOSE = 0.015
_MOST_MOMENTS = 80
# Of each moment: index of the swale, step, and the three curves as (3, moments).
_Moments = tuple[IndexArray, IndexArray, FloatArray]
_NOTHING: _Moments = (np.zeros(0, np.int64), np.zeros(0, np.int64), np.zeros((3, 0)))
# Of all that comes in, what is left when a course ends.
_TAIL = 0.001


@dataclass(frozen=True, eq=False, slots=True)
class Courses:
    """Moments of all swales, swale after swale, each from the storm's start on; all (n,).

    Parameters
    ----------
    swale : index
    minute : from the start of the storm
    inflow_m3s, spill_m3s : at that moment, runoff and rain on the water and what comes from above
        together, and over all sills together
    depth_m : of the water above the base
    """

    swale: IndexArray
    minute: FloatArray
    inflow_m3s: FloatArray
    spill_m3s: FloatArray
    depth_m: FloatArray


def courses_of(
    pools: Pools,
    chain: Chain,
    travel_s: FloatArray,
    inflow_of: Callable[[int], FloatArray],
    step_s: float,
    rain_s: Sequence[float],
    governing: IndexArray,
) -> Courses:
    """Follow each swale through the storm that governs it.

    Parameters
    ----------
    pools, chain, travel_s, inflow_of, step_s, rain_s : as of `cascade.route_storms`
    governing : (swales,) index of a storm

    Returns
    -------
    Courses: rates are means over steps, told at their middles
    """
    flat = chain_arrays(chain, travel_s, step_s)
    # One core is left to the copy of the process that places trees.
    workers = cores(spared=1)

    def followed(storm: int, inflow_m3: FloatArray, part: Part) -> _Moments:
        # Of swales that another storm governs nothing is asked here.
        order = part.chain.order
        own = np.flatnonzero(governing[order] == storm)
        if own.size == 0:
            return _NOTHING
        steps = max(inflow_m3.shape[1], int(np.ceil(rain_s[storm] / step_s)))
        found = np.empty((3, steps, order.size))
        route(part.pools, part.chain, inflow_m3, step_s, steps, steps, found)
        swales = order[own]
        of = pools.take(swales)
        base = of.trough.base_width_m, of.trough.base_length_m, of.trough.batter
        counts, kept, curves = _told(found, own, *base, of.full_m3, of.ponded_m2, step_s)
        return np.repeat(swales, counts), kept, curves

    apart = parts_of(pools, flat, step_s, workers)
    told = [_NOTHING]
    with ThreadPoolExecutor(workers) as threads:
        for storm in np.unique(governing).tolist():
            inflow_m3 = np.ascontiguousarray(inflow_of(storm), dtype=np.float64)
            told += threads.map(partial(followed, storm, inflow_m3), apart)
    swale, step, curves = (np.concatenate(own, axis=-1) for own in zip(*told, strict=True))
    in_order = np.argsort(swale, kind="stable")
    minute = (step[in_order] + 0.5) * step_s / 60.0
    return Courses(swale[in_order], minute, *curves[:, in_order])


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _told(
    found_m3: FloatArray,
    own: IndexArray,
    width_m: FloatArray,
    length_m: FloatArray,
    batter: FloatArray,
    full_m3: FloatArray,
    ponded_m2: FloatArray,
    step_s: float,
) -> tuple[IndexArray, IndexArray, FloatArray]:
    """Courses by a few of their moments each.

    Parameters
    ----------
    found_m3 : (3, steps, places) as `route` leaves it
    own : (swales,) places to tell of
    width_m, length_m, batter, full_m3, ponded_m2 : (swales,) of their `Pools`
    step_s : s

    Returns
    -------
    (swales,) moments of each; (moments,) steps that are kept; (3, moments) curves there: rates of
    what comes in and spills, m³/s, and depth, m
    """
    counts = np.zeros(own.size, np.int64)
    kept = np.empty(own.size * _MOST_MOMENTS, np.int64)
    told = np.empty((3, kept.size))
    first = 0
    for i in range(own.size):
        place, came_m3 = own[i], found_m3[0, :, own[i]]
        ends = 2
        while came_m3[ends - 1] < (1.0 - _TAIL) * came_m3[-1]:
            ends += 1
        curves = np.empty((5, ends))
        for k in range(ends):
            for c in range(2):
                before_m3 = found_m3[c, k - 1, place] if k > 0 else 0.0
                curves[c, k] = (found_m3[c, k, place] - before_m3) / step_s
                # Roots besides: a long tail of little flow may hold much of the water.
                curves[c + 3, k] = np.sqrt(curves[c, k])
            held_m3 = found_m3[2, k, place]
            below_m3, over_m3 = min(held_m3, full_m3[i]), max(held_m3 - full_m3[i], 0.0)
            height_m = height_of_m(below_m3, width_m[i], length_m[i], batter[i])
            curves[2, k] = height_m + over_m3 / ponded_m2[i]
        steps = moments(curves, _CLOSE, _MOST_MOMENTS)
        counts[i] = steps.size
        for step in steps:
            kept[first] = step
            for c in range(3):
                told[c, first] = curves[c, step]
            first += 1
    return counts, kept[:first], told[:, :first]


@numba.njit(cache=True, nogil=True)
def moments(curves: FloatArray, close: float, most: int) -> IndexArray:
    """Steps by which curves that run straight between them are told.

    Parameters
    ----------
    curves : (curves, steps) at even steps
    close : largest error, as a share of each curve's greatest value
    most : steps kept at most

    Returns
    -------
    (kept,) rising, the first and the last included; the step that is furthest off is added first

    Examples
    --------
    >>> moments(np.array([[0.0, 1.0, 2.0, 1.0, 0.0]]), 0.01, 9)
    array([0, 2, 4])
    """
    steps = curves.shape[1]
    scale = np.empty(curves.shape[0])
    for c in range(scale.size):
        scale[c] = max(np.abs(curves[c]).max(), 1e-12)
    kept = np.zeros(steps, np.bool_)
    kept[0] = kept[steps - 1] = True
    off = np.zeros(steps)
    _measure(curves, scale, 0, steps - 1, off)
    for _ in range(most - 2):
        worst = int(np.argmax(off))
        if off[worst] <= close:
            break
        before, after = worst - 1, worst + 1
        while not kept[before]:
            before -= 1
        while not kept[after]:
            after += 1
        kept[worst] = True
        off[worst] = 0.0
        _measure(curves, scale, before, worst, off)
        _measure(curves, scale, worst, after, off)
    return np.flatnonzero(kept)


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _measure(curves: FloatArray, scale: FloatArray, start: int, stop: int, off: FloatArray) -> None:
    """Write how far curves are off a straight run between two steps, at each step between."""
    between = off[start + 1 : stop]
    between[:] = 0.0
    # Curve by curve, each in one pass: so it runs in vectors.
    for c in range(scale.size):
        own, first = curves[c, start + 1 : stop], curves[c, start]
        rise = curves[c, stop] - first
        for k in range(between.size):
            straight = first + (k + 1) / (stop - start) * rise
            this = abs(own[k] - straight) / scale[c]
            between[k] = max(between[k], this)
