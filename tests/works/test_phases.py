"""Phases and build order of chains drawn at random: what is built is safe at every step."""

import networkx as nx
import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given
from hypothesis import strategies as st

from soakline.water.network import Chain, Spill, chain_of
from soakline.works.phases import build_order, fed_later, phases_of, safe_throughout

IntArray = npt.NDArray[np.int64]


def chain(swales: int, *spills: tuple[int, int]) -> Chain:
    return chain_of(swales, [Spill(swale, into, 1.0) for swale, into in spills])


def spills_of(own: Chain) -> list[tuple[int, int]]:
    return [(spill.swale, spill.to_swale) for spills in own.spills for spill in spills]


class Hill:
    """Swales in levels, spills and runoff that only go down, a few swales without a safe end."""

    def __init__(self, swales: int, seed: int) -> None:
        random = np.random.default_rng(seed)
        names = random.permutation(swales)  # numbers say nothing of who lies higher
        self.level_m = np.zeros(swales)
        self.level_m[names] = -np.sort(random.integers(0, max(1, swales // 3), swales))
        spread = random.choice([0.1, 0.5, 1.5])

        def pairs() -> list[tuple[int, int]]:
            count = int(spread * swales)
            two = np.sort(random.integers(0, swales, (count, 2)), axis=1)
            return [
                (int(names[high]), int(names[low]))
                for high, low in two
                if self.level_m[names[high]] > self.level_m[names[low]]
            ]

        self.chain = chain(swales, *pairs())
        self.uphill = sorted(set(pairs()))
        self.sound = safe_throughout(self.chain, random.random(swales) > random.choice([0.0, 0.1]))
        self.weight = random.choice([0.0, 1.0, 2.5, 7.0], swales) * random.uniform(0.5, 1.0, swales)
        self.held_m3 = random.uniform(0.0, 100.0, swales)
        self.limit = float(random.uniform(0.5, 20.0))

    def phases(self) -> IntArray:
        return phases_of(self.chain, self.sound, self.weight, self.held_m3, self.limit, self.uphill)


hills = st.builds(Hill, st.integers(1, 40), st.integers(0, 2**32 - 1))


@given(hills)
def test_each_phase_with_those_before_it_holds_all_that_its_swales_spill_into(hill: Hill) -> None:
    phase = hill.phases()
    graph = nx.DiGraph(spills_of(hill.chain))
    graph.add_nodes_from(range(phase.size))
    for last in range(1, int(phase.max()) + 1):
        built = set(np.flatnonzero(phase <= last).tolist())
        for swale in built:
            assert nx.descendants(graph, swale) <= built


@given(hills)
def test_no_phase_is_empty_or_over_its_limit_but_for_one_swale_too_heavy(hill: Hill) -> None:
    phase = hill.phases()
    assert set(phase.tolist()) == set(range(1, int(phase.max()) + 1))
    for number in range(1, int(phase.max()) + 1):
        own = phase == number
        assert hill.weight[own].sum() <= hill.limit * (1 + 1e-6) or own.sum() == 1


@given(hills)
def test_swales_without_a_safe_end_share_no_phase_with_the_others_nor_come_before_them(
    hill: Hill,
) -> None:
    phase = hill.phases()
    last_safe = phase[hill.sound].max(initial=0)
    assert (phase[~hill.sound] > last_safe).all()


@given(hills)
def test_order_goes_phase_by_phase_and_in_each_from_the_top_down(hill: Hill) -> None:
    phase = hill.phases()
    order = build_order(hill.chain, hill.level_m, phase)
    assert sorted(order) == list(range(1, order.size + 1))
    in_order = np.argsort(order)
    assert (np.diff(phase[in_order]) >= 0).all()
    for number in np.unique(phase):
        own = in_order[phase[in_order] == number]
        assert (np.diff(hill.level_m[own]) <= 0).all()
    for upper, lower in spills_of(hill.chain):
        assert order[upper] < order[lower] or phase[upper] > phase[lower]


@given(hills)
def test_a_chain_that_fits_a_phase_is_never_split(hill: Hill) -> None:
    phase = hill.phases()
    graph = nx.Graph(spills_of(hill.chain))
    graph.add_nodes_from(range(phase.size))
    for kind in (hill.sound, ~hill.sound):
        for part in nx.connected_components(graph.subgraph(np.flatnonzero(kind).tolist())):
            own = sorted(part)
            if hill.weight[own].sum() <= hill.limit:
                assert len(set(phase[own])) == 1


@given(hills)
def test_every_swale_dug_before_one_whose_water_comes_to_it_is_named(hill: Hill) -> None:
    phase = hill.phases()
    told = fed_later(hill.chain, phase, hill.uphill)
    for upper, lower in [*spills_of(hill.chain), *hill.uphill]:
        assert (upper in told.get(lower, [])) == (phase[upper] > phase[lower])


@given(hills)
def test_single_swales_that_fit_a_phase_are_dug_no_sooner_than_those_uphill(hill: Hill) -> None:
    alone, limit = chain(hill.weight.size), max(1.0, float(hill.weight.max()))
    phase = phases_of(alone, hill.sound | True, hill.weight, hill.held_m3, limit, hill.uphill)
    assert all(phase[upper] <= phase[lower] for upper, lower in hill.uphill)
    assert fed_later(alone, phase, hill.uphill) == {}


def test_single_swales_are_dug_from_the_top_of_the_hill_though_lower_ones_hold_more() -> None:
    alone = chain(3)
    ones, held = np.ones(3), np.array([10.0, 20.0, 30.0])
    safe = np.ones(3, dtype=bool)
    assert phases_of(alone, safe, ones, held, 1.0, [(0, 1), (1, 2)]).tolist() == [1, 2, 3]
    # Where none lies above another, the one that holds most comes first.
    assert phases_of(alone, safe, ones, held, 1.0).tolist() == [3, 2, 1]


def test_a_chain_heavier_than_a_phase_is_begun_at_its_lower_end() -> None:
    down = chain(4, (0, 1), (1, 2), (2, 3))
    phase = phases_of(down, np.ones(4, dtype=bool), np.ones(4), np.ones(4), 2.0)
    assert phase.tolist() == [2, 2, 1, 1]
    assert fed_later(down, phase) == {2: [0, 1], 3: [0, 1]}


def test_what_spills_into_an_unsafe_swale_is_unsafe_all_the_way_up() -> None:
    down = chain(4, (0, 1), (1, 2), (0, 3))
    safe = np.array([True, True, False, True])
    assert safe_throughout(down, safe).tolist() == [False, False, False, True]


@pytest.mark.parametrize("limit", [0.5, 100.0])
def test_a_plan_without_swales_has_no_phases(limit: float) -> None:
    none = np.zeros(0)
    phase = phases_of(chain(0), none.astype(bool), none, none, limit)
    assert phase.size == 0
    assert build_order(chain(0), none, phase).size == 0
    assert fed_later(chain(0), phase) == {}
