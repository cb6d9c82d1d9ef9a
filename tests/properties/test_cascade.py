"""What holds for every chain of level pools and every storm."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from soakline.grid import FloatArray
from soakline.water.cascade import StormRouting, route_storm
from soakline.water.network import Chain, Spill, chain_of
from soakline.water.pools import pools_of
from tests.water.level_pools import COEFFICIENT, STEP_S, Cascade, random_cascade

cascades = st.builds(random_cascade, st.integers(1, 40), st.integers(0, 2**32 - 1))


def routed(cascade: Cascade, share: float = 1.0) -> StormRouting:
    inflow = cascade.inflow_m3 * share
    return route_storm(
        cascade.pools, cascade.chain, cascade.travel_s, inflow, STEP_S, cascade.rain_s
    )


def passed_on(chain: Chain, values: FloatArray) -> FloatArray:
    """Sum of what each swale's direct neighbours above send it."""
    total = np.zeros_like(values)
    for own in chain.spills:
        for spill in own:
            total[spill.to_swale] += spill.share * values[spill.swale]
    return total


def assert_conserves(cascade: Cascade, done: StormRouting) -> None:
    own = cascade.inflow_m3.sum(axis=1)
    assert done.inflow_m3 == pytest.approx(own + done.received_m3, rel=1e-6)
    kept = done.stored_m3 + done.infiltrated_m3
    assert kept + done.overflow_m3 == pytest.approx(done.inflow_m3, rel=1e-6, abs=1e-12)
    # All that is sent arrives.
    assert done.received_m3 == pytest.approx(
        passed_on(cascade.chain, done.overflow_m3), rel=1e-6, abs=1e-12
    )
    stays = np.array([1.0 - sum(s.share for s in spills) for spills in cascade.chain.spills])
    leaves = (stays * done.overflow_m3).sum()
    assert kept.sum() + leaves == pytest.approx(own.sum(), rel=1e-6)
    for part in (done.stored_m3, done.infiltrated_m3, done.overflow_m3, done.received_m3):
        assert part.min() >= 0.0


@given(cascades, st.floats(0.0, 20.0))
def test_water_is_conserved_in_every_swale_and_in_total(cascade: Cascade, share: float) -> None:
    done = routed(cascade, share)
    storm = Cascade(
        cascade.pools,
        cascade.chain,
        cascade.travel_s,
        cascade.inflow_m3 * share,
        cascade.rain_s,
    )
    assert_conserves(storm, done)


def test_water_is_conserved_down_a_chain_of_2000_swales() -> None:
    cascade = random_cascade(2000, 11)
    assert_conserves(cascade, routed(cascade))


@given(cascades, st.floats(0.0, 4.0), st.floats(1.0, 5.0))
def test_more_inflow_lowers_no_figure_of_any_swale(
    cascade: Cascade, share: float, growth: float
) -> None:
    less, more = routed(cascade, share), routed(cascade, share * growth)
    for name in ("received_m3", "inflow_m3", "overflow_m3", "peak_spill_m3s", "max_depth_m"):
        low, high = getattr(less, name), getattr(more, name)
        assert np.all(high >= low * (1.0 - 1e-9) - 1e-12), name
    assert more.ended_s >= less.ended_s


@given(cascades, st.integers(0, 2**32 - 1))
def test_more_inflow_anywhere_at_any_time_lowers_no_figure(cascade: Cascade, seed: int) -> None:
    random = np.random.default_rng(seed)
    added = cascade.inflow_m3.mean() * random.random(cascade.inflow_m3.shape)
    added *= random.random(cascade.inflow_m3.shape) < 0.1
    less = routed(cascade)
    more = route_storm(
        cascade.pools,
        cascade.chain,
        cascade.travel_s,
        cascade.inflow_m3 + added,
        STEP_S,
        cascade.rain_s,
    )
    for name in ("received_m3", "inflow_m3", "overflow_m3", "peak_spill_m3s", "max_depth_m"):
        low, high = getattr(less, name), getattr(more, name)
        assert np.all(high >= low * (1.0 - 1e-9) - 1e-12), name


@given(cascades, st.floats(0.1, 20.0))
def test_no_pool_spills_faster_than_water_can_come(cascade: Cascade, share: float) -> None:
    done = routed(cascade, share)
    own = share * cascade.inflow_m3.max(axis=1) / STEP_S
    bound = own + passed_on(cascade.chain, done.peak_spill_m3s)
    assert np.all(done.peak_spill_m3s <= bound * (1.0 + 1e-9) + 1e-12)


@given(cascades)
def test_level_peak_and_overflow_go_together(cascade: Cascade) -> None:
    done = routed(cascade)
    spills = done.overflow_m3 > 0.0
    head = np.maximum(done.max_depth_m - cascade.pools.full_depth_m, 0.0)
    weir = COEFFICIENT * cascade.pools.sill_m
    assert done.peak_spill_m3s == pytest.approx(weir * head**1.5, rel=1e-6, abs=1e-9)
    assert np.all(done.peak_spill_m3s[~spills] == 0.0)
    assert np.all(done.overflow_m3 <= done.peak_spill_m3s * done.ended_s * (1.0 + 1e-9) + 1e-12)


@settings(max_examples=40)
@given(cascades, st.integers(0, 2**32 - 1))
def test_the_order_in_which_swales_are_told_changes_nothing(cascade: Cascade, seed: int) -> None:
    count = cascade.pools.full_m3.size
    new = np.random.default_rng(seed).permutation(count)  # new[i] is what i is called now
    old = np.argsort(new)
    spills = [
        (Spill(int(new[s.swale]), int(new[s.to_swale]), s.share), travel)
        for s, travel in zip(
            [s for own in cascade.chain.spills for s in own], cascade.travel_s, strict=True
        )
    ]
    spills.sort(key=lambda pair: pair[0].swale)
    pools, trough = cascade.pools, cascade.pools.trough
    renamed = pools_of(
        trough.base_width_m[old],
        pools.full_depth_m[old],
        trough.batter[old],
        (trough.base_length_m + 2.0 * trough.batter * pools.full_depth_m)[old],
        pools.full_depth_m[old],
        pools.ponded_m2[old],
        3600.0 * pools.soak_m_s[old],
        pools.sill_m[old],
        COEFFICIENT,
    )
    other = route_storm(
        renamed,
        chain_of(count, [spill for spill, _ in spills]),
        np.array([travel for _, travel in spills]),
        cascade.inflow_m3[old],
        STEP_S,
        cascade.rain_s,
    )
    done = routed(cascade)
    for name in StormRouting.__slots__:
        one, two = getattr(done, name), getattr(other, name)
        assert (two[new] if two.ndim else two) == pytest.approx(one, rel=1e-8, abs=1e-10), name


@given(cascades)
def test_two_runs_are_alike_to_the_bit(cascade: Cascade) -> None:
    one, two = routed(cascade), routed(cascade, 1.0)
    for name in StormRouting.__slots__:
        assert np.array_equal(getattr(one, name), getattr(two, name))
