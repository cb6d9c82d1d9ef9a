"""The mound's ends: turned uphill round the end of a trench, tapering to nothing.

Coordinates at an end of a lip: ahead of it along the lip's own line, and uphill of that line;
heights relative to the full-water level.
"""

from dataclasses import dataclass

import numba
import numpy as np

from soakline.grid import FloatArray
from soakline.section.mound import MoundShape, MoundShapes, toe_m

# The mound's end turns uphill beside the trench at most this far.
LONGEST_RETURN_M = 6.0
# Nor is it wider along the lip than this: so much room is kept beyond the ends of lips.
WIDEST_RETURN_M = 1.5
# Of a return that has no room for its batters, so much stays crest.
_LEAST_CREST_SHARE = 1.0 / 3.0
# Places across and along a corner at which its height is taken.
_PLACES = 20
_NOTHING = -1e9


@dataclass(frozen=True, eq=False, slots=True)
class EndReturns:
    """Mounds turned round ends of trenches; all (n,), m unless said.

    Parameters
    ----------
    above_m : ground less level at the lip's end
    fall : of the ground downhill of it, rise over run
    crest_height_m, crest_width_m : of the mound along the lip, above the level
    toe_m : distance from the lip to the mound's toe
    width_m : ahead of the lip's end, from toe to toe
    face_m : run of each face, ahead of the lip's end
    uphill_m : reach uphill of the lip
    """

    above_m: FloatArray
    fall: FloatArray
    crest_height_m: FloatArray
    crest_width_m: FloatArray
    toe_m: FloatArray
    width_m: FloatArray
    face_m: FloatArray
    uphill_m: FloatArray

    def rows(self, shape: MoundShape | MoundShapes) -> FloatArray:
        """What `top_m` asks for of each end, (n, 9)."""
        return np.column_stack([
            self.above_m, self.fall, self.crest_height_m, self.crest_width_m, self.width_m,
            self.face_m, self.uphill_m, np.full_like(self.above_m, shape.berm_m),
            np.full_like(self.above_m, shape.batter),
        ])  # fmt: skip

    def volume_m3(self, shape: MoundShape | MoundShapes) -> FloatArray:
        """Of each end beyond the lip's own, (n,) m³; the ground is a plane on either side."""
        return _volumes_m3(self.rows(shape), self.toe_m)


def end_returns(
    shape: MoundShape | MoundShapes,
    crest_height_m: FloatArray,
    crest_width_m: FloatArray,
    head_m: FloatArray,
    above_m: FloatArray,
    rise: FloatArray,
    fall: FloatArray,
) -> EndReturns:
    """Returns of mounds that reach the ends of their lips.

    Each runs uphill until natural ground reaches the level plus the head of the check storm, at
    most 6 m; its crest sinks evenly from the mound's to that.

    Parameters
    ----------
    shape : of all, or (n,) of each
    crest_height_m, crest_width_m : (n,) settled crest above the level, and its width, m
    head_m : (n,) over the sills in the check storm, m
    above_m : (n,) ground less level at the lip's end, m
    rise, fall : (n,) of the ground uphill and downhill of it, rise over run
    """
    high = np.maximum(crest_height_m - above_m, 0.0)
    wanted = 2.0 * shape.batter * high + shape.least_crest_m
    width = np.minimum(wanted, WIDEST_RETURN_M)
    crest = np.minimum(shape.least_crest_m, width * _LEAST_CREST_SHARE)
    face = np.where(wanted > width, (width - crest) / 2.0, shape.batter * high)
    uphill = np.clip((head_m - above_m) / np.maximum(rise, 1e-6), 0.0, LONGEST_RETURN_M)
    toe = toe_m(shape, crest_height_m, crest_width_m, above_m, fall)
    return EndReturns(above_m, fall, crest_height_m, crest_width_m, toe, width, face, uphill)


@numba.njit(cache=True)
def top_m(end: FloatArray, ahead_m: float, uphill_m: float, ground_m: float) -> float:
    """Height of a return over the level at a place, far below the ground where there is none.

    Parameters
    ----------
    end : a row of `EndReturns.rows`
    ahead_m, uphill_m : of the lip's end, m
    ground_m : less level, there, m
    """
    above, fall, crest, crest_width, width, face, reach, berm, batter = end
    high = crest - above
    if ahead_m < 0.0 or high <= 0.0:
        return _NOTHING
    steep = high / max(face, 1e-9)
    if uphill_m >= 0.0:
        if uphill_m >= reach:
            return _NOTHING
        left = 1.0 - uphill_m / reach
        over = min(high * left, ahead_m * steep, (width * left - ahead_m) * steep)
        return ground_m + over if over > 0.0 else _NOTHING
    foot = above - fall * berm
    inner = max(foot + (-uphill_m - berm) / batter, above + ahead_m * steep)
    crest_end = berm + batter * (crest - foot) + crest_width
    outer = crest - (-uphill_m - crest_end) / batter
    top: float = min(crest, inner, outer, ground_m + (width - ahead_m) * steep)
    return top


@numba.njit(cache=True)
def _volumes_m3(ends: FloatArray, toe_m: FloatArray) -> FloatArray:
    volume = np.zeros(ends.shape[0])
    for k in range(ends.shape[0]):
        end = ends[k]
        above, fall, crest, width, face, reach = end[0], end[1], end[2], end[4], end[5], end[6]
        high = max(crest - above, 0.0)
        # Uphill a trapezoid whose height and width sink evenly to nothing.
        volume[k] = reach / 3.0 * high * (width - face)
        cell = width * toe_m[k] / _PLACES**2
        for i in range(_PLACES):
            ahead = (i + 0.5) * width / _PLACES
            for j in range(_PLACES):
                down = (j + 0.5) * toe_m[k] / _PLACES
                ground = above - fall * down
                volume[k] += cell * max(0.0, top_m(end, ahead, -down, ground) - ground)
    return volume
