"""Heights that a lip may have for ground, and the room that they leave it to both sides."""

from dataclasses import dataclass

import numba
import numpy as np

from soakline.grid import FloatArray, GroundArray
from soakline.inputs.types import IndexArray
from soakline.terrain.ground import bilinear

# Ground above the level that lines are laid for: survey noise of 5 cm leaves the smoothed ground
# about 1 cm unsure, and a sill wants ground between 0 and 5 cm above its level.
AIM_M = 0.015
SILL_BAND_M = 0.05

# Kept inside the contract's −0.03 m and the run file's tolerance, for ground between samples.
_LOWEST_M = -0.022
_MARGIN_M = 0.01

# How often the ground is asked on the way to the farthest that a point may go.
ASKED = 5


@dataclass(frozen=True, slots=True)
class HeightBand:
    """Heights over its level that a lip may have for ground, m.

    Parameters
    ----------
    lowest_m, aim_m, highest_m : least, aimed at, most
    """

    lowest_m: float
    aim_m: float
    highest_m: float

    def outside(self, above_m: FloatArray) -> FloatArray:
        """How far heights are outside the band; NaN is as far as can be."""
        out = np.maximum(np.maximum(self.lowest_m - above_m, above_m - self.highest_m), 0.0)
        return np.where(np.isnan(out), np.inf, out)


def height_band(tolerance_m: float) -> HeightBand:
    """Heights for ground where it may stand so far above the level, m."""
    highest_m = max(tolerance_m - _MARGIN_M, min(SILL_BAND_M, tolerance_m))
    return HeightBand(_LOWEST_M, AIM_M, highest_m)


@numba.njit(cache=True)
def room_beside(
    row: FloatArray,
    column: FloatArray,
    row_step: FloatArray,
    column_step: FloatArray,
    level_m: FloatArray,
    ground_m: GroundArray,
    lowest: FloatArray,
    highest: FloatArray,
) -> tuple[FloatArray, FloatArray, IndexArray, IndexArray]:
    """Ground over the level at points, its rise over a step, and steps of room on both sides.

    A point whose ground is outside the band may go where that is less so.
    """
    n = row.size
    above, rise = np.empty(n), np.empty(n)
    room = np.zeros((2, n), np.int64)
    beside = np.empty(2)
    for i in range(n):
        above[i] = bilinear(ground_m, row[i], column[i]) - level_m[i]
        for side in range(2):
            out = max(lowest[i] - above[i], above[i] - highest[i], 0.0)
            for step in range(1, ASKED + 1):
                way = step if side else -step
                there = (
                    bilinear(ground_m, row[i] + way * row_step[i], column[i] + way * column_step[i])
                    - level_m[i]
                )
                if step == 1:
                    beside[side] = there
                out_there = max(lowest[i] - there, there - highest[i], 0.0)
                if not out_there <= out:
                    break
                out = out_there
                room[side, i] = step
        rise[i] = 0.5 * (beside[1] - beside[0])
    return above, rise, room[0], room[1]
