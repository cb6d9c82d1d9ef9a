"""Earth that reshaped tracks move, and how much of their way lies over the trench itself."""

from dataclasses import dataclass

import numpy as np

from soakline.grid import FloatArray
from soakline.section.crossings import TrackProfiles
from soakline.section.trench import Trenches

# Places along a track at which its depth and height are added up.
_PLACES = 4000
# Places along and across the lip at which the depth of a trench under a track is.
_ACROSS = 40


@dataclass(frozen=True, eq=False, slots=True)
class TrackEarth:
    """Earth of reshaped tracks; all (n,) m³.

    Parameters
    ----------
    cut_m3 : bank volume of ramps, besides the trench
    fill_m3 : compacted, in crowns and causeways
    refill_m3 : of it, what lies in the trench, below the ground as it was
    """

    cut_m3: FloatArray
    fill_m3: FloatArray
    refill_m3: FloatArray


def share_over_trench(
    trench: Trenches,
    start_m: FloatArray,
    end_m: FloatArray,
    lean: FloatArray,
    length_m: FloatArray,
) -> FloatArray:
    """Of the trench that tracks would take if it had no ends, how much is there.

    Parameters
    ----------
    trench : (n,) Trenches, across the lip
    start_m, end_m : (n,) of each track along the lip, m
    lean : (n,) as of `section.aslant.lean_of`
    length_m : (n,) of the lip, m

    Returns
    -------
    (n,) 1 where the track keeps clear of the trench's battered ends
    """
    places = (np.arange(_ACROSS) + 0.5) / _ACROSS
    batter, depth, top = (
        of[:, None, None] for of in (trench.batter, trench.depth_m, trench.top_width_m)
    )
    uphill = top * places[:, None]
    deep = np.minimum(np.minimum(uphill, top - uphill) / batter, depth)
    start, wide, slid, length = (
        of[:, None, None] for of in (start_m, end_m - start_m, lean, length_m)
    )
    along = start + wide * places + slid * uphill
    in_ends = np.maximum(np.minimum(along, length - along), 0.0) / batter
    there = np.minimum(deep, in_ends).sum(axis=(1, 2))
    return np.asarray(np.minimum(there / (_ACROSS * deep.sum(axis=(1, 2))), 1.0))


def track_earth(
    profiles: TrackProfiles,
    trench: Trenches,
    fall: FloatArray,
    wide_m: FloatArray,
    batter: float,
    side: FloatArray,
    share: FloatArray,
) -> TrackEarth:
    """What fords and causeways move, on ground that is a plane along the track.

    Parameters
    ----------
    profiles : TrackProfiles
    trench : (n,) Trenches along the track, as of `met_aslant`
    fall : (n,) slope of the ground along the track, rise over run
    wide_m : (n,) of the track, square to it, m
    batter : of the fill's sides, horizontal per 1 vertical, square to the track
    side : (n,) of the cut's, likewise
    share : (n,) as of `share_over_trench`; the rest of the track lies on ground that is not dug
    """
    cut, fill, refill = (np.zeros(wide_m.size) for _ in range(3))
    for k in range(wide_m.size):
        at, m, slope = profiles.at_m[k], float(trench.batter[k]), float(fall[k])
        step = float(at[-1] - at[0]) / _PLACES
        x = at[0] + step * (np.arange(_PLACES) + 0.5)
        depth, near = float(trench.depth_m[k]), m * float(trench.depth_m[k])
        far = near + float(trench.base_width_m[k])
        ground = slope * x
        floor = np.maximum(np.maximum(-x / m, (x - far) / m - depth), -depth)
        trenched = np.where(x >= 0.0, np.minimum(ground, floor), ground)
        surface = np.interp(x, at, profiles.height_m[k])
        wide = float(wide_m[k])
        bare = np.maximum(surface - ground, 0.0)
        above = step * np.sum(bare * (wide + batter * bare))
        for part, dug in ((float(share[k]), trenched), (1.0 - float(share[k]), ground)):
            low, high = np.maximum(dug - surface, 0.0), np.maximum(surface - dug, 0.0)
            filled = step * np.sum(high * (wide + batter * high))
            cut[k] += part * step * np.sum(low * (wide + float(side[k]) * low))
            fill[k] += part * filled
            refill[k] += part * (filled - above)
    return TrackEarth(cut, fill, refill)
