"""The compiled loop that takes every pool of a chain through a storm, step by step."""

from typing import NamedTuple

import numba
import numpy as np
import numpy.typing as npt

from soakline.grid import FloatArray
from soakline.water.level_pool import fill, pool_step

STILL_M3S = 1e-6  # a swale that spills less does not spill
# Between swales water is told apart by quarters of a step: the first rush over a sill is short.
QUARTERS = 4

IndexArray = npt.NDArray[np.int64]


class PoolArrays(NamedTuple):
    """What the loop needs of pools; in the order that water passes them.

    Parameters
    ----------
    full_m3 : (swales,) m³
    unit_m3, soaking_m3s, rise_s : as of `fill`
    ponded_m2, weir, parts : as of `spill`, for a quarter of a step
    """

    full_m3: FloatArray
    unit_m3: FloatArray
    soaking_m3s: FloatArray
    rise_s: FloatArray
    ponded_m2: FloatArray
    weir: FloatArray
    parts: IndexArray


class ChainArrays(NamedTuple):
    """Swales and spills in the order that water passes them.

    Parameters
    ----------
    order : (swales,) swale at each place
    first : (swales + 1,) first spill of each place, and the number of spills
    to : (spills,) place that receives
    share : (spills,) of the overflow
    whole : (spills,) quarters of a step that all of it is under way
    later : (spills,) share of it that arrives a quarter later still
    slots : quarters that the longest way needs to keep apart, a multiple of `QUARTERS`
    """

    order: IndexArray
    first: IndexArray
    to: IndexArray
    share: FloatArray
    whole: IndexArray
    later: FloatArray
    slots: int


@numba.njit(cache=True, nogil=True, error_model="numpy", inline="always")
def _send(
    chain: ChainArrays,
    place: int,
    quarter: int,
    out_m3: float,
    under_way_m3: FloatArray,
    arrives_until: IndexArray,
) -> int:
    """Put what spills from one place in one quarter on its ways; the last step it arrives in."""
    until = -1
    slots = under_way_m3.shape[1]
    for k in range(chain.first[place], chain.first[place + 1]):
        to, arrival = chain.to[k], quarter + chain.whole[k]
        part = chain.share[k] * out_m3
        under_way_m3[to, arrival % slots] += (1.0 - chain.later[k]) * part
        under_way_m3[to, (arrival + 1) % slots] += chain.later[k] * part
        arrives_until[to] = max(arrives_until[to], (arrival + 1) // QUARTERS)
        until = max(until, (arrival + 1) // QUARTERS)
    return until


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _hand_over(
    under_way_m3: FloatArray,
    received_m3: FloatArray,
    held_m3: FloatArray,
    soaked_m3: FloatArray,
) -> None:
    """Give the last drops under way, of spills that count as none, to whom they are sent."""
    for i in range(held_m3.size):
        drops = under_way_m3[i].sum()
        received_m3[i] += drops
        if held_m3[i] > 0.0:
            held_m3[i] += drops
        else:
            soaked_m3[i] += drops


@numba.njit(cache=True, nogil=True, error_model="numpy")
def route(
    pools: PoolArrays,
    chain: ChainArrays,
    own_m3: FloatArray,
    step_s: float,
    least_steps: int,
    most_steps: int,
) -> tuple[FloatArray, int]:
    """Route one storm until nothing spills and nothing is under way.

    Parameters
    ----------
    pools, chain : in the same order
    own_m3 : (swales, steps) inflow from their own catchments, swales as in the plan, m³
    step_s : s
    least_steps, most_steps : to route

    Returns
    -------
    (7, swales) received, own, held at the end, soaked in, spilled, most held, all m³, and s from
    the start when last run dry; in the chain's order. Steps routed, or −1 where they are too few
    """
    swales, own_steps = own_m3.shape
    totals = np.zeros((7, swales))
    received, own, held, soaked, spilled, most, dry_s = totals
    node = np.zeros(swales, np.int64)
    quarter_s = step_s / QUARTERS
    under_way, slots = np.zeros((swales, chain.slots)), chain.slots
    arrives_until = np.full(swales, -1)
    busy_until = least_steps - 1
    for step in range(most_steps):
        for i in range(swales):
            came = own_m3[chain.order[i], step] if step < own_steps else 0.0
            receives = arrives_until[i] >= step
            if came == 0.0 and held[i] == 0.0 and not receives:
                continue
            own[i] += came
            before = held[i]
            if not receives and before <= pools.full_m3[i]:
                # Nearly always: a whole step at once, unless the sill is reached in it.
                volume, in_ground, left_s, at = fill(
                    before,
                    came / step_s,
                    step_s,
                    pools.unit_m3[i],
                    pools.soaking_m3s,
                    pools.rise_s,
                    i,
                    node[i],
                )
                if left_s == 0.0 or volume == 0.0:
                    held[i], node[i] = volume, at
                    soaked[i] += in_ground + came / step_s * left_s
                    most[i] = max(most[i], volume)
                    if volume == 0.0 and before > 0.0:
                        dry_s[i] = (step + 1) * step_s - left_s
                    continue
            for quarter in range(QUARTERS * step, QUARTERS * (step + 1)):
                arrived = under_way[i, quarter % slots]
                under_way[i, quarter % slots] = 0.0
                received[i] += arrived
                before = held[i]
                held[i], in_ground, out, left_s, node[i] = pool_step(
                    before,
                    (came / QUARTERS + arrived) / quarter_s,
                    quarter_s,
                    pools.unit_m3[i],
                    pools.soaking_m3s,
                    pools.rise_s,
                    pools.ponded_m2[i],
                    pools.weir[i],
                    pools.parts[i],
                    i,
                    node[i],
                )
                soaked[i] += in_ground
                most[i] = max(most[i], held[i])
                if held[i] == 0.0 and before > 0.0:
                    dry_s[i] = (quarter + 1) * quarter_s - left_s
                if out > 0.0:
                    spilled[i] += out
                    until = _send(chain, i, quarter, out, under_way, arrives_until)
                    if out >= STILL_M3S * quarter_s:
                        busy_until = max(busy_until, step + 1, until)
        if step >= busy_until:
            _hand_over(under_way, received, held, soaked)
            return totals, step + 1
    return totals, -1
