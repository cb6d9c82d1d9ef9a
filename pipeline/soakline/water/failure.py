"""If one swale let go: which of those below it would be overtopped."""

import numpy as np

from soakline.grid import FloatArray
from soakline.water.network import Chain


def overtopped_by(
    chain: Chain, held_m3: FloatArray, ponded_m2: FloatArray, freeboard_m: FloatArray
) -> list[list[int]]:
    """Swales that would be overtopped if a swale let go of all its water at the storm's peak.

    Parameters
    ----------
    chain : Chain
    held_m3 : (swales,) at the peak: full, and the head over the sill
    ponded_m2 : (swales,) water surface then
    freeboard_m : (swales,) settled crest over the water at the peak

    Returns
    -------
    for each swale those below it that would be overtopped, from the top down

    Notes
    -----
    Common practice, no source: the worst that can be thought of. All of the water arrives at once,
    while the pool below is at its own peak and its sill takes no more; a pool that is overtopped
    lets go too, and its water is added. Where a pool takes the wave within its freeboard the walk
    ends.
    """
    overtopped: list[list[int]] = []
    place = {swale: k for k, swale in enumerate(chain.order)}
    for failed in range(held_m3.size):
        wave = np.zeros(held_m3.size)
        fallen = []
        wave[failed] = held_m3[failed]
        for swale in chain.order[place[failed] :]:
            if wave[swale] == 0.0:
                continue
            if swale != failed:
                if wave[swale] / ponded_m2[swale] <= freeboard_m[swale]:
                    continue
                fallen.append(swale)
                wave[swale] += held_m3[swale]
            for spill in chain.spills[swale]:
                wave[spill.to_swale] += spill.share * wave[swale]
        overtopped.append(fallen)
    return overtopped
