"""The chain of swales: order, and what passes down it."""

import networkx as nx
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from soakline.grid import FloatArray
from soakline.water.network import Spill, chain_of, passed_down


@st.composite
def cascades(draw: st.DrawFn, most: int = 40) -> tuple[FloatArray, list[Spill]]:
    """Swales that spill only to later ones, over one to three sills, or off the chain."""
    count = draw(st.integers(1, most))
    return random_cascade(count, draw(st.integers(0, 2**32 - 1)))


def random_cascade(count: int, seed: int) -> tuple[FloatArray, list[Spill]]:
    random = np.random.default_rng(seed)
    own = random.uniform(0.0, 30_000.0, count)
    names = random.permutation(count)  # numbers say nothing of who lies higher
    spills = []
    for i in range(count):
        length = random.uniform(1.0, 30.0, random.integers(1, 4))
        for share in length / length.sum():
            other = int(random.integers(i + 1, count + 2)) if i + 1 < count else count
            to = int(names[other]) if other < count else -1
            spills.append(Spill(int(names[i]), to, float(share)))
    return own, spills


@given(cascades())
def test_every_swale_comes_before_all_that_it_spills_to(
    cascade: tuple[FloatArray, list[Spill]],
) -> None:
    own, spills = cascade
    count = own.size
    chain = chain_of(count, spills)
    assert sorted(chain.order) == list(range(count))
    graph = nx.DiGraph([(s.swale, s.to_swale) for s in spills if s.to_swale >= 0])
    assert nx.is_directed_acyclic_graph(graph)
    place = {swale: at for at, swale in enumerate(chain.order)}
    assert all(place[one] < place[other] for one, other in graph.edges)


@pytest.mark.parametrize(
    "circle", [[(0, 0)], [(0, 1), (1, 0)], [(0, 1), (1, 2), (2, 0)]], ids=["1", "2", "3"]
)
def test_overflow_in_a_circle_is_a_defect(circle: list[tuple[int, int]]) -> None:
    with pytest.raises(ValueError, match="circle"):
        chain_of(3, [Spill(one, other, 1.0) for one, other in circle])


def walked(spills: list[Spill], own: FloatArray) -> FloatArray:
    """Each swale's own share followed down every way by itself."""
    total = np.zeros_like(own)

    def follow(swale: int, amount: float) -> None:
        total[swale] += amount
        for spill in spills:
            if spill.swale == swale and spill.to_swale >= 0:
                follow(spill.to_swale, spill.share * amount)

    for swale, amount in enumerate(own):
        follow(swale, float(amount))
    return total


@settings(deadline=None, max_examples=40)
@given(cascades(most=9))
def test_what_passes_down_is_the_sum_over_all_ways(
    cascade: tuple[FloatArray, list[Spill]],
) -> None:
    own, spills = cascade
    chain = chain_of(own.size, spills)
    assert passed_down(chain, own) == pytest.approx(walked(spills, own))
