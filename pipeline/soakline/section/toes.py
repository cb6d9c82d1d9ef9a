"""Where mounds come down to their own ground."""

from dataclasses import replace

import numpy as np

from soakline.grid import FloatArray
from soakline.section.cuts import PROFILE_STEP_M
from soakline.section.mound import MoundShapes
from soakline.section.stations import LipStations

# A berm moves the crest by the fall over it: what is left settles in so many rounds.
_ROUNDS = 2


def down_to_toes(
    stations: LipStations, shape: MoundShapes, crest_height_m: FloatArray, crest_width_m: FloatArray
) -> LipStations:
    """The same stations, their fall the mean one from the lip to the mound's toe.

    Parameters
    ----------
    stations : LipStations
    shape : (lips,) MoundShapes
    crest_height_m, crest_width_m : (lips,) settled crest above the level, 0 where no mound stands,
        and its width, m

    Returns
    -------
    LipStations

    Notes
    -----
    With that fall `section.mound.toe_m` gives the place at which the outer face meets the profile
    of the station. Where it meets none within the profile, or no mound stands, the fall stays.
    """
    downhill = stations.downhill_m
    of_each = shape.take(stations.at.lip)
    high, crest = stations.each(crest_height_m), stations.each(crest_width_m)
    above, at_m = stations.ground_above_m, PROFILE_STEP_M * np.arange(downhill.shape[1])
    fall = shape.borne_by(stations.fall)
    for _ in range(_ROUNDS):
        crest_end = of_each.berm_m + shape.batter * (high - above + fall * of_each.berm_m) + crest
        # Of the outer face, drawn on beyond its crest and under the ground.
        over = high[:, None] - (at_m - crest_end[:, None]) / shape.batter - downhill
        ends = (over[:, 1:] <= 0.0) & (at_m[1:] > crest_end[:, None])
        after = np.argmax(ends, axis=1) + 1
        row = np.arange(above.size)
        last, first = over[row, after - 1], over[row, after]
        share = np.clip(last / np.maximum(last - first, 1e-9), 0.0, 1.0)
        toe = np.maximum(at_m[after - 1] + share * PROFILE_STEP_M, crest_end)
        ground = high - (toe - crest_end) / shape.batter
        found = ends.any(axis=1) & (high > 0.0) & (toe > 0.0)
        mean = (above - ground) / np.maximum(toe, 1e-9)
        fall = np.where(found, shape.borne_by(np.maximum(mean, 0.0)), fall)
    return replace(stations, fall=fall)
