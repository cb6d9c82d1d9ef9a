"""Storms down a chain of level pools: by hand, beside scipy, and what is refused."""

import os

import numpy as np
import pytest

from soakline.grid import FloatArray
from soakline.water.cascade import StormRouting, chain_arrays, route_storm, route_storms
from soakline.water.network import Spill, chain_of
from soakline.water.pools import Pools, emptying_h, full_to_empty_h, pools_of
from tests.water.level_pools import (
    COEFFICIENT,
    STEP_S,
    hydrograph_m3s,
    pool,
    random_cascade,
    random_pools,
    reservoirs_in_series,
    steady_by_step,
)

ALONE = chain_of(1, [])
NO_WAYS = np.zeros(0)


def alike(count: int, **figures: float) -> Pools:
    """Several pools of one kind."""
    one = {
        "base_width_m": 1.5,
        "depth_m": 0.5,
        "batter": 1.5,
        "length_m": 100.0,
        "full_depth_m": 0.5,
        "ponded_m2": 300.0,
        "soak_m_h": 0.0,
        "sill_m": 10.0,
    } | figures
    return pools_of(*(np.full(count, value) for value in one.values()), COEFFICIENT)


def in_steps(volume_m3: float, steps: int) -> FloatArray:
    return np.full((1, steps), volume_m3 / steps)


def test_a_storm_that_the_pool_holds_is_stored_and_soaked_in() -> None:
    """Sides and ends upright: soaking over the hour between base alone and all wetted."""
    pools = pool(2.0, 0.5, 0.0, 50.0, soak_m_h=0.01)
    done = route_storm(pools, ALONE, NO_WAYS, in_steps(40.0, 50), STEP_S, 50 * STEP_S)
    assert done.overflow_m3[0] == done.peak_spill_m3s[0] == done.received_m3[0] == 0.0
    assert done.inflow_m3[0] == pytest.approx(40.0)
    assert 0.01 * 100.0 < done.infiltrated_m3[0] < 0.01 * (100.0 + 104.0 * 0.4)
    assert done.stored_m3[0] == pytest.approx(40.0 - done.infiltrated_m3[0])
    assert done.max_depth_m[0] == pytest.approx(done.stored_m3[0] / 100.0)
    assert done.ended_s == 3600.0


def test_a_full_pool_that_does_not_soak_passes_on_the_rest() -> None:
    pools = pool()
    volume = 3.0 * pools.full_m3[0]
    done = route_storm(pools, ALONE, NO_WAYS, in_steps(volume, 50), STEP_S, 50 * STEP_S)
    # What is left spills under 1e-6 m³/s: less than half a millimetre over the sill.
    assert pools.full_m3[0] < done.stored_m3[0] < pools.full_m3[0] + 0.0005 * pools.ponded_m2[0]
    assert done.overflow_m3[0] == pytest.approx(volume - done.stored_m3[0])
    assert done.infiltrated_m3[0] == 0.0
    assert done.ended_s > 3600.0


def test_drain_down_counts_from_the_end_of_rain_to_empty() -> None:
    """Upright, filled at once: the closed form from the depth that the rain leaves."""
    base, length, rate = 2.0, 50.0, 0.02
    pools = pool(base, 0.5, 0.0, length, soak_m_h=rate)
    inflow = np.zeros((1, 50))
    inflow[0, 0] = 30.0
    done = route_storm(pools, ALONE, NO_WAYS, inflow, STEP_S, 50 * STEP_S)
    sides = 2.0 * (base + length) / (base * length)
    after_rain = np.log1p(sides * done.stored_m3[0] / (base * length)) / (sides * rate)
    assert done.ended_s == 3600.0
    assert done.drain_down_h[0] == pytest.approx(after_rain, rel=1e-9)
    whole = np.log1p(sides * 30.0 / (base * length)) / (sides * rate)
    assert done.drain_down_h[0] == pytest.approx(whole - 1.0, abs=STEP_S / 3600.0)


def test_drain_down_goes_on_below_the_sill_while_others_still_spill() -> None:
    """Two fast ones above a slow one: each tells its own time, though routing ends for all."""
    soak_m_h = np.array([2.0, 0.001])
    pools = pools_of(
        np.full(2, 1.5),
        np.full(2, 0.5),
        np.full(2, 1.5),
        np.full(2, 100.0),
        np.full(2, 0.5),
        np.full(2, 300.0),
        soak_m_h,
        np.array([10.0, 0.2]),
        COEFFICIENT,
    )
    inflow = np.array([[2.0], [5.0]]) * pools.full_m3[:, None] / 10.0 * np.ones((2, 10))
    done = route_storm(pools, chain_of(2, []), NO_WAYS, inflow, STEP_S, 10 * STEP_S)
    assert done.stored_m3[0] == 0.0
    assert done.stored_m3[1] > 0.99 * pools.full_m3[1]
    assert 0.0 < done.drain_down_h[0] < done.ended_s / 3600.0 - 0.2
    assert done.drain_down_h[0] == pytest.approx(full_to_empty_h(pools)[0], rel=0.2)
    after_routing = emptying_h(pools, done.stored_m3)[1]
    assert done.drain_down_h[1] - after_routing == pytest.approx((done.ended_s - 720.0) / 3600.0)


def test_each_sill_passes_on_its_share() -> None:
    spills = [Spill(0, 1, 0.25), Spill(0, 2, 0.5), Spill(0, -1, 0.25)]
    inflow = np.zeros((3, 20))
    inflow[0] = 30.0
    pools = alike(3)
    done = route_storm(
        pools, chain_of(3, spills), np.array([0.0, 100.0]), inflow, STEP_S, 20 * STEP_S
    )
    assert done.overflow_m3[0] > 0.0
    assert done.received_m3 == pytest.approx(done.overflow_m3[0] * np.array([0.0, 0.25, 0.5]))


def test_water_under_way_arrives_later_by_its_travel_time() -> None:
    """A lower pool that soaks nothing and spills starts to when the first water reaches it."""
    chain = chain_of(2, [Spill(0, 1, 1.0)])
    pools = alike(2, length_m=20.0, ponded_m2=60.0)
    inflow = np.zeros((2, 10))
    inflow[0] = 12.0
    inflow[1, 0] = pools.full_m3[1]  # stands at its sill
    at_once, later = (
        route_storm(pools, chain, np.array([travel_s]), inflow, STEP_S, 10 * STEP_S)
        for travel_s in (0.0, 100.0 * STEP_S)
    )
    assert later.received_m3 == pytest.approx(at_once.received_m3, rel=1e-4)
    assert later.peak_spill_m3s == pytest.approx(at_once.peak_spill_m3s, rel=1e-9)
    assert later.ended_s - at_once.ended_s == pytest.approx(100.0 * STEP_S, abs=2.0 * STEP_S)


def test_peaks_that_arrive_apart_do_not_add() -> None:
    spills = [Spill(0, 2, 1.0), Spill(1, 2, 1.0)]
    pools = alike(3, length_m=20.0, ponded_m2=60.0)
    inflow = np.zeros((3, 10))
    inflow[:2] = 30.0

    def peak_m3s(travel_s: float) -> float:
        ways = np.array([20.0, travel_s])
        done = route_storm(pools, chain_of(3, spills), ways, inflow, STEP_S, 10 * STEP_S)
        assert done.received_m3[2] == pytest.approx(done.overflow_m3[:2].sum(), rel=1e-9)
        return float(done.peak_spill_m3s[2])

    assert peak_m3s(20.0) == pytest.approx(2.0 * peak_m3s(20_000.0), rel=0.01)
    assert peak_m3s(20.0) > peak_m3s(690.0) > peak_m3s(20_000.0)


def test_a_travel_time_is_split_between_the_quarters_of_a_step_that_it_ends_in() -> None:
    spills = [Spill(1, 0, 0.5), Spill(1, 2, 0.5), Spill(0, 2, 1.0)]
    arrays = chain_arrays(chain_of(3, spills), np.array([0.0, 36.0, 725.0]), STEP_S)
    assert arrays.order.tolist() == [1, 0, 2]
    assert arrays.first.tolist() == [0, 2, 3, 3]
    assert arrays.to.tolist() == [1, 2, 2]
    assert arrays.whole.tolist() == [2, 40, 0]
    assert arrays.later == pytest.approx([0.0, 5.0 / 18.0, 0.0])


def test_the_pool_below_runs_dry_later_by_the_time_under_way() -> None:
    chain = chain_of(2, [Spill(0, 1, 1.0)])
    inflow = np.zeros((2, 300))
    inflow[0, :10] = 30.0

    def drain_down_s(travel_s: float, into: int = 1) -> float:
        pools = alike(2, soak_m_h=2.0)
        finer = np.repeat(inflow / into, into, axis=1)
        ways = np.array([travel_s])
        done = route_storm(pools, chain, ways, finer, STEP_S / into, 10 * STEP_S)
        assert done.stored_m3[1] == 0.0
        return 3600.0 * float(done.drain_down_h[1])

    assert drain_down_s(1000.0) - drain_down_s(720.0) == pytest.approx(280.0, abs=1.0)
    # Told to the second within the step, so that a finer step tells the same.
    assert drain_down_s(720.0, into=4) == pytest.approx(drain_down_s(720.0), abs=3.0)


def test_a_pool_runs_dry_under_a_trickle_that_its_base_soaks_up() -> None:
    """Upright; the trickle from above is steady, so the depth falls exponentially to a balance."""
    base, length, rate, trickle = 2.0, 50.0, 0.2 / 3600.0, 0.001
    pools = pools_of(
        *(np.full(2, one) for one in (base, 0.5, 0.0, length, 0.5, base * length)),
        np.array([0.0, 3600.0 * rate]),
        np.full(2, 10.0),
        COEFFICIENT,
    )
    inflow = np.full((2, 200), trickle * STEP_S)
    inflow[0, 0] = pools.full_m3[0]  # stands at its sill
    inflow[1, 0], inflow[1, 1:] = 30.0, 0.0
    done = route_storm(pools, chain_of(2, [Spill(0, 1, 1.0)]), np.zeros(1), inflow, STEP_S, STEP_S)
    sides_per_m3 = rate * 2.0 * (base + length) / (base * length)
    net = rate * base * length - trickle
    # From the end of the first step on, less what the upper pool keeps standing over its sill.
    kept_m3 = base * length * (trickle / (10.0 * COEFFICIENT)) ** (2.0 / 3.0)
    left_m3 = 30.0 - STEP_S * (rate * base * length + sides_per_m3 * 15.0) - kept_m3
    expected_s = np.log1p(sides_per_m3 * left_m3 / net) / sides_per_m3
    assert done.drain_down_h[1] * 3600.0 == pytest.approx(expected_s, abs=5.0)


def test_emptying_is_counted_from_the_moment_that_rain_ends_not_from_the_step() -> None:
    pools = pool(2.0, 0.5, 0.0, 50.0, soak_m_h=0.01)
    given = (pools, ALONE, NO_WAYS, in_steps(40.0, 50), STEP_S)
    by_step, before = (route_storm(*given, rain_s) for rain_s in (50 * STEP_S, 49.4 * STEP_S))
    later_s = 3600.0 * (before.drain_down_h - by_step.drain_down_h)
    assert later_s == pytest.approx(0.6 * STEP_S, abs=1e-6)


def series_of_two(seed: int, head_m: tuple[float, float] = (0.05, 0.3)) -> tuple[Pools, FloatArray]:
    """Two pools and hydrographs, at every 12 s, that fill both and run about so far over sills."""
    random = np.random.default_rng(seed)
    pools = random_pools(2, random)
    times_s = np.arange(0.0, 14_400.0, 12.0) + 6.0
    burst_s = float(random.choice([600.0, 1800.0, 3600.0]))
    rate = np.array([hydrograph_m3s(times_s, burst_s, random.uniform(360.0, 900.0)) for _ in "01"])
    rate *= (pools.full_m3 * random.uniform(2.0, 5.0, 2))[:, None]
    peaks = rate.max(axis=1)
    peaks[1] += peaks[0]
    sill = peaks / (COEFFICIENT * random.uniform(*head_m, 2) ** 1.5)
    return random_pools(2, np.random.default_rng(seed), sill), rate


@pytest.mark.parametrize("head_m", [(0.005, 0.03), (0.05, 0.3)])
@pytest.mark.parametrize("seed", range(12))
def test_peaks_and_volumes_of_two_in_series_are_those_of_scipy(
    seed: int, head_m: tuple[float, float]
) -> None:
    """The upper one stands for pools alone. LSODA at 1e-8 on the reservoir equation itself."""
    pools, rate = series_of_two(seed, head_m)
    inflow = steady_by_step(rate)
    done = route_storm(
        pools, chain_of(2, [Spill(0, 1, 1.0)]), np.zeros(1), inflow, STEP_S, 50 * STEP_S
    )
    steps = min(int(done.ended_s / STEP_S), 260)
    twin = reservoirs_in_series(pools, inflow, steps)
    assert np.all(done.overflow_m3 > 0.1 * pools.full_m3)
    assert done.peak_spill_m3s == pytest.approx(twin.peak_m3s, rel=0.005)
    assert done.overflow_m3 == pytest.approx(twin.overflow_m3, rel=0.005)
    if steps * STEP_S == done.ended_s:
        assert done.infiltrated_m3 == pytest.approx(twin.infiltrated_m3, rel=0.005)
        assert done.stored_m3 == pytest.approx(twin.stored_m3, rel=0.005)


@pytest.mark.parametrize("seed", range(40))
def test_halving_the_step_changes_little(seed: int) -> None:
    pools, rate = series_of_two(seed)
    inflow = steady_by_step(rate)
    chain = chain_of(2, [Spill(0, 1, 1.0)])
    whole = route_storm(pools, chain, np.full(1, 100.0), inflow, STEP_S, 50 * STEP_S)
    halved = np.repeat(inflow / 2.0, 2, axis=1)
    half = route_storm(pools, chain, np.full(1, 100.0), halved, STEP_S / 2.0, 50 * STEP_S)
    assert half.peak_spill_m3s == pytest.approx(whole.peak_spill_m3s, rel=0.01)
    assert half.overflow_m3 == pytest.approx(whole.overflow_m3, rel=0.01)
    assert half.max_depth_m == pytest.approx(whole.max_depth_m, rel=0.01)


def figures(done: StormRouting) -> dict[str, FloatArray]:
    return {name: getattr(done, name) for name in StormRouting.__slots__}


def test_storms_routed_at_once_are_those_routed_one_by_one_to_the_bit() -> None:
    cascade = random_cascade(40, 3)
    storms = [cascade.inflow_m3 * share for share in (0.2, 1.0, 3.0, 0.0)]
    rain_s = [cascade.rain_s, 5 * STEP_S, cascade.rain_s, 90 * STEP_S]
    given = (cascade.pools, cascade.chain, cascade.travel_s)
    at_once = figures(route_storms(*given, storms.__getitem__, STEP_S, rain_s))
    for k, (inflow, rain) in enumerate(zip(storms, rain_s, strict=True)):
        for name, one in figures(route_storm(*given, inflow, STEP_S, rain)).items():
            assert np.array_equal(at_once[name][..., k], one)
    assert at_once["overflow_m3"].shape == (40, 4)
    assert at_once["ended_s"].shape == (4,)


def test_rain_that_brings_nothing_leaves_nothing() -> None:
    cascade = random_cascade(30, 5)
    done = figures(
        route_storm(
            cascade.pools, cascade.chain, cascade.travel_s, np.zeros((30, 12)), STEP_S, 12 * STEP_S
        )
    )
    assert done.pop("ended_s") == 12 * STEP_S
    assert all(np.all(one == 0.0) for one in done.values())


def test_a_plan_without_swales_is_routed_too() -> None:
    none = pools_of(*(np.zeros(0) for _ in range(8)), COEFFICIENT)
    done = route_storm(none, chain_of(0, []), NO_WAYS, np.zeros((0, 7)), STEP_S, 7 * STEP_S)
    assert done.overflow_m3.shape == (0,)


def test_water_that_is_under_way_for_a_month_is_a_defect() -> None:
    inflow = np.full((2, 3), 400.0)
    with pytest.raises(ValueError, match="30 days"):
        route_storm(
            alike(2), chain_of(2, [Spill(0, 1, 1.0)]), np.full(1, 4e6), inflow, STEP_S, 3 * STEP_S
        )


@pytest.mark.parametrize(
    ("travel_s", "inflow", "said"),
    [
        ([], np.zeros((2, 3)), "0 travel times for 1"),
        ([-1.0], np.zeros((2, 3)), "negative"),
        ([np.inf], np.zeros((2, 3)), "finite"),
        ([0.0], np.zeros((3, 3)), "2 swales"),
        ([0.0], np.full((2, 3), -1e-9), "negative"),
        ([0.0], np.full((2, 3), np.nan), "finite"),
    ],
)
def test_what_cannot_be_routed_is_refused(
    travel_s: list[float], inflow: FloatArray, said: str
) -> None:
    chain = chain_of(2, [Spill(0, 1, 1.0)])
    with pytest.raises(ValueError, match=said):
        route_storm(alike(2), chain, np.array(travel_s), inflow, STEP_S, 3 * STEP_S)


@pytest.mark.parametrize("seed", range(5))
def test_one_storm_shared_by_threads_is_that_storm(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Ten chains of six: peaks to the bit; what drips on at the end is of no account."""
    chain = chain_of(60, [Spill(i, i + 1, 1.0) for i in range(59) if i % 6 < 5])
    cascade = random_cascade(60, seed)
    given = (cascade.pools, chain, np.linspace(0.0, 600.0, 50))
    whole = route_storm(*given, cascade.inflow_m3, STEP_S, cascade.rain_s)
    assert whole.overflow_m3.max() > 0.0
    monkeypatch.setattr(os, "cpu_count", lambda: 3)
    shared = route_storms(*given, lambda _: cascade.inflow_m3, STEP_S, [cascade.rain_s])
    for name in ("peak_spill_m3s", "max_depth_m"):
        assert np.array_equal(getattr(shared, name)[:, 0], getattr(whole, name)), name
    for name in ("inflow_m3", "received_m3", "overflow_m3"):
        assert getattr(shared, name)[:, 0] == pytest.approx(getattr(whole, name), abs=1e-3)
