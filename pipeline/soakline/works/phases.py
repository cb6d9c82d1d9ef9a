"""Which swale is dug when: phases that are safe on their own, and the order within them.

Two ways that water takes count. Overflow runs down the chain: what it runs into must be there.
Runoff of a catchment runs down the hill: until the swale that takes it is dug, it comes to
the next one below, which is not sized for it.
"""

import heapq
from collections.abc import Iterator, Mapping, Sequence

import networkx as nx
import numpy as np

from soakline.grid import BoolArray, FloatArray
from soakline.section.stations import IntArray
from soakline.water.network import Chain

# Room that rounding of sums may seem to take from a limit.
_ROUNDING = 1e-9


def build_order(chain: Chain, level_m: FloatArray, phase: IntArray) -> IntArray:
    """Rank of each swale: phase after phase, in each from the top of the catchment down.

    What is dug first holds water back from what is dug after it.

    Parameters
    ----------
    chain : Chain
    level_m : (swales,) the highest come first where the chain leaves the order open
    phase : (swales,) of each

    Returns
    -------
    (swales,) from 1, each once; within a phase no swale comes after one that it spills into
    """
    from_top = nx.lexicographical_topological_sort(
        _graph(chain), key=lambda swale: (-float(level_m[swale]), swale)
    )
    # Sorting is stable: in each phase the order from the top stays.
    order = sorted(from_top, key=lambda swale: int(phase[swale]))
    rank = np.zeros(level_m.size, dtype=np.int64)
    rank[order] = np.arange(1, level_m.size + 1)
    return rank


def safe_throughout(chain: Chain, safe: BoolArray) -> BoolArray:
    """Swales that are safe, as are all that their water passes; (swales,)."""
    sound: BoolArray = safe.copy()
    for swale in reversed(chain.order):
        sound[swale] &= all(sound[spill.to_swale] for spill in chain.spills[swale])
    return sound


def phases_of(
    chain: Chain,
    sound: BoolArray,
    weight: FloatArray,
    held_m3: FloatArray,
    limit: float,
    uphill: Sequence[tuple[int, int]] = (),
) -> IntArray:
    """Phase of each swale, such that every phase and those before it are safe without the rest.

    What a swale spills into is dug in its phase or before it, down to the safe end. Whole chains
    come first: none before those uphill of it, else those that hold most for their weight first,
    each in the first phase that has room. Chains that are heavier than a whole phase are begun at
    their lower end. Swales without a safe end come after all others, in phases that no phase before
    them needs.

    Parameters
    ----------
    chain : Chain
    sound : (swales,) from `safe_throughout`
    weight : (swales,) what each takes from the limit: cost, hours, or 1
    held_m3 : (swales,) water that each holds
    limit : of one phase, in the unit of the weights; a swale that is heavier has a phase of its own
    uphill : pairs of an upper and a lower swale, from `uphill_pairs`

    Returns
    -------
    (swales,) from 1
    """
    filling = _Filling(chain, weight, held_m3, limit, uphill)
    graph = _graph(chain)
    for kind in (sound, ~sound):
        own = graph.subgraph(np.flatnonzero(kind).tolist())
        filling.begin()
        filling.add(sorted(sorted(part) for part in nx.weakly_connected_components(own)))
    return filling.phase


class _Filling:
    """Phases while they are filled."""

    def __init__(
        self,
        chain: Chain,
        weight: FloatArray,
        held_m3: FloatArray,
        limit: float,
        uphill: Sequence[tuple[int, int]],
    ) -> None:
        self.phase = np.zeros(weight.size, dtype=np.int64)
        self._chain, self._weight, self._held_m3, self._limit = chain, weight, held_m3, limit
        self._uphill: list[list[int]] = [[] for _ in range(weight.size)]
        for upper, lower in uphill:
            self._uphill[lower].append(upper)
        self._room: list[float] = []
        self._first = 1

    def begin(self) -> None:
        """Put what follows into phases of its own."""
        self._first = len(self._room) + 1

    def add(self, chains: list[list[int]]) -> None:
        """Place chains of swales, whole ones first."""
        whole: list[list[int]] = []
        heavier: list[list[int]] = []
        for own in chains:
            (whole if self._fits(self._total(own), self._limit) else heavier).append(own)
        for own in self._downhill(whole):
            # Those uphill that have no phase yet are heavier than one, or uphill and downhill both.
            above = [int(self.phase[upper]) for swale in own for upper in self._uphill[swale]]
            self._place(own, max([self._first, *above]))
        for own in self._downhill(heavier):
            for swale in self._upwards(own):
                below = [int(self.phase[spill.to_swale]) for spill in self._chain.spills[swale]]
                self._place([swale], max([self._first, *below]))

    def _downhill(self, chains: list[list[int]]) -> Iterator[list[int]]:
        """Chains, none before those uphill of it, else those worth most first."""
        number = {swale: k for k, own in enumerate(chains) for swale in own}
        graph: nx.DiGraph[int] = nx.DiGraph()
        graph.add_nodes_from(range(len(chains)))
        for lower, k in number.items():
            for upper in self._uphill[lower]:
                graph.add_edge(number.get(upper, k), k)
        # Chains that lie between each other's swales are uphill of each other: worth decides.
        groups = nx.condensation(graph)

        def by_worth(k: int) -> tuple[float, int]:
            return -self._worth(chains[k]), k

        members = [sorted(groups.nodes[group]["members"], key=by_worth) for group in groups]
        order = nx.lexicographical_topological_sort(
            groups, key=lambda group: by_worth(members[group][0])
        )
        for group in order:
            for k in members[group]:
                yield chains[k]

    def _upwards(self, own: list[int]) -> Iterator[int]:
        """Swales of a chain, each after all that it spills into, else those worth most first."""
        inside = set(own)
        above: dict[int, list[int]] = {swale: [] for swale in own}
        waits = dict.fromkeys(own, 0)
        for swale in own:
            for into in {spill.to_swale for spill in self._chain.spills[swale]} & inside:
                above[into].append(swale)
                waits[swale] += 1
        ready = [(-self._worth([swale]), swale) for swale in own if not waits[swale]]
        heapq.heapify(ready)
        while ready:
            _, swale = heapq.heappop(ready)
            yield swale
            for higher in above[swale]:
                waits[higher] -= 1
                if not waits[higher]:
                    heapq.heappush(ready, (-self._worth([higher]), higher))

    def _place(self, own: list[int], earliest: int) -> None:
        """Into the first phase that has room, or a new one."""
        weight = self._total(own)
        phase = earliest
        while phase <= len(self._room) and not self._fits(weight, self._room[phase - 1]):
            phase += 1
        if phase > len(self._room):
            self._room.append(self._limit)
        self._room[phase - 1] -= weight
        self.phase[own] = phase

    def _fits(self, weight: float, room: float) -> bool:
        return weight <= room + _ROUNDING * self._limit

    def _total(self, own: list[int]) -> float:
        return float(self._weight[own].sum())

    def _worth(self, own: list[int]) -> float:
        """Water held for the weight; all that weighs nothing is worth most."""
        weight = self._total(own)
        return float(self._held_m3[own].sum()) / weight if weight > 0.0 else np.inf


def _graph(chain: Chain) -> "nx.DiGraph[int]":
    graph: nx.DiGraph[int] = nx.DiGraph()
    graph.add_nodes_from(range(len(chain.spills)))
    graph.add_edges_from((spill.swale, spill.to_swale) for own in chain.spills for spill in own)
    return graph


def phases_given(given: Mapping[str, int], ids: Sequence[str]) -> IntArray:
    """Phases as the owner has drawn them up; swales that have none come after all others.

    Parameters
    ----------
    given : numbers from 1 by id
    ids : of the swales, in their order

    Returns
    -------
    (swales,) from 1
    """
    last = max(given.values(), default=0)
    return np.array([given.get(own, last + 1) for own in ids], dtype=np.int64)


def runs_into_later(chain: Chain, phase: IntArray) -> dict[int, list[int]]:
    """Swales whose overflow passes some that are dug in a later phase, with those, by index."""
    graph = _graph(chain)
    later = {
        swale: sorted(own for own in nx.descendants(graph, swale) if phase[own] > phase[swale])
        for swale in range(phase.size)
    }
    return {swale: own for swale, own in later.items() if own}


def fed_later(
    chain: Chain, phase: IntArray, uphill: Sequence[tuple[int, int]] = ()
) -> dict[int, list[int]]:
    """Swales that are dug before some whose water comes to them, with those, by index.

    Parameters
    ----------
    chain : Chain
    phase : (swales,) of each
    uphill : pairs of an upper and a lower swale, from `uphill_pairs`
    """
    graph = _graph(chain)
    graph.add_edges_from(uphill)
    later = {
        swale: sorted(own for own in nx.ancestors(graph, swale) if phase[own] > phase[swale])
        for swale in np.flatnonzero(phase < phase.max(initial=0)).tolist()
    }
    return {swale: own for swale, own in later.items() if own}
