"""What a trench cuts out of the ground beside each station, along the station's own profile."""

from dataclasses import dataclass

import numpy as np

from soakline.grid import FloatArray
from soakline.section.trench import STEEPEST_BATTER_SLOPE, Trenches

# Between the heights of a profile; ground is straight from one to the next.
PROFILE_STEP_M = 0.5


@dataclass(frozen=True, eq=False, slots=True)
class Cuts:
    """Sections of a cut; all (n,).

    Parameters
    ----------
    daylight_m : from the lip to where the uphill batter meets the hill
    daylight_above_m : ground less level there
    area_m2 : cut per metre of length, the wedge above the level included; 0 where ground lies so
        far under the level that there would be less than nothing
    face_height_m : of the uphill face, from base to daylight
    """

    daylight_m: FloatArray
    daylight_above_m: FloatArray
    area_m2: FloatArray
    face_height_m: FloatArray


def profile_reach_m(top_width_m: float, deepest_cut_m: float, batter: float) -> float:
    """How far uphill a profile must go for a trench that can be cut at all, m.

    The daylight edge of the steepest ground on which the batter still meets the hill; ground that
    is steeper is cut to there.
    """
    return (top_width_m + batter * deepest_cut_m) / (1.0 - STEEPEST_BATTER_SLOPE)


def cuts_of(trench: Trenches, uphill_m: FloatArray) -> Cuts:
    """Sections cut along profiles of the ground.

    Parameters
    ----------
    trench : (n,) Trenches
    uphill_m : (n, k) ground less level from the lip uphill, every `PROFILE_STEP_M`

    Returns
    -------
    Cuts

    Notes
    -----
    The batter leaves the level at T and rises 1 in m. With the ground g and the first x at which
    m g(x) = x − T the cut is A + ∫ g − (x − T) g(x) / 2, which on ground of one slope s, level with
    the lip, is A + T² s / (2 (1 − s m)). Where no x is found the cut ends with the profile.
    """
    count, places = uphill_m.shape
    each, width = np.arange(count), trench.top_width_m
    at_m = PROFILE_STEP_M * np.arange(places)
    # Ground, and its integral from the lip, at any distance: straight from height to height.
    below_m2 = np.zeros_like(uphill_m)
    np.cumsum(PROFILE_STEP_M * (uphill_m[:, 1:] + uphill_m[:, :-1]) / 2.0, 1, out=below_m2[:, 1:])

    def ground(x_m: FloatArray) -> tuple[FloatArray, FloatArray]:
        before = np.clip((x_m / PROFILE_STEP_M).astype(np.int64), 0, places - 2)
        beyond = x_m - at_m[before]
        low, high = uphill_m[each, before], uphill_m[each, before + 1]
        here = low + beyond * (high - low) / PROFILE_STEP_M
        return here, below_m2[each, before] + beyond * (low + here) / 2.0

    # How far the ground stands over the batter, in metres along the level.
    over = trench.batter[:, None] * uphill_m - (at_m - width[:, None])
    meets = (over <= 0.0) & (at_m > width[:, None])
    found = meets.any(axis=1)
    after = np.where(found, meets.argmax(axis=1), places - 1)
    start = np.maximum(at_m[after - 1], width)
    over_start = trench.batter * ground(start)[0] - (start - width)
    over_after = over[each, after]
    share = over_start / np.maximum(over_start - over_after, 1e-12)
    daylight = start + np.clip(share, 0.0, 1.0) * (at_m[after] - start)
    daylight = np.where(over_start <= 0.0, width, np.where(found, daylight, at_m[-1]))
    top, under_m2 = ground(daylight)
    return Cuts(
        daylight_m=daylight,
        daylight_above_m=top,
        area_m2=np.maximum(trench.area_m2 + under_m2 - (daylight - width) * top / 2.0, 0.0),
        face_height_m=trench.depth_m + np.maximum(top, 0.0),
    )
