"""One pool through one time: what is exact, what keeps order, what never happens."""

from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from soakline.grid import FloatArray
from soakline.water import level_pool
from soakline.water.pools import NODES, Pools, emptying_h
from tests.water.level_pools import pool, random_pools

seeds = st.integers(0, 2**32 - 1)
# In hundredths of what fills the pool in an hour.
inflows = st.floats(0.0, 1e4).map(lambda one: one / 100.0 / 3600.0)
shares = st.floats(0.0, 1.5)


@dataclass(frozen=True)
class Ended:
    held_m3: float
    soaked_m3: float
    spilled_m3: float
    left_s: float


def routed(pools: Pools, volume_m3: float, inflow_m3s: float, time_s: float, parts: int) -> Ended:
    """The first pool through one time, with its node looked up."""
    unit_m3 = pools.full_m3 / (NODES - 1) ** 2
    soaking = pools.soak_m_s[:, None] * pools.wetted_m2
    rise_s = np.diff(soaking, axis=1) / (unit_m3[:, None] * np.diff(np.arange(NODES) ** 2))
    node = min(int(np.sqrt(volume_m3 / unit_m3[0])), NODES - 2)
    *found, _ = level_pool.pool_step(
        volume_m3,
        inflow_m3s,
        time_s,
        unit_m3[0],
        soaking,
        rise_s,
        1.0 / pools.ponded_m2[0],
        0.5 * pools.coefficient * pools.sill_m[0] / pools.ponded_m2[0],
        parts,
        0,
        node,
    )
    return Ended(*found)


def one_pool(seed: int) -> tuple[Pools, float]:
    pools = random_pools(1, np.random.default_rng(seed))
    return pools, float(pools.full_m3[0])


def test_the_cubic_of_a_part_is_solved_to_round_off() -> None:
    w = np.concatenate([np.geomspace(1e-12, 1e-3, 500), np.linspace(1e-3, 2.0 / 3.0, 2001)])
    found = np.array([level_pool._root(one**2 + one**3) for one in w])
    assert found == pytest.approx(w, rel=1e-12)
    assert level_pool._root(0.0) == 0.0


def test_past_the_bend_a_part_ends_in_the_steady_state() -> None:
    """2 S/Δt − Q is held there, so what leaves is what comes: 2 w³ = gain."""
    w = np.linspace(0.7, 40.0, 100)
    found = np.array([level_pool._root(4.0 / 27.0 + 2.0 * one**3) for one in w])
    assert found == pytest.approx(w, rel=1e-12)
    assert level_pool._half_outflow(0.8) - 0.64 == pytest.approx(-4.0 / 27.0)


@given(seeds, shares, inflows, st.floats(1.0, 900.0), st.integers(1, 6))
def test_what_comes_is_held_soaked_or_spilled(
    seed: int, share: float, inflow: float, time_s: float, parts: int
) -> None:
    pools, full = one_pool(seed)
    done = routed(pools, share * full, inflow * full, time_s, parts)
    came = share * full + inflow * full * time_s
    kept = done.held_m3 + done.soaked_m3 + done.spilled_m3
    assert kept == pytest.approx(came, rel=1e-11, abs=1e-12)
    assert min(done.held_m3, done.soaked_m3, done.spilled_m3) >= 0.0
    assert 0.0 <= done.left_s <= time_s
    assert done.left_s == 0.0 or done.held_m3 == 0.0


@given(seeds, shares, shares, inflows, inflows, st.floats(1.0, 900.0))
def test_more_water_or_more_inflow_never_holds_or_spills_less(
    seed: int, one: float, other: float, trickle: float, flood: float, time_s: float
) -> None:
    pools, full = one_pool(seed)
    low, high = sorted((one, other))
    less, more = sorted((trickle, flood))
    first = routed(pools, low * full, less * full, time_s, 2)
    second = routed(pools, high * full, more * full, time_s, 2)
    assert second.held_m3 >= first.held_m3 * (1.0 - 1e-11) - 1e-13
    assert second.spilled_m3 >= first.spilled_m3 * (1.0 - 1e-11) - 1e-13


@given(seeds, st.floats(0.0, 1.0), inflows, st.floats(1.0, 5000.0), st.integers(1, 8))
def test_a_pool_that_is_not_over_its_sill_never_spills_faster_than_water_comes(
    seed: int, share: float, inflow: float, time_s: float, parts: int
) -> None:
    pools, full = one_pool(seed)
    done = routed(pools, share * full, inflow * full, time_s, parts)
    head = max(done.held_m3 - full, 0.0) / pools.ponded_m2[0]
    rate = pools.coefficient * pools.sill_m[0] * head**1.5
    assert rate <= inflow * full * (1.0 + 1e-9) + 1e-15
    assert done.spilled_m3 <= inflow * full * time_s * (1.0 + 1e-9)


@given(seeds, st.floats(0.0, 1.0), st.floats(0.0, 1.0 / 3600.0), st.integers(2, 9))
def test_below_the_sill_one_long_time_is_several_short_ones(
    seed: int, share: float, inflow: float, pieces: int
) -> None:
    pools, full = one_pool(seed)
    inflow_m3s = min(inflow, (1.0 - share) / 3600.0) * full
    at_once = routed(pools, share * full, inflow_m3s, 3600.0, 1)
    held, soaked = share * full, 0.0
    for _ in range(pieces):
        done = routed(pools, held, inflow_m3s, 3600.0 / pieces, 1)
        held, soaked = done.held_m3, soaked + done.soaked_m3
    assert at_once.spilled_m3 == 0.0
    assert held == pytest.approx(at_once.held_m3, rel=1e-9, abs=1e-9 * full)
    assert soaked == pytest.approx(at_once.soaked_m3, rel=1e-9, abs=1e-9 * full)


@given(seeds, st.floats(0.02, 1.0))
def test_a_pool_without_inflow_runs_dry_when_its_own_curve_says(seed: int, share: float) -> None:
    """By step over straight lines between nodes, and by the integral over exact areas."""
    pools, full = one_pool(seed)
    hours = float(emptying_h(pools, share * pools.full_m3)[0])
    done = routed(pools, share * full, 0.0, hours * 3600.0 * 1.01, 1)
    assert done.held_m3 == 0.0
    assert done.soaked_m3 == pytest.approx(share * full, rel=1e-12)
    assert hours * 1.01 - done.left_s / 3600.0 == pytest.approx(hours, rel=2e-3)


def test_an_upright_pool_fills_towards_the_depth_at_which_soaking_balances_inflow() -> None:
    """Straight areas, so exact: V = V∞ (1 − e^−kt) on top of what the base takes."""
    pools = pool(2.0, 0.5, 0.0, 50.0, soak_m_h=0.05)
    rate = 0.05 / 3600.0
    base, sides_per_m3 = rate * 100.0, rate * 2.0 * 52.0 / 100.0
    inflow = base + 1e-4
    done = routed(pools, 0.0, inflow, 7200.0, 1)
    assert done.held_m3 == pytest.approx(
        1e-4 / sides_per_m3 * -np.expm1(-sides_per_m3 * 7200.0), rel=1e-9
    )


def test_dry_ground_takes_an_inflow_that_it_can_soak_up_whole() -> None:
    pools = pool(soak_m_h=0.05)
    inflow = 0.9 * float(pools.soak_m_s[0] * pools.wetted_m2[0, 0])
    done = routed(pools, 0.0, inflow, 600.0, 1)
    assert done.held_m3 == 0.0
    assert done.soaked_m3 == pytest.approx(600.0 * inflow)


def test_parts_follow_from_sill_and_surface_and_shorten_with_the_time() -> None:
    """With w = Δt C L √0.3 / (2 ponded), of which a part has at most 1.5."""
    weir: FloatArray = np.array([2.0, 60.0, 60.0])
    ponded: FloatArray = np.array([500.0, 500.0, 50.0])
    assert level_pool.spill_parts(weir, ponded, 18.0).tolist() == [1.0, 1.0, 4.0]
    assert level_pool.spill_parts(weir, ponded, 180.0).tolist() == [1.0, 4.0, 40.0]
