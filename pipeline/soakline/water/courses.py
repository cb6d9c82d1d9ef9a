"""The course of its governing storm at each swale: what comes in, spills, and how high it is."""

import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import partial

import numba
import numpy as np

from soakline.grid import FloatArray
from soakline.inputs.types import IndexArray
from soakline.water.cascade import Part, chain_arrays, parts_of
from soakline.water.chain_steps import route
from soakline.water.network import Chain
from soakline.water.pools import Pools, depth_m

# A course is told by as few moments as keep it within this share of its own greatest figure.
_CLOSE = 0.015
_MOST_MOMENTS = 80
# Index of a swale, steps that are kept, and its three curves there.
_Course = tuple[int, IndexArray, FloatArray]
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
    workers = os.cpu_count() or 1

    def followed(storm: int, inflow_m3: FloatArray, part: Part) -> list[_Course]:
        # Of swales that another storm governs nothing is asked here.
        order = part.chain.order
        own = np.flatnonzero(governing[order] == storm)
        if own.size == 0:
            return []
        steps = max(inflow_m3.shape[1], int(np.ceil(rain_s[storm] / step_s)))
        found = np.empty((3, steps, order.size))
        route(part.pools, part.chain, inflow_m3, step_s, steps, steps, found)
        came_m3, spilled_m3, held_m3 = np.ascontiguousarray(found[:, :, own].transpose(0, 2, 1))
        swales = order[own]
        depth = depth_m(pools.take(swales), held_m3.T).T
        return [
            _told(swale, came_m3[i], spilled_m3[i], depth[i], step_s)
            for i, swale in enumerate(swales.tolist())
        ]

    apart = parts_of(pools, flat, step_s, workers)
    parts: list[_Course] = []
    with ThreadPoolExecutor(workers) as threads:
        for storm in np.unique(governing).tolist():
            inflow_m3 = np.ascontiguousarray(inflow_of(storm), dtype=np.float64)
            for courses in threads.map(partial(followed, storm, inflow_m3), apart):
                parts += courses
    parts.sort(key=lambda part: part[0])
    values = np.concatenate([part[2] for part in parts], axis=1) if parts else np.zeros((3, 0))
    step = np.concatenate([part[1] for part in parts]) if parts else np.zeros(0, np.int64)
    return Courses(
        np.repeat([part[0] for part in parts], [part[1].size for part in parts]).astype(np.int64),
        np.asarray((step + 0.5) * step_s / 60.0, dtype=np.float64),
        *values,
    )


def _told(
    swale: int, came_m3: FloatArray, spilled_m3: FloatArray, depth: FloatArray, step_s: float
) -> _Course:
    """A course by a few of its moments: from what has come and spilled after each step."""
    ends = max(2, int(np.searchsorted(came_m3, (1.0 - _TAIL) * came_m3[-1])) + 1)
    curves = np.empty((3, ends))
    for curve, total in zip(curves, (came_m3, spilled_m3), strict=False):
        curve[:] = np.diff(total[:ends], prepend=0.0) / step_s
    curves[2] = depth[:ends]
    # Roots of the rates besides: a long tail of little flow may hold much of the water.
    kept = moments(np.vstack([curves, np.sqrt(curves[:2])]), _CLOSE, _MOST_MOMENTS)
    return swale, kept, curves[:, kept]


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


@numba.njit(cache=True, nogil=True)
def _measure(curves: FloatArray, scale: FloatArray, start: int, stop: int, off: FloatArray) -> None:
    """Write how far curves are off a straight run between two steps, at each step between."""
    for k in range(start + 1, stop):
        share = (k - start) / (stop - start)
        off[k] = 0.0
        for c in range(scale.size):
            straight = curves[c, start] + share * (curves[c, stop] - curves[c, start])
            off[k] = max(off[k], abs(curves[c, k] - straight) / scale[c])
