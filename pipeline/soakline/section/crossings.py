"""How a track passes a swale: which kind of crossing fits, and how far it reshapes the track.

Coordinates along the track: the lip at 0, uphill positive; heights relative to the full-water
level. The track runs straight over the swale; ground is a plane of its own slope along the track.
"""

from typing import Literal

import numpy as np
import numpy.typing as npt

from soakline.grid import FloatArray
from soakline.section.trench import Trenches

CrossingKind = Literal["ford", "causeway", "gap"]
KINDS: tuple[CrossingKind, ...] = ("ford", "causeway", "gap")

# Ramps that a loaded farm vehicle climbs when wet, rise over run; common practice, no source.
RAMP_GRADE = 1.0 / 6.0
# Water that a farm vehicle passes through, and a dip that is still dug; common practice, no source.
DEEPEST_FORD_M = 0.5
LONGEST_FORD_M = 30.0
# Over the pipe of a causeway; common practice, no source.
COVER_M = 0.3


def ford_m(trench: Trenches, crown_m: FloatArray, fall: FloatArray) -> FloatArray:
    """Length of track that a ford reshapes.

    From the base a ramp climbs uphill to the ground; another climbs downhill to a crown over the
    level, and a third falls from it to the ground.

    Parameters
    ----------
    trench : (n,) Trenches
    crown_m : (n,) crown above the level, m
    fall : (n,) slope of the ground along the track, rise over run

    Returns
    -------
    (n,) m; infinite where the ground is as steep as the ramps

    Examples
    --------
    On level ground three ramps of 1 in 6 climb 0.4, 0.6 and 0.2 m, and the base lies between:

    >>> from soakline.section.trench import Trenches
    >>> one = Trenches(np.array([1.5]), np.array([0.4]), np.array([1.5]))
    >>> ford_m(one, np.array([0.2]), np.array([0.0])).round(6)
    array([8.7])
    """
    near = trench.batter * trench.depth_m
    far = near + trench.base_width_m
    slack = RAMP_GRADE - np.asarray(fall, dtype=float)
    room = np.where(slack > 0.0, slack, 1.0)
    up = (trench.depth_m + RAMP_GRADE * far) / room
    crown_at = near - (trench.depth_m + crown_m) / RAMP_GRADE
    down = (RAMP_GRADE * crown_at - crown_m) / room
    return np.asarray(np.where(slack > 0.0, up - down, np.inf), dtype=float)


def causeway_m(trench: Trenches, crown_m: FloatArray, fall: FloatArray) -> FloatArray:
    """Length of track that a causeway raises: level over the trench, with a ramp on both sides.

    Parameters as in `ford_m`.

    Returns
    -------
    (n,) m; infinite where the ground is as steep as the ramps
    """
    fall = np.asarray(fall, dtype=float)
    slack = RAMP_GRADE - fall
    top = trench.top_width_m
    up = np.maximum(top, (crown_m + RAMP_GRADE * top) / (RAMP_GRADE + fall))
    down = crown_m / np.where(slack > 0.0, slack, 1.0)
    return np.asarray(np.where(slack > 0.0, up + down, np.inf), dtype=float)


def kind_that_fits(trench: Trenches, crown_m: FloatArray, fall: FloatArray) -> npt.NDArray[np.str_]:
    """A ford where it is shallow and short enough, else a causeway.

    Parameters as in `ford_m`.

    Returns
    -------
    (n,) CrossingKind: a ford where the base lies at most 0.5 m under the level and at most 30 m of
    the track are reshaped
    """
    shallow = trench.depth_m <= DEEPEST_FORD_M + 1e-9
    short = ford_m(trench, crown_m, fall) <= LONGEST_FORD_M
    return np.where(shallow & short, "ford", "causeway")


def plug_m(trench: Trenches, top_m: FloatArray, crown_m: FloatArray, batter: float) -> FloatArray:
    """Length of trench that the fill of a causeway takes, at half the depth.

    Parameters
    ----------
    trench : (n,) Trenches
    top_m : (n,) of the crown along the lip, m
    crown_m : (n,) crown above the level, m
    batter : of the fill's sides, horizontal per 1 vertical

    Returns
    -------
    (n,) m
    """
    return np.asarray(top_m + 2.0 * batter * (crown_m + trench.depth_m / 2.0), dtype=float)


def pipe_m(top_m: float, crown_above_invert_m: float, batter: float) -> float:
    """Length of the pipe under a causeway, from toe to toe of the fill, m."""
    return top_m + 2.0 * batter * crown_above_invert_m
