"""What a swale holds and wets, and how long it takes to soak away."""

import warnings

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from soakline.grid import FloatArray
from soakline.section.trench import Trench
from soakline.water.pools import NODES, depth_m, emptying_h, full_to_empty_h
from tests.water.level_pools import pool, random_pools

seeds = st.integers(0, 2**32 - 1)


@pytest.mark.parametrize("full_depth_m", [0.5, 0.4])
def test_full_water_is_what_the_trench_holds_up_to_the_sill(full_depth_m: float) -> None:
    found = pool(1.5, 0.5, 1.5, 80.0, full_depth_m=full_depth_m)
    expected = Trench(1.5, 0.5, 1.5).volume_below_m3(full_depth_m, 80.0)
    assert found.full_m3[0] == pytest.approx(float(expected), rel=1e-12)


def test_wetted_ground_of_an_upright_trench_is_base_sides_and_ends() -> None:
    """Base 2 × 50, two sides 50 × 0.4, two ends 2 × 0.4."""
    found = pool(2.0, 0.4, 0.0, 50.0)
    assert found.wetted_m2[0, [0, -1]] == pytest.approx([100.0, 100.0 + 40.0 + 1.6])


def test_wetted_ground_of_a_battered_trench_by_hand() -> None:
    """Batter 4/3 and depth 0.3: the slope is 0.5 long, the base 1 × 9.2 in water of 1.8 × 10."""
    found = pool(1.0, 0.3, 4.0 / 3.0, 10.0)
    sides = 2.0 * 0.5 * (9.2 + 10.0) / 2.0
    ends = 2.0 * 0.5 * (1.0 + 1.8) / 2.0
    assert found.wetted_m2[0, -1] == pytest.approx(9.2 + sides + ends)


def test_no_pool_at_all_has_no_height_and_warns_of_nothing(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Of a plan without swales: compiling asks whether arrays may be written to, once a process."""

    def asked(*own: FloatArray) -> FloatArray:
        assert all(one.flags.writeable for one in own)
        return own[0]

    monkeypatch.setattr("soakline.water.pools._heights_m", asked)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert random_pools(0, np.random.default_rng(1)).wetted_m2.shape == (0, NODES)


@given(seeds)
def test_volume_is_the_surface_summed_from_the_base(seed: int) -> None:
    pools = random_pools(5, np.random.default_rng(seed))
    slabs = (np.arange(4000) + 0.5) / 4000.0 * pools.full_depth_m[:, None]
    summed = pools.trough.column().surface_m2(slabs).mean(axis=1) * pools.full_depth_m
    assert pools.full_m3 == pytest.approx(summed, rel=1e-6)


@given(seeds, st.floats(0.0, 3.0))
def test_depth_holds_the_volume_that_it_was_asked_for(seed: int, share: float) -> None:
    pools = random_pools(20, np.random.default_rng(seed))
    volume = share**2 * pools.full_m3
    depth = depth_m(pools, volume)
    below = np.minimum(depth, pools.full_depth_m)
    above = np.maximum(depth - pools.full_depth_m, 0.0) * pools.ponded_m2
    assert pools.trough.held_m3(below) + above == pytest.approx(volume, rel=1e-10, abs=1e-12)


@given(seeds)
def test_straight_lines_between_nodes_miss_little_of_the_wetted_ground(seed: int) -> None:
    pools = random_pools(20, np.random.default_rng(seed))
    between = (np.arange(NODES - 1) + 0.5) ** 2 + 0.25  # half-way in volume
    volume = pools.full_m3[:, None] * between / (NODES - 1.0) ** 2
    exact = pools.trough.column().wetted_m2(pools.trough.column().height_m(volume))
    straight = (pools.wetted_m2[:, 1:] + pools.wetted_m2[:, :-1]) / 2.0
    assert np.all(np.abs(straight - exact) <= 2e-4 * pools.wetted_m2[:, -1:])


def test_an_upright_trench_empties_as_the_closed_form_says() -> None:
    """dy/dt = −rate (b B + 2 (b + B) y) / (b B), solved: a logarithm."""
    base, length, rate, depth = 1.2, 60.0, 0.02, 0.45
    sides = 2.0 * (base + length)
    expected = base * length / (sides * rate) * np.log1p(sides * depth / (base * length))
    found = full_to_empty_h(pool(base, depth, 0.0, length, soak_m_h=rate))
    assert found[0] == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(
    ("depth", "ksat_mm_h", "hours"), [(0.5, 6.5, 76.9), (0.5, 3.4, 147.0), (0.5, 10.9, 45.9)]
)
def test_a_basin_so_wide_that_sides_count_for_nothing_empties_in_depth_over_rate(
    depth: float, ksat_mm_h: float, hours: float
) -> None:
    """Time t = d / K with K of Rawls, Brakensiek & Miller 1983 Table 4.3.1. D."""
    wide = pool(1e5, depth, 0.0, 1e5, soak_m_h=ksat_mm_h / 1000.0)
    assert full_to_empty_h(wide)[0] == pytest.approx(hours, abs=0.1)


@given(seeds, st.floats(0.01, 1.0))
def test_emptying_is_the_fall_of_the_surface_integrated(seed: int, share: float) -> None:
    pools = random_pools(1, np.random.default_rng(seed))
    trough, rate = pools.trough, pools.soak_m_s

    def seconds_per_m(height: float) -> float:
        at = np.array([height])
        return float((trough.surface_m2(at) / (rate * trough.wetted_m2(at)))[0])

    volume = share * pools.full_m3
    expected, _ = quad(seconds_per_m, 0.0, float(depth_m(pools, volume)[0]), epsrel=1e-10)
    assert emptying_h(pools, volume)[0] == pytest.approx(expected / 3600.0, rel=1e-8)


def test_water_above_the_sill_soaks_through_the_ground_wetted_when_full() -> None:
    found = pool(soak_m_h=0.01)
    over = emptying_h(found, found.full_m3 + 3.0) - full_to_empty_h(found)
    assert over[0] == pytest.approx(3.0 / (0.01 * found.wetted_m2[0, -1]))


def test_ground_that_does_not_soak_never_empties_but_is_empty_when_dry() -> None:
    sealed = pool(soak_m_h=0.0)
    assert np.isinf(full_to_empty_h(sealed)[0])
    assert emptying_h(sealed, np.zeros(1))[0] == 0.0


def test_without_a_sill_the_whole_lip_is_the_weir() -> None:
    assert pool(length_m=77.0, sill_m=0.0).sill_m[0] == 77.0


@pytest.mark.parametrize(
    ("figures", "said"),
    [
        ({"length_m": 1.4}, "length of the base"),
        ({"base_width_m": 0.0}, "width of the base"),
        ({"full_depth_m": 0.0}, "full water"),
        ({"ponded_m2": 0.0}, "water surface"),
        ({"sill_m": -1.0}, "sill"),
        ({"soak_m_h": -0.1}, "soaking"),
        ({"soak_m_h": float("nan")}, "soaking"),
        ({"coefficient": 0.0}, "coefficient"),
    ],
)
def test_impossible_pools_are_refused_by_name(figures: dict[str, float], said: str) -> None:
    with pytest.raises(ValueError, match=said):
        pool(**figures)
