"""The order in which water is passed on."""

import networkx as nx
import pytest
from hypothesis import given
from hypothesis import strategies as st

from soakline.order import from_the_top


@given(st.lists(st.tuples(st.integers(0, 12), st.integers(0, 12)), max_size=40))
def test_the_order_is_the_lexical_one_of_a_graph_library(ways: list[tuple[int, int]]) -> None:
    onward: list[list[int]] = [[] for _ in range(13)]
    for one, other in ways:
        onward[one].append(other)
    graph = nx.DiGraph(ways)
    graph.add_nodes_from(range(13))
    if nx.is_directed_acyclic_graph(graph):
        assert from_the_top(onward) == tuple(nx.lexicographical_topological_sort(graph))
    else:
        with pytest.raises(ValueError, match="circle"):
            from_the_top(onward)
