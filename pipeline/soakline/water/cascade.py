"""Storms routed down the chain of swales, each a level pool, with water under way between them."""

import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, fields

import numpy as np

from soakline.grid import FloatArray
from soakline.water.chain_steps import QUARTERS, ChainArrays, IndexArray, PoolArrays, route
from soakline.water.level_pool import spill_parts
from soakline.water.network import Chain
from soakline.water.pools import NODES, Pools, depth_m, emptying_h

_LONGEST_S = 30 * 86_400.0  # after the last inflow


@dataclass(frozen=True, eq=False, slots=True)
class StormRouting:
    """What storms do to swales; (swales,) for one storm, (swales, storms) for several.

    Parameters
    ----------
    received_m3 : from swales above
    inflow_m3 : own and received; the sum of the next three
    stored_m3, infiltrated_m3, overflow_m3 : what became of it when routing ended
    peak_spill_m3s : greatest rate over all sills of the swale together
    max_depth_m : deepest water above the base
    drain_down_h : from the end of rain to empty; 0 where it is empty before
    ended_s : () or (storms,) from the start of the storm to the end of routing
    """

    received_m3: FloatArray
    inflow_m3: FloatArray
    stored_m3: FloatArray
    infiltrated_m3: FloatArray
    overflow_m3: FloatArray
    peak_spill_m3s: FloatArray
    max_depth_m: FloatArray
    drain_down_h: FloatArray
    ended_s: FloatArray


def chain_arrays(chain: Chain, travel_s: FloatArray, step_s: float) -> ChainArrays:
    """The chain as flat arrays.

    Parameters
    ----------
    chain : Chain
    travel_s : (spills,) time from sill to arrival, in the order of `chain.spills`: those of swale
        0, then those of swale 1 and so on
    step_s : s

    Returns
    -------
    ChainArrays

    Raises
    ------
    ValueError
        If a time is missing, negative or not finite.
    """
    counts = np.array([len(own) for own in chain.spills], dtype=np.int64)
    if travel_s.size != counts.sum():
        raise ValueError(f"{travel_s.size} travel times for {counts.sum()} spills")
    if not np.all((travel_s >= 0.0) & np.isfinite(travel_s)):
        raise ValueError("a travel time is negative or not finite")
    order = np.array(chain.order, dtype=np.int64)
    place = np.argsort(order)
    starts = np.concatenate([[0], np.cumsum(counts)])
    quarters = travel_s / (step_s / QUARTERS)
    whole = np.floor(quarters).astype(np.int64)
    flat = [spill for own in chain.spills for spill in own]
    to = place[np.array([spill.to_swale for spill in flat], dtype=np.int64)]
    waits_for = np.full(order.size, -1)
    at_once = whole == 0
    np.maximum.at(waits_for, to[at_once], np.repeat(place, counts)[at_once])
    taken = np.array([k for i in order for k in range(starts[i], starts[i + 1])], dtype=np.int64)
    return ChainArrays(
        order=order,
        first=np.concatenate([[0], np.cumsum(counts[order])]).astype(np.int64),
        to=to[taken],
        share=np.array([spill.share for spill in flat], dtype=np.float64)[taken],
        whole=whole[taken],
        later=(quarters - whole)[taken],
        waits_for=waits_for,
        slots=1 << int(whole.max(initial=0) + 2 * QUARTERS - 1).bit_length(),
    )


def pool_arrays(pools: Pools, order: IndexArray, step_s: float) -> PoolArrays:
    """Pools as flat arrays, in an order."""
    weir = pools.coefficient * pools.sill_m
    unit_m3 = pools.full_m3 / (NODES - 1) ** 2
    soaking = pools.soak_m_s[:, None] * pools.wetted_m2
    apart_m3 = unit_m3[:, None] * np.diff(np.arange(NODES) ** 2)
    return PoolArrays(
        full_m3=pools.full_m3[order],
        unit_m3=unit_m3[order],
        soaking_m3s=soaking[order],
        rise_s=(np.diff(soaking, axis=1) / apart_m3)[order],
        per_m2=1.0 / pools.ponded_m2[order],
        half_weir=(0.5 * weir / pools.ponded_m2)[order],
        parts=spill_parts(weir, pools.ponded_m2, step_s / QUARTERS)[order].astype(np.int64),
    )


def _routed(
    pools: Pools,
    arrays: tuple[PoolArrays, ChainArrays],
    inflow_m3: FloatArray,
    step_s: float,
    rain_s: float,
) -> StormRouting:
    """One storm, from arrays that are the same for all."""
    if inflow_m3.ndim != 2 or inflow_m3.shape[0] != pools.full_m3.size:
        raise ValueError(f"inflow of shape {inflow_m3.shape} for {pools.full_m3.size} swales")
    if not np.all((inflow_m3 >= 0.0) & np.isfinite(inflow_m3)):
        raise ValueError("an inflow is negative or not finite")
    least = max(inflow_m3.shape[1], int(np.ceil(rain_s / step_s)))
    longest = least + int(np.ceil(_LONGEST_S / step_s))
    own_m3 = np.ascontiguousarray(inflow_m3, dtype=np.float64)
    totals, steps = route(*arrays, own_m3, step_s, least, longest)
    if steps < 0:
        days = _LONGEST_S / 86_400.0
        raise ValueError(f"water still spills or is under way {days:g} days after the last inflow")
    in_order = np.empty_like(totals)
    in_order[:, arrays[1].order] = totals
    received, own, stored, infiltrated, overflow, most, dry_s = in_order
    ended_s = steps * step_s
    head = np.maximum(most - pools.full_m3, 0.0) / pools.ponded_m2
    after_rain_s = np.maximum(dry_s - rain_s, 0.0)
    return StormRouting(
        received_m3=received,
        inflow_m3=own + received,
        stored_m3=stored,
        infiltrated_m3=infiltrated,
        overflow_m3=overflow,
        peak_spill_m3s=pools.coefficient * pools.sill_m * head**1.5,
        max_depth_m=depth_m(pools, most),
        drain_down_h=np.where(
            stored > 0.0,
            (ended_s - rain_s) / 3600.0 + emptying_h(pools, stored),
            after_rain_s / 3600.0,
        ),
        ended_s=np.array(ended_s),
    )


def route_storm(
    pools: Pools,
    chain: Chain,
    travel_s: FloatArray,
    inflow_m3: FloatArray,
    step_s: float,
    rain_s: float,
) -> StormRouting:
    """One storm routed down the chain.

    Parameters
    ----------
    pools : Pools
    chain : Chain
    travel_s : (spills,) as of `chain_arrays`
    inflow_m3 : (swales, steps) own runoff and rain on the water in each step, m³
    step_s : s
    rain_s : from the start to the end of rain, s

    Returns
    -------
    StormRouting

    Raises
    ------
    ValueError
        If inflow or travel times are not as described, or water still spills or is under way 30
        days after the last inflow.

    Notes
    -----
    Inflow is steady within a step. What spills in a step arrives spread over the step that begins
    a travel time later, so in parts of two steps. Routing ends when rain and inflow have ended, no
    swale spills 1e-6 m³/s and none is under way.
    """
    flat = chain_arrays(chain, travel_s, step_s)
    arrays = (pool_arrays(pools, flat.order, step_s), flat)
    return _routed(pools, arrays, inflow_m3, step_s, rain_s)


def route_storms(
    pools: Pools,
    chain: Chain,
    travel_s: FloatArray,
    inflow_of: Callable[[int], FloatArray],
    step_s: float,
    rain_s: Sequence[float],
) -> StormRouting:
    """Several storms routed at once, each as by `route_storm`.

    Parameters
    ----------
    pools, chain, travel_s, step_s : as of `route_storm`
    inflow_of : (swales, steps) inflow of the storm with a number, m³; called in the thread that
        routes it, so that no more inflows are held at a time than there are threads
    rain_s : from the start to the end of the rain of each storm, s

    Returns
    -------
    StormRouting of (swales, storms)

    Raises
    ------
    ValueError
        As `route_storm`.
    """
    flat = chain_arrays(chain, travel_s, step_s)
    arrays = (pool_arrays(pools, flat.order, step_s), flat)

    def routed(storm: int) -> StormRouting:
        return _routed(pools, arrays, inflow_of(storm), step_s, rain_s[storm])

    # The longest first: the threads end together.
    longest_first = sorted(range(len(rain_s)), key=lambda storm: -rain_s[storm])
    with ThreadPoolExecutor(max_workers=os.cpu_count()) as threads:
        done = dict(zip(longest_first, threads.map(routed, longest_first), strict=True))
    each = [done[storm] for storm in range(len(rain_s))]
    return StormRouting(
        **{
            field.name: np.stack([getattr(one, field.name) for one in each], axis=-1)
            for field in fields(StormRouting)
        }
    )
