"""Conditions that have a closed form: steady rain, a root zone drying out, a pool draining."""

import numpy as np
import pytest

from soakline.runfile.sections import ClimateKeys
from soakline.water.network import Spill
from soakline.water.pools import emptying_h, pools_of
from soakline.years.arrays import PoolArrays, Sum
from soakline.years.balance import followed
from soakline.years.day_steps import DAY_S, critical_m, pool_day, root_zone_day
from soakline.years.side_by_side import parts_of
from tests.years.swales import ground, no_trees, pools, stand, weather

HOLDS_M = 0.12


def root_zone(root_m: float, comes_m: float, wanted_m: float, share: float = 0.5) -> tuple:
    per_critical = 1.0 / critical_m(wanted_m, HOLDS_M, share)
    return root_zone_day(root_m, 0.0, comes_m, wanted_m, per_critical, HOLDS_M, 0.0)


def test_less_rain_than_plants_want_is_used_whole_at_a_steady_depletion() -> None:
    wanted_m, rain_m, root_m = 0.006, 0.002, HOLDS_M
    for _ in range(2000):
        root_m, _, used_m, drained_m, ks = root_zone(root_m, rain_m, wanted_m)
    # Ks × wanted = rain: there is just as much of what is critical as rain is of what is wanted.
    critical = (1.0 - (0.5 + 0.04 * (5.0 - 6.0))) * HOLDS_M
    assert used_m == pytest.approx(rain_m, rel=1e-12)
    assert ks == pytest.approx(rain_m / wanted_m, rel=1e-12)
    assert root_m == pytest.approx(critical * rain_m / wanted_m - rain_m, rel=1e-12)
    assert drained_m == 0.0


def test_more_rain_than_plants_want_drains_what_they_leave() -> None:
    root_m = 0.0
    for _ in range(200):
        root_m, _, used_m, drained_m, ks = root_zone(root_m, 0.009, 0.004)
    assert (root_m, used_m, ks) == (HOLDS_M, 0.004, 1.0)
    assert drained_m == pytest.approx(0.005, rel=1e-12)


def test_a_full_root_zone_dries_by_a_straight_line_then_by_a_power() -> None:
    wanted_m = 0.005
    critical = 0.5 * HOLDS_M
    ready_days = int((HOLDS_M - critical) / wanted_m)
    root_m = HOLDS_M
    for day in range(1, 60):
        root_m, _, _, _, ks = root_zone(root_m, 0.0, wanted_m)
        if day <= ready_days:
            assert root_m == pytest.approx(HOLDS_M - day * wanted_m, rel=1e-12)
            assert ks == 1.0
        else:
            left = (1.0 - wanted_m / critical) ** (day - ready_days)
            assert root_m == pytest.approx(critical * left, rel=1e-9)


def pool_arrays(
    made, evaporates: bool = False
) -> PoolArrays:  # its own small twin of what the balance makes for a year
    nodes = made.wetted_m2.shape[1] - 1
    unit = made.full_m3 / nodes**2
    soaking = made.soak_m_s[:, None] * made.wetted_m2
    apart = unit[:, None] * np.diff(np.arange(nodes + 1) ** 2)
    surface = np.repeat(made.ponded_m2[:, None], nodes + 1, axis=1) * evaporates
    swales = made.full_m3.size
    return PoolArrays(
        dry_m2=np.zeros((swales, 1)),
        ponded_m2=made.ponded_m2,
        led_m3=np.zeros((swales, 12)),
        unit_m3=unit,
        soaking_m3s=soaking,
        rise_s=np.diff(soaking, axis=1) / apart,
        surface_m2=surface,
    )


def test_a_full_pool_empties_in_the_time_that_the_integral_gives() -> None:
    made = pools(2, soak_m_h=0.003)
    arrays = pool_arrays(made)
    for swale in range(2):
        held, hours, soaked = made.full_m3[swale], 0.0, 0.0
        for _ in range(60):
            held, down, _, spilled, wet_h = pool_day(held, 0.0, 6.0 * 3600.0, 0.0, arrays, swale)
            hours, soaked = hours + wet_h, soaked + down
            assert spilled == 0.0
        assert held == 0.0
        assert soaked == pytest.approx(made.full_m3[swale], rel=1e-12)
        assert hours == pytest.approx(emptying_h(made, made.full_m3)[swale], rel=2e-3)


def test_a_pool_with_upright_sides_and_no_soaking_falls_by_evaporation_alone() -> None:
    one = np.ones(1)
    made = pools_of(
        2.0 * one, 0.5 * one, 0.0 * one, 50.0 * one, 0.5 * one, 100.0 * one, 0.0 * one, one, 1.45
    )
    arrays = pool_arrays(made, evaporates=True)
    held = 50.0
    for day in range(1, 20):
        held, soaked, evaporated, spilled, wet_h = pool_day(held, 0.0, 3600.0, 0.005, arrays, 0)
        assert (soaked, spilled, wet_h) == (0.0, 0.0, 24.0)
        assert evaporated == pytest.approx(0.5)
        assert held == pytest.approx(50.0 - 0.5 * day, rel=1e-9)


def test_what_comes_to_a_full_pool_and_does_not_soak_spills() -> None:
    made = pools(1, soak_m_h=0.005)
    arrays = pool_arrays(made)
    storm_s = 7200.0
    full = made.full_m3[0]
    rate = made.soak_m_s[0] * made.wetted_m2[0, -1]
    inflow = 200.0
    held, soaked, _, spilled, wet_h = pool_day(full, inflow, storm_s, 0.0, arrays, 0)
    assert spilled == pytest.approx(inflow - rate * storm_s, rel=1e-9)
    assert held + soaked + spilled == pytest.approx(full + inflow, rel=1e-12)
    assert wet_h == 24.0


def test_a_day_is_that_of_small_steps() -> None:
    made = pools(1, soak_m_h=0.004)
    arrays = pool_arrays(made)
    storm_s, inflow, held = 4.0 * 3600.0, 60.0, 2.0
    found = pool_day(held, inflow, storm_s, 0.0, arrays, 0)
    nodes = arrays.rise_s.shape[1]
    at = arrays.unit_m3[0] * np.arange(nodes + 1) ** 2
    soaked = spilled = 0.0
    step_s = 2.0
    for step in range(int(DAY_S / step_s)):
        comes = inflow / storm_s * step_s if step * step_s < storm_s else 0.0
        goes = min(np.interp(held, at, arrays.soaking_m3s[0]) * step_s, held + comes)
        held, soaked = held + comes - goes, soaked + goes
        over = max(held - made.full_m3[0], 0.0)
        held, spilled = held - over, spilled + over
    assert spilled > 0.0
    assert found[0] == pytest.approx(held, rel=2e-3)
    assert found[1] == pytest.approx(soaked, rel=2e-3)
    assert found[3] == pytest.approx(spilled, rel=2e-3, abs=0.05)


def test_years_of_steady_weather_are_steady() -> None:
    days = 365 * 12
    keys = ClimateKeys(desilt_years=1, silt_kg_m3=0.0)
    # 4 mm a day on ground that sheds nothing of it; 2 mm are wanted. Roofs shed all but a little.
    steady = weather(np.full(days, 4.0), np.full(days, 2.0), years=12)
    made = ground()
    years = followed(made, no_trees(), steady, keys, 72.0)
    assert np.all(years.sum_of(Sum.SPILLED) == 0.0)
    # From the year of full effect on nothing changes any more.
    last = years.sums[7:]
    assert np.ptp(last, axis=0).max() == pytest.approx(0.0, abs=1e-6)
    cover_m = keys.cover_kc * 0.002 * 365.0
    assert last[:, :, Sum.COVER] == pytest.approx(240.0 * cover_m)
    assert last[:, :, Sum.COVER_WITHOUT] == pytest.approx(240.0 * cover_m)
    rain = years.sum_of(Sum.BAND_RAIN)[7:]
    assert last[:, :, Sum.DRAINED_WITHOUT] == pytest.approx(rain - 240.0 * cover_m)
    soaked = last[:, :, Sum.SOAKED]
    assert last[:, :, Sum.DRAINED] == pytest.approx(rain + soaked - 240.0 * cover_m)
    assert np.all(last[:, :, Sum.STRESS_DAYS] == 0.0)
    assert np.all(last[:, :, Sum.DRY_DAYS] == 0.0)


def test_parts_of_the_chain_are_whole_and_in_order() -> None:
    spills = (Spill(3, 1, 1.0), Spill(1, 0, 1.0), Spill(4, 2, 1.0))
    parts = parts_of(ground(5, spills).chain, 3)
    assert [part.order.tolist() for part in parts] == [[3, 1, 0], [4, 2], []]
    (chain,) = parts_of(ground().chain, 1)
    assert chain.order.tolist() == [0, 1, 2]
    assert chain.sender[chain.first[2] : chain.first[3]].tolist() == [0, 1]
    assert chain.share[chain.first[2] : chain.first[3]].tolist() == [0.25, 1.0]


def test_trees_take_their_share_of_what_the_bands_use() -> None:
    days = 365 * 8
    wet = weather(np.full(days, 9.0), np.full(days, 3.0), years=8)
    years = followed(ground(), stand(3, trees=4.0), wet, ClimateKeys(), 72.0)
    trees, cover = years.sum_of(Sum.TREES), years.sum_of(Sum.COVER)
    assert np.all(np.diff(trees, axis=0) > 0.0)
    assert np.all(np.diff(cover, axis=0) < 0.0)
    assert np.all(years.sums[:, :, Sum.TREES] == years.sums[:, :, Sum.TREES_WITHOUT])
