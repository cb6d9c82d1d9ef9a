"""If one swale let go: which of those below it would be overtopped."""

from heapq import heappop, heappush

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
    place = {swale: k for k, swale in enumerate(chain.order)}
    held, room = held_m3.tolist(), (freeboard_m * ponded_m2).tolist()
    overtopped: list[list[int]] = []
    for failed in range(len(held)):
        wave = {failed: 0.0}
        fallen = []
        # Only the few swales that the wave comes to, each after all that may send some of it.
        reached = [(place[failed], failed)]
        while reached:
            _, swale = heappop(reached)
            if swale != failed:
                if wave[swale] <= room[swale]:
                    continue
                fallen.append(swale)
            wave[swale] += held[swale]
            for spill in chain.spills[swale]:
                to = spill.to_swale
                if to not in wave:
                    wave[to] = 0.0
                    heappush(reached, (place[to], to))
                wave[to] += spill.share * wave[swale]
        overtopped.append(fallen)
    return overtopped
