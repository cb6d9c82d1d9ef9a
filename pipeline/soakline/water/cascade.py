"""Storms routed down the chain of swales, each a level pool, with water under way between them."""

from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, fields

import networkx as nx
import numpy as np

from soakline.cores import cores
from soakline.grid import FloatArray
from soakline.inputs.types import IndexArray
from soakline.section.stations import starts_of
from soakline.water.chain_steps import QUARTERS, ChainArrays, PoolArrays, route
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
    starts = starts_of(counts)
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
        first=starts_of(counts[order]),
        to=to[taken],
        share=np.array([spill.share for spill in flat], dtype=np.float64)[taken],
        whole=whole[taken],
        later=(quarters - whole)[taken],
        waits_for=waits_for,
        slots=1 << int(whole.max(initial=0) + 2 * QUARTERS - 1).bit_length(),
    )


def apart(chain: ChainArrays, parts: int) -> list[IndexArray]:
    """Places dealt out so that no water runs between parts, each about as many, in their order."""
    graph: nx.Graph[int] = nx.Graph()
    graph.add_nodes_from(range(chain.order.size))
    sender = np.repeat(np.arange(chain.order.size), np.diff(chain.first))
    graph.add_edges_from(zip(sender.tolist(), chain.to.tolist(), strict=True))
    dealt: list[list[int]] = [[] for _ in range(parts)]
    for joined in sorted(nx.connected_components(graph), key=len, reverse=True):
        min(dealt, key=len).extend(joined)
    return [np.array(sorted(part), dtype=np.int64) for part in dealt]


def places_of(chain: ChainArrays, places: IndexArray) -> ChainArrays:
    """The chain of some places alone, which no water joins to others."""
    place = np.full(chain.order.size, -1)
    place[places] = np.arange(places.size)
    counts = np.diff(chain.first)[places]
    taken = np.concatenate(
        [np.zeros(0, np.int64), *(np.arange(chain.first[i], chain.first[i + 1]) for i in places)]
    )
    waits = chain.waits_for[places]
    return ChainArrays(
        order=chain.order[places],
        first=starts_of(counts),
        to=place[chain.to[taken]],
        share=chain.share[taken],
        whole=chain.whole[taken],
        later=chain.later[taken],
        waits_for=np.where(waits >= 0, place[waits], -1),
        slots=chain.slots,
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


@dataclass(frozen=True, eq=False, slots=True)
class Part:
    """Pools that no water joins to those of other parts."""

    pools: PoolArrays
    chain: ChainArrays


def parts_of(pools: Pools, flat: ChainArrays, step_s: float, count: int) -> list[Part]:
    """The chain in parts about alike."""
    own = [flat] if count == 1 else [places_of(flat, places) for places in apart(flat, count)]
    return [Part(pool_arrays(pools, one.order, step_s), one) for one in own]


def _routed(
    pools: Pools,
    parts: list[Part],
    inflow_m3: FloatArray,
    step_s: float,
    rain_s: float,
    over_parts: Callable[..., Iterable[tuple[FloatArray, int]]] = map,
) -> StormRouting:
    """One storm, from arrays that are the same for all."""
    swales = pools.full_m3.size
    if inflow_m3.ndim != 2 or inflow_m3.shape[0] != swales:
        raise ValueError(f"inflow of shape {inflow_m3.shape} for {swales} swales")
    if not np.all((inflow_m3 >= 0.0) & np.isfinite(inflow_m3)):
        raise ValueError("an inflow is negative or not finite")
    least = max(inflow_m3.shape[1], int(np.ceil(rain_s / step_s)))
    longest = least + int(np.ceil(_LONGEST_S / step_s))
    own_m3 = np.ascontiguousarray(inflow_m3, dtype=np.float64)
    totals, ended_s = np.empty((7, swales)), np.zeros(swales)
    done = over_parts(
        lambda own: route(
            own.pools,
            own.chain,
            own_m3,
            step_s,
            least,
            longest,
            np.empty((3, 0, own.chain.order.size)),
        ),
        parts,
    )
    for own, (found, steps) in zip(parts, done, strict=True):
        if steps < 0:
            days = _LONGEST_S / 86_400.0
            raise ValueError(
                f"water still spills or is under way {days:g} days after the last inflow"
            )
        totals[:, own.chain.order] = found
        ended_s[own.chain.order] = steps * step_s
    received, own_in, stored, infiltrated, overflow, most, dry_s = totals
    head = np.maximum(most - pools.full_m3, 0.0) / pools.ponded_m2
    return StormRouting(
        received_m3=received,
        inflow_m3=own_in + received,
        stored_m3=stored,
        infiltrated_m3=infiltrated,
        overflow_m3=overflow,
        peak_spill_m3s=pools.coefficient * pools.sill_m * head**1.5,
        max_depth_m=depth_m(pools, most),
        drain_down_h=np.where(
            stored > 0.0,
            (ended_s - rain_s) / 3600.0 + emptying_h(pools, stored),
            np.maximum(dry_s - rain_s, 0.0) / 3600.0,
        ),
        ended_s=np.array(ended_s.max(initial=least * step_s)),
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
    parts = parts_of(pools, chain_arrays(chain, travel_s, step_s), step_s, 1)
    return _routed(pools, parts, inflow_m3, step_s, rain_s)


def route_in_parts(
    pools: Pools, chain: ChainArrays, inflow_m3: FloatArray, step_s: float, rain_s: float
) -> StormRouting:
    """One storm as by `route_storm`, over a chain as it comes of `chain_arrays`, on all cores."""
    workers = cores()
    parts = parts_of(pools, chain, step_s, workers)
    with ThreadPoolExecutor(workers) as threads:
        return _routed(pools, parts, inflow_m3, step_s, rain_s, threads.map)


def route_storms(
    pools: Pools,
    chain: Chain,
    travel_s: FloatArray,
    inflow_of: Callable[[int], FloatArray],
    step_s: float,
    rain_s: Sequence[float],
    spared_cores: int = 0,
) -> StormRouting:
    """Several storms routed at once, each as by `route_storm`.

    Parameters
    ----------
    pools, chain, travel_s, step_s : as of `route_storm`
    inflow_of : (swales, steps) inflow of the storm with a number, m³; called in the thread that
        routes it, so that no more inflows are held at a time than there are threads
    rain_s : from the start to the end of the rain of each storm, s
    spared_cores : left to what runs beside

    Returns
    -------
    StormRouting of (swales, storms)

    Raises
    ------
    ValueError
        As `route_storm`.
    """
    workers = cores(spared_cores)
    few = len(rain_s) < workers
    flat = chain_arrays(chain, travel_s, step_s)
    parts = parts_of(pools, flat, step_s, workers if few else 1)
    # The longest first: the threads end together.
    longest_first = sorted(range(len(rain_s)), key=lambda storm: -rain_s[storm])
    with ThreadPoolExecutor(workers) as threads:
        # A thread for each storm or, of few storms, one for each part of the chain.
        over_storms, over_parts = (map, threads.map) if few else (threads.map, map)

        def routed(storm: int) -> StormRouting:
            own = inflow_of(storm)
            return _routed(pools, parts, own, step_s, rain_s[storm], over_parts)

        done = dict(zip(longest_first, over_storms(routed, longest_first), strict=True))
    each = [done[storm] for storm in range(len(rain_s))]
    return StormRouting(
        **{
            field.name: np.stack([getattr(one, field.name) for one in each], axis=-1)
            for field in fields(StormRouting)
        }
    )
