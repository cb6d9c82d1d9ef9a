"""The graph of swales and ends: who spills where, and in which share."""

from dataclasses import dataclass

import networkx as nx
import numpy as np

from soakline.grid import FloatArray


@dataclass(frozen=True, eq=False, slots=True)
class Spill:
    """Part of a swale's overflow that leaves over one sill.

    Parameters
    ----------
    swale : index of the swale that spills
    to_swale : index of the swale that receives it; −1 where it ends elsewhere
    share : of the swale's overflow, 0 to 1
    """

    swale: int
    to_swale: int
    share: float


@dataclass(frozen=True, eq=False, slots=True)
class Chain:
    """Swales in the order that water passes them.

    Parameters
    ----------
    order : swale indices, each before all that it spills to
    spills : for each swale, its spills into other swales
    """

    order: tuple[int, ...]
    spills: tuple[tuple[Spill, ...], ...]


def chain_of(swales: int, spills: list[Spill]) -> Chain:
    """Order swales from the top of the chain down.

    Parameters
    ----------
    swales : how many there are
    spills : every part of every overflow

    Returns
    -------
    Chain

    Raises
    ------
    ValueError
        If water could come back to where it was.
    """
    graph: nx.DiGraph[int] = nx.DiGraph()
    graph.add_nodes_from(range(swales))
    own: list[list[Spill]] = [[] for _ in range(swales)]
    for spill in spills:
        if spill.to_swale >= 0:
            graph.add_edge(spill.swale, spill.to_swale)
            own[spill.swale].append(spill)
    if not nx.is_directed_acyclic_graph(graph):
        raise ValueError("overflow runs in a circle")
    order = tuple(nx.lexicographical_topological_sort(graph))
    return Chain(order, tuple(tuple(s) for s in own))


def passed_down(chain: Chain, own: FloatArray) -> FloatArray:
    """Sum of each swale's own quantity and all that can spill into it.

    Parameters
    ----------
    chain : Chain
    own : (swales,) or (swales, k)

    Returns
    -------
    same shape
    """
    total = np.array(own, dtype=float)
    for swale in chain.order:
        for spill in chain.spills[swale]:
            total[spill.to_swale] += spill.share * total[swale]
    return total
