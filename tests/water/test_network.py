"""The chain of swales: order, what passes down it, and the balance of every storm."""

import networkx as nx
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from soakline.grid import FloatArray
from soakline.inputs.types import RainTable
from soakline.water.balance import (
    StormBalance,
    SwaleWater,
    balance_storms,
    full_to_empty_h,
    peak_bound_m3s,
    peak_rates_m_s,
)
from soakline.water.curve_number import runoff_mm
from soakline.water.network import Chain, Spill, chain_of, passed_down
from soakline.water.storms import Storm, excess_duration_h, storms_for

RAIN = RainTable(
    np.array([5.0, 30.0, 120.0, 720.0]),
    ("10", "100"),
    np.array([[10.0, 16.0], [27.0, 44.0], [50.0, 83.0], [90.0, 150.0]]),
)
STORMS = storms_for(RAIN, 0, 1, "both")


@st.composite
def cascades(draw: st.DrawFn, most: int = 40) -> tuple[SwaleWater, list[Spill]]:
    """Swales that spill only to later ones, over one to three sills, or off the chain."""
    count = draw(st.integers(1, most))
    return random_cascade(count, draw(st.integers(0, 2**32 - 1)))


def random_cascade(count: int, seed: int) -> tuple[SwaleWater, list[Spill]]:
    random = np.random.default_rng(seed)
    water = SwaleWater(
        dry_m2=random.uniform(0.0, 30_000.0, count),
        ponded_m2=random.uniform(10.0, 1_200.0, count),
        capacity_m3=random.uniform(0.0, 500.0, count),
        soak_m3_h=random.uniform(1e-3, 8.0, count),
    )
    names = random.permutation(count)  # numbers say nothing of who lies higher
    spills = []
    for i in range(count):
        length = random.uniform(1.0, 30.0, random.integers(1, 4))
        for share in length / length.sum():
            other = int(random.integers(i + 1, count + 2)) if i + 1 < count else count
            to = int(names[other]) if other < count else -1
            spills.append(Spill(int(names[i]), to, float(share)))
    return water, spills


def assert_conserves(water: SwaleWater, chain: Chain, done: StormBalance) -> None:
    depth = np.array([storm.depth_mm for storm in STORMS])
    rain_on_water = water.ponded_m2[:, None] * depth / 1000.0
    inflow = done.runoff_m3 + rain_on_water + done.received_m3
    assert done.inflow_m3 == pytest.approx(inflow, rel=1e-6)
    left = done.stored_m3 + done.infiltrated_m3 + done.overflow_m3
    assert left == pytest.approx(done.inflow_m3, rel=1e-6, abs=1e-9)
    for part in (done.stored_m3, done.infiltrated_m3, done.overflow_m3):
        assert part.min() >= -1e-9
    assert np.all(done.stored_m3 <= water.capacity_m3[:, None] + 1e-6)
    # In total: what falls is kept, soaked in, or leaves the chain.
    stays = np.array([1.0 - sum(s.share for s in own) for own in chain.spills])
    leaves = (stays[:, None] * done.overflow_m3).sum(axis=0)
    kept = (done.stored_m3 + done.infiltrated_m3).sum(axis=0)
    came = (done.runoff_m3 + rain_on_water).sum(axis=0)
    assert kept + leaves == pytest.approx(came, rel=1e-6)


@given(cascades())
def test_water_is_conserved_in_every_swale_and_in_total(
    cascade: tuple[SwaleWater, list[Spill]],
) -> None:
    water, spills = cascade
    chain = chain_of(water.dry_m2.size, spills)
    assert_conserves(water, chain, balance_storms(STORMS, water, chain, 74.0))


def test_water_is_conserved_down_a_chain_of_2000_swales() -> None:
    water, spills = random_cascade(2000, 7)
    chain = chain_of(2000, spills)
    assert_conserves(water, chain, balance_storms(STORMS, water, chain, 74.0))


@given(cascades())
def test_every_swale_comes_before_all_that_it_spills_to(
    cascade: tuple[SwaleWater, list[Spill]],
) -> None:
    water, spills = cascade
    count = water.dry_m2.size
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
    cascade: tuple[SwaleWater, list[Spill]],
) -> None:
    water, spills = cascade
    chain = chain_of(water.dry_m2.size, spills)
    assert passed_down(chain, water.dry_m2) == pytest.approx(walked(spills, water.dry_m2))


@settings(deadline=None, max_examples=25)
@given(cascades(most=12), st.floats(40.0, 98.0))
def test_a_peak_never_exceeds_its_bound(
    cascade: tuple[SwaleWater, list[Spill]], number: float
) -> None:
    """Rain stepped through 72 s at a time: with nothing held back, no step brings more."""
    water, spills = cascade
    chain = chain_of(water.dry_m2.size, spills)
    bound = peak_bound_m3s(STORMS, water, chain, number)
    for s, storm in enumerate(STORMS):
        at = np.arange(0.0, storm.duration_min + 1.2, 1.2)
        fallen = storm.cumulative_depth_mm(at)
        shed, rained = np.diff(runoff_mm(fallen, number)), np.diff(fallen)
        own = (water.dry_m2[:, None] * shed + water.ponded_m2[:, None] * rained) / 1000.0 / 72.0
        through = np.array([passed_down(chain, step) for step in own.T])
        assert np.all(through <= bound[:, s] * (1.0 + 1e-3) + 1e-12)


def one_swale(**changes: float) -> SwaleWater:
    figures = {"dry_m2": 10_000.0, "ponded_m2": 300.0, "capacity_m3": 100.0, "soak_m3_h": 2.0}
    return SwaleWater(**{name: np.array([value]) for name, value in (figures | changes).items()})


def uniform_storm() -> Storm:
    return next(s for s in STORMS if s.storm_id == "design-120min-uniform")


def test_one_swale_in_one_storm_by_hand() -> None:
    """50 mm in 2 h on CN 74: 8.52 mm from 1 ha and 50 mm on 300 m² are 100.2 m³."""
    storm = uniform_storm()
    done = balance_storms((storm,), one_swale(capacity_m3=60.0), chain_of(1, []), 74.0)
    inflow = 10_000.0 * 8.5153 / 1000.0 + 300.0 * 0.050
    # Ground sheds from 0.2 S = 17.85 mm on, so over (1 − 17.85/50) of two hours.
    soaked = 2.0 * 2.0 * (1.0 - 17.8486 / 50.0)
    assert done.inflow_m3[0, 0] == pytest.approx(inflow, abs=0.01)
    assert done.infiltrated_m3[0, 0] == pytest.approx(soaked, abs=0.001)
    assert done.overflow_m3[0, 0] == pytest.approx(inflow - soaked - 60.0, abs=0.01)
    assert done.stored_m3[0, 0] == pytest.approx(60.0)


def test_no_more_soaks_in_than_has_come() -> None:
    storm = uniform_storm()
    done = balance_storms((storm,), one_swale(soak_m3_h=1e4), chain_of(1, []), 74.0)
    assert done.infiltrated_m3 == pytest.approx(done.inflow_m3)
    assert done.overflow_m3[0, 0] == done.stored_m3[0, 0] == 0.0


def test_a_storm_below_the_initial_abstraction_brings_only_the_rain_on_the_water() -> None:
    done = balance_storms((uniform_storm(),), one_swale(), chain_of(1, []), 40.0)
    assert excess_duration_h(uniform_storm(), 40.0) == 0.0
    assert done.runoff_m3[0, 0] == 0.0
    assert done.inflow_m3[0, 0] == pytest.approx(15.0)
    assert done.infiltrated_m3[0, 0] == 0.0


def test_the_bound_of_one_swale_is_its_rates_times_its_areas() -> None:
    dry, wet = peak_rates_m_s(STORMS, 74.0)
    bound = peak_bound_m3s(STORMS, one_swale(), chain_of(1, []), 74.0)[0]
    assert bound == pytest.approx(10_000.0 * dry + 300.0 * wet)


def test_rates_are_those_of_the_72_s_that_bring_most() -> None:
    """Of steady rain the last 72 s: 50 mm in 2 h on CN 74."""
    dry, wet = peak_rates_m_s((uniform_storm(),), 74.0)
    last_mm = runoff_mm(50.0, 74.0) - runoff_mm(50.0 * (1.0 - 72.0 / 7200.0), 74.0)
    assert dry == pytest.approx(float(last_mm) / 1000.0 / 72.0)
    assert wet == pytest.approx(0.050 / 7200.0)


def test_time_to_empty_is_depth_over_rate_for_an_upright_trench() -> None:
    """100 m³ over 2 m³/h: 50 h."""
    assert full_to_empty_h(one_swale()).tolist() == [50.0]
