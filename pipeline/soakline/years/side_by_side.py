"""Parts of the chain that no water joins, followed through some days side by side."""

from concurrent.futures import ThreadPoolExecutor

import networkx as nx
import numpy as np

from soakline.grid import FloatArray
from soakline.section.stations import starts_of
from soakline.water.network import Chain
from soakline.years.arrays import BandArrays, ChainArrays, DayArrays, PoolArrays, State, Sum
from soakline.years.kernel import follow


def parts_of(chain: Chain, parts: int) -> list[ChainArrays]:
    """The chain by who receives, dealt out so that no water runs between parts."""
    swales = len(chain.spills)
    spills = sorted(
        (spill for own in chain.spills for spill in own),
        key=lambda spill: (spill.to_swale, spill.swale),
    )
    to, sender = (
        np.array([getattr(spill, end) for spill in spills], dtype=np.int64)
        for end in ("to_swale", "swale")
    )
    graph: nx.Graph[int] = nx.Graph()
    graph.add_nodes_from(range(swales))
    graph.add_edges_from(zip(sender.tolist(), to.tolist(), strict=True))
    dealt: list[set[int]] = [set() for _ in range(parts)]
    for joined in sorted(nx.connected_components(graph), key=len, reverse=True):
        min(dealt, key=len).update(joined)
    first = starts_of(np.bincount(to, minlength=swales))
    share = np.array([spill.share for spill in spills], dtype=np.float64)
    return [
        ChainArrays(
            np.array([swale for swale in chain.order if swale in own], dtype=np.int64),
            first,
            sender,
            share,
        )
        for own in dealt
    ]


def followed_days(
    days: DayArrays,
    pools: PoolArrays,
    bands: BandArrays,
    parts: list[ChainArrays],
    state: State,
    storm_h: float,
    longest_h: float,
) -> FloatArray:
    """Every swale through some days, the parts of the chain side by side.

    Returns
    -------
    (swales, columns of `Sum`) totals; the state is changed to that at the end
    """
    swales = pools.ponded_m2.size
    spilled_m3 = np.zeros((swales, days.rain_m.size))
    sums = np.zeros((swales, len(Sum)))

    def take(part: ChainArrays) -> None:
        follow(days, pools, bands, part, state, storm_h * 3600.0, longest_h, spilled_m3, sums)

    with ThreadPoolExecutor(len(parts)) as pool:
        list(pool.map(take, parts))
    return sums
