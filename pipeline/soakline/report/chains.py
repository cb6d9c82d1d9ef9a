"""Swales by the chains that their spare water runs down."""

import re
from collections.abc import Mapping
from dataclasses import dataclass

import networkx as nx
import pandas as pd


@dataclass(frozen=True, slots=True)
class Chain:
    """Swales that spill into one another.

    Parameters
    ----------
    number : from 1
    swales : ids, those above before those below
    ends : where the chain's water goes in the end, in words
    """

    number: int
    swales: tuple[str, ...]
    ends: tuple[str, ...]


def chains_of(layers: Mapping[str, pd.DataFrame]) -> tuple[Chain, ...]:
    """Group the swales of a plan by their routes, in the order of the first swale of each."""
    swales = [str(i) for i in layers["swales"]["swale_id"]]
    order = {swale: place for place, swale in enumerate(swales)}
    routes = layers["overflow_routes"]
    graph: nx.DiGraph[str] = nx.DiGraph()
    graph.add_nodes_from(swales)
    inner = routes[(routes["to_kind"] == "swale") & routes["to_id"].isin(swales)]
    graph.add_edges_from(
        zip(inner["swale_id"].astype(str), inner["to_id"].astype(str), strict=True)
    )
    named = safe_names(layers["safe_points"])
    outer = routes[routes["to_kind"] != "swale"]
    ends: dict[str, list[str]] = {}
    for swale, kind, to_id in zip(outer["swale_id"], outer["to_kind"], outer["to_id"], strict=True):
        ends.setdefault(str(swale), []).append(end_in_words(kind, to_id, named))
    chains = []
    groups = sorted(
        nx.weakly_connected_components(graph), key=lambda group: min(order[i] for i in group)
    )
    for number, group in enumerate(groups, 1):
        own = graph.subgraph(group)
        if nx.is_directed_acyclic_graph(own):
            members = list(nx.lexicographical_topological_sort(own, key=order.__getitem__))
        else:  # an edited plan: still told, in the plan's order
            members = sorted(group, key=order.__getitem__)
        outlets = dict.fromkeys(end for swale in members for end in ends.get(swale, ()))
        chains.append(Chain(number, tuple(members), tuple(outlets)))
    return tuple(chains)


def safe_names(safe_points: pd.DataFrame) -> dict[str, str]:
    """Names of safe points by id, where they have one."""
    named = safe_points.dropna(subset=["name"])
    return dict(zip(named["safe_id"].astype(str), named["name"].astype(str), strict=True))


def end_in_words(to_kind: object, to_id: object, named: Mapping[str, str]) -> str:
    """What a route ends on.

    Examples
    --------
    >>> end_in_words("drainage_line", "L2", {}), end_in_words("property_edge", None, {})
    ('drainage line L2', "the property's edge")
    """
    if to_kind == "property_edge":
        return "the property's edge"
    name = named.get(str(to_id), "")
    kind = str(to_kind).replace("_", " ")
    return f"{kind} {to_id} ({name})" if name else f"{kind} {to_id}"


def anchor(swale_id: object) -> str:
    """Name of a swale's place in the page, of letters that any address may hold.

    Examples
    --------
    >>> anchor("S001"), anchor("a b")
    ('swale-S001', 'swale-a_20b')
    """
    return "swale-" + re.sub(r"[^A-Za-z0-9.-]", lambda found: f"_{ord(found[0]):x}", str(swale_id))
