"""Which level the first line takes: the one that serves the most land.

Land is served when its water, running downhill, crosses a line on allowed ground before it has
fallen by one interval. For every sampled cell the walk down marks all first levels that would
serve it, so one pass over the land weighs every candidate and nothing is contoured again and again.

Lines are left out where trench or mound would reach into excluded ground. So the same pass counts
what lines serve that have room, and a level that loses much of it gives way to one that does not.
"""

import numba
import numpy as np

from soakline.grid import BoolArray, FloatArray, GroundArray
from soakline.terrain.compass import COLUMN_STEP, END, ROW_STEP, VOID
from soakline.terrain.flow import Uint8Array

STEP_M = 0.1
_NEARLY_BEST = 0.99
# Of what lines with room serve at best, what the level chosen by allowed ground alone must keep.
_LEAST_KEPT = 0.95
_MOST_STEPS = 20_000
# Enough to tell 1 % of the land apart on any hillside.
_MOST_SAMPLES = 250_000


@numba.njit(cache=True)
def _served(
    ground_m: GroundArray,
    direction: Uint8Array,
    allowed: BoolArray,
    roomy: BoolArray,
    stride: int,
    top_m: float,
    interval_m: float,
    phases: int,
) -> FloatArray:
    """Sampled cells that each phase serves; phase p has a line at top − p · interval / phases.

    (2, phases): by lines on allowed ground, and by those that have room there.
    """
    rows, columns = ground_m.shape
    served = np.zeros((2, phases))
    marked = np.zeros((2, phases), np.int64)
    stamp = 0
    step_m = interval_m / phases
    for start_row in range(stride // 2, rows, stride):
        for start_column in range(stride // 2, columns, stride):
            if not allowed[start_row, start_column]:
                continue
            stamp += 1
            row, column = start_row, start_column
            start = float(ground_m[row, column])
            above = start
            for _ in range(_MOST_STEPS):
                k = direction[row, column]
                if k == END or k == VOID:
                    break
                row += ROW_STEP[k]
                column += COLUMN_STEP[k]
                here = float(ground_m[row, column])
                if np.isnan(here) or here >= above:
                    continue  # the smoothed ground may rise a little along a raw path
                if allowed[row, column]:
                    # Levels in [here, above) that lie within one interval of the start.
                    lowest = max(here, start - interval_m)
                    first = int(np.ceil((top_m - above) / step_m + 1e-9))
                    last = int(np.floor((top_m - lowest) / step_m + 1e-9))
                    for index in range(first, last + 1):
                        phase = index % phases
                        for kind in range(1 + roomy[row, column]):
                            if marked[kind, phase] != stamp:
                                marked[kind, phase] = stamp
                                served[kind, phase] += 1.0
                above = here
                if here <= start - interval_m:
                    break
    return served


def first_level_m(
    ground_m: GroundArray,
    direction: Uint8Array,
    allowed: BoolArray,
    roomy: BoolArray,
    cell_m: float,
    interval_m: float,
) -> float | None:
    """Level of the highest line of the series that serves the most allowed ground.

    Parameters
    ----------
    ground_m : (rows, columns) float32, m
    direction : (rows, columns) uint8
    allowed : (rows, columns) bool; ground where a lip may lie
    roomy : (rows, columns) bool; allowed ground where trench and mound fit beside it
    cell_m : side of a cell, m
    interval_m : between neighbouring lines, m

    Returns
    -------
    m, a multiple of 0.1 m below the highest allowed ground; None where no ground is allowed

    Notes
    -----
    Series within 1 % of the best count as equal, and the highest of them wins. If its lines with
    room serve less than 95 % of what such lines serve at best, they alone are counted.
    """
    if not allowed.any():
        return None
    top_m = float(np.floor(ground_m.max(where=allowed, initial=-np.inf) / STEP_M) * STEP_M)
    phases = max(1, round(interval_m / STEP_M))
    stride = max(1, round(5.0 / cell_m), int(np.sqrt(allowed.size / _MOST_SAMPLES)))
    served, dug = _served(ground_m, direction, allowed, roomy, stride, top_m, interval_m, phases)
    best = _highest_of_the_best(served)
    if dug[best] < _LEAST_KEPT * dug.max():
        best = _highest_of_the_best(dug)
    return round(top_m - best * interval_m / phases, 3)


def _highest_of_the_best(served: FloatArray) -> int:
    """First phase that counts as best."""
    return int(np.flatnonzero(served >= _NEARLY_BEST * served.max())[0])
