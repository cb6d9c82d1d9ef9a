"""The compiled loop that takes every pool of a chain through a storm, step by step."""

from typing import NamedTuple

import numba
import numpy as np

from soakline.grid import FloatArray
from soakline.inputs.types import IndexArray
from soakline.water.level_pool import fill, pool_step, spill_many

STILL_M3S = 1e-6  # a swale that spills less does not spill
# Between swales water is told apart by quarters of a step: the first rush over a sill is short.
QUARTERS = 4


class PoolArrays(NamedTuple):
    """What the loop needs of pools; in the order that water passes them.

    Parameters
    ----------
    full_m3 : (swales,) m³
    unit_m3, soaking_m3s, rise_s : as of `fill`
    per_m2, half_weir, parts : as of `spill`, for a quarter of a step
    """

    full_m3: FloatArray
    unit_m3: FloatArray
    soaking_m3s: FloatArray
    rise_s: FloatArray
    per_m2: FloatArray
    half_weir: FloatArray
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
    waits_for : (swales,) last place whose spill may arrive here in the quarter that it leaves in;
        −1 where there is none
    slots : quarters that the longest way needs to keep apart, a power of 2
    """

    order: IndexArray
    first: IndexArray
    to: IndexArray
    share: FloatArray
    whole: IndexArray
    later: FloatArray
    waits_for: IndexArray
    slots: int


class _State(NamedTuple):
    """Where the water is; arrays (swales,) in the chain's order, m³ unless told.

    Parameters
    ----------
    received, own, held, soaked, spilled, most : totals so far; `held` now, `most` at any moment
    dry_s : s from the start when last run dry
    node : of the pool's curve, below what is held
    under_way : (slots, swales) what arrives in each quarter to come
    arrives_until : last step in which something arrives
    """

    received: FloatArray
    own: FloatArray
    held: FloatArray
    soaked: FloatArray
    spilled: FloatArray
    most: FloatArray
    dry_s: FloatArray
    node: IndexArray
    under_way: FloatArray
    arrives_until: IndexArray


class _Lanes(NamedTuple):
    """Pools that go through a step by quarters, side by side; the first of each array in use."""

    place: IndexArray
    own_m3s: FloatArray
    arrived_m3s: FloatArray
    held_m3: FloatArray
    full_m3: FloatArray
    rate_m3s: FloatArray
    per_m3: FloatArray
    over_m3: FloatArray
    net_m3s: FloatArray


@numba.njit(cache=True, nogil=True, error_model="numpy", inline="always")
def _send(chain: ChainArrays, place: int, quarter: int, out_m3: float, state: _State) -> int:
    """Put what spills from one place in one quarter on its ways; the last step it arrives in."""
    until = -1
    last = state.under_way.shape[0] - 1  # slots are a power of 2: the remainder is a mask
    for k in range(chain.first[place], chain.first[place + 1]):
        to, arrival = chain.to[k], quarter + chain.whole[k]
        part = chain.share[k] * out_m3
        state.under_way[arrival & last, to] += (1.0 - chain.later[k]) * part
        state.under_way[(arrival + 1) & last, to] += chain.later[k] * part
        until_this = (arrival + 1) // QUARTERS
        state.arrives_until[to] = max(state.arrives_until[to], until_this)
        until = max(until, until_this)
    return until


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _hand_over(state: _State) -> None:
    """Give the last drops under way, of spills that count as none, to whom they are sent."""
    for i in range(state.held.size):
        drops = state.under_way[:, i].sum()
        state.received[i] += drops
        if state.held[i] > 0.0:
            state.held[i] += drops
        else:
            state.soaked[i] += drops


@numba.njit(cache=True, nogil=True, error_model="numpy", inline="always")
def _whole_step(
    state: _State,
    pools: PoolArrays,
    chain: ChainArrays,
    own_m3: FloatArray,
    step: int,
    step_s: float,
    may_receive: IndexArray,
    lanes: _Lanes,
) -> int:
    """Take pools that stay below their sill through a step at once; how many are left, in lanes."""
    count = 0
    for i in range(state.held.size):
        came = own_m3[chain.order[i], step] if step < own_m3.shape[1] else 0.0
        receives = state.arrives_until[i] >= step or may_receive[i] == step
        before = state.held[i]
        if came == 0.0 and before == 0.0 and not receives:
            continue
        state.own[i] += came
        if not receives and before <= pools.full_m3[i]:
            volume, in_ground, left_s, at = fill(
                before,
                came / step_s,
                step_s,
                pools.unit_m3[i],
                pools.soaking_m3s,
                pools.rise_s,
                i,
                state.node[i],
            )
            if left_s == 0.0 or volume == 0.0:
                state.held[i], state.node[i] = volume, at
                state.soaked[i] += in_ground + came / step_s * left_s
                state.most[i] = max(state.most[i], volume)
                if volume == 0.0 and before > 0.0:
                    state.dry_s[i] = (step + 1) * step_s - left_s
                continue
        lanes.place[count] = i
        lanes.own_m3s[count] = came / step_s
        lanes.held_m3[count] = before
        lanes.full_m3[count] = pools.full_m3[i]
        lanes.rate_m3s[count] = pools.soaking_m3s[i, -1]
        lanes.per_m3[count] = (step_s / QUARTERS * pools.half_weir[i]) ** 2 * pools.per_m2[i]
        count += 1
        for k in range(chain.first[i], chain.first[i + 1]):
            if chain.whole[k] < QUARTERS:
                may_receive[chain.to[k]] = step
    return count


@numba.njit(cache=True, nogil=True, error_model="numpy", inline="always")
def _quarter(
    state: _State,
    pools: PoolArrays,
    chain: ChainArrays,
    quarter: int,
    time_s: float,
    lanes: _Lanes,
    first: int,
    last: int,
) -> int:
    """Take the pools of some lanes through a quarter; last step in which their spill arrives."""
    busy_until = -1
    arriving = state.under_way[quarter & (state.under_way.shape[0] - 1)]
    for c in range(first, last):
        i = lanes.place[c]
        state.received[i] += arriving[i]
        lanes.arrived_m3s[c] = arriving[i] / time_s
        arriving[i] = 0.0
        lanes.over_m3[c] = lanes.held_m3[c] - lanes.full_m3[c]
        lanes.net_m3s[c] = lanes.own_m3s[c] + lanes.arrived_m3s[c] - lanes.rate_m3s[c]
    own = slice(first, last)
    spill_many(lanes.over_m3[own], lanes.net_m3s[own], lanes.per_m3[own], time_s)
    for c in range(first, last):
        i, out = lanes.place[c], lanes.net_m3s[c]
        if out >= 0.0 and pools.parts[i] == 1:
            lanes.held_m3[c] = lanes.full_m3[c] + lanes.over_m3[c]
            state.soaked[i] += lanes.rate_m3s[c] * time_s
        else:
            before = lanes.held_m3[c]
            lanes.held_m3[c], in_ground, out, left_s, state.node[i] = pool_step(
                before,
                lanes.own_m3s[c] + lanes.arrived_m3s[c],
                time_s,
                pools.unit_m3[i],
                pools.soaking_m3s,
                pools.rise_s,
                pools.per_m2[i],
                pools.half_weir[i],
                pools.parts[i],
                i,
                state.node[i],
            )
            state.soaked[i] += in_ground
            if lanes.held_m3[c] == 0.0 and before > 0.0:
                state.dry_s[i] = (quarter + 1) * time_s - left_s
        state.most[i] = max(state.most[i], lanes.held_m3[c])
        if out > 0.0:
            state.spilled[i] += out
            until = _send(chain, i, quarter, out, state)
            if out >= STILL_M3S * time_s:
                busy_until = max(busy_until, quarter // QUARTERS + 1, until)
    return busy_until


@numba.njit(cache=True, nogil=True, error_model="numpy")
def route(
    pools: PoolArrays,
    chain: ChainArrays,
    own_m3: FloatArray,
    step_s: float,
    least_steps: int,
    most_steps: int,
    course: FloatArray,
) -> tuple[FloatArray, int]:
    """Route one storm until nothing spills and nothing is under way.

    Parameters
    ----------
    pools, chain : in the same order
    own_m3 : (swales, steps) inflow from their own catchments, swales as in the plan, m³
    step_s : s
    least_steps, most_steps : to route
    course : (3, steps, swales) takes what came in, what spilled and what is held by the end of each
        step, m³, in the chain's order; of no steps where nobody asks

    Returns
    -------
    (7, swales) received, own, held at the end, soaked in, spilled, most held, all m³, and s from
    the start when last run dry; in the chain's order. Steps routed, or −1 where they are too few

    Notes
    -----
    Nearly always a pool below its sill takes a whole step at once. The others go by quarters, side
    by side through one quarter before the next, so that the arithmetic of spilling runs in vectors.
    Where a spill arrives in the quarter that it leaves in, who receives it waits for that.
    """
    swales = chain.order.size
    totals, lane = np.zeros((7, swales)), np.zeros((8, swales))
    state = _State(
        *(totals[0], totals[1], totals[2], totals[3], totals[4], totals[5], totals[6]),
        node=np.zeros(swales, np.int64),
        under_way=np.zeros((chain.slots, swales)),
        arrives_until=np.full(swales, -1),
    )
    lanes = _Lanes(
        np.zeros(swales, np.int64),
        *(lane[0], lane[1], lane[2], lane[3], lane[4], lane[5], lane[6], lane[7]),
    )
    may_receive = np.full(swales, -1)
    busy_until = least_steps - 1
    for step in range(most_steps):
        count = _whole_step(state, pools, chain, own_m3, step, step_s, may_receive, lanes)
        for quarter in range(QUARTERS * step, QUARTERS * (step + 1)):
            first = 0
            while first < count:
                last = first + 1
                while last < count and chain.waits_for[lanes.place[last]] < lanes.place[first]:
                    last += 1
                until = _quarter(
                    state, pools, chain, quarter, step_s / QUARTERS, lanes, first, last
                )
                busy_until = max(busy_until, until)
                first = last
        for c in range(count):
            state.held[lanes.place[c]] = lanes.held_m3[c]
        if step < course.shape[1]:
            course[0, step] = state.received + state.own
            course[1, step] = state.spilled
            course[2, step] = state.held
        if step >= busy_until:
            _hand_over(state)
            return totals, step + 1
    return totals, -1
