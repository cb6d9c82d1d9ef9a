"""Canopies, roots, silt and the ground's wetness, from year to year."""

from dataclasses import replace

import numpy as np
import pytest

from soakline.inputs.species import Species
from soakline.planting.growth import crown_width_m
from soakline.planting.trees import BANDS, Trees
from soakline.runfile.sections import ClimateKeys
from soakline.water.curve_number import antecedent_curve_number, runoff_mm
from soakline.years.arrays import Sum
from soakline.years.balance import SILT_SHARE, followed
from soakline.years.days import antecedent_conditions, dormant_months, shed_mm
from soakline.years.growing import coefficients, root_area_m2, root_depth_m, stands_of
from tests.years.swales import ground, no_trees, stand, weather


def tree(name: str, crown_m: float) -> Species:
    return Species(name, name, "fruit", 6.0, crown_m, 10.0, float("nan"), {}, "invented")


def trees(lip: list[int], band: list[int], species: list[int], year: list[int]) -> Trees:
    none = np.zeros(len(lip))
    return Trees(
        (tree("a", 4.0), tree("b", 8.0)),
        *(np.array(own, dtype=np.int64) for own in (lip, band, species, year)),
        none,
        none,
        none,
        np.array(lip, dtype=np.int64),
        none,
    )


def test_trees_are_gathered_by_swale_band_species_and_year() -> None:
    found = stands_of(trees([0, 0, 0, 2, 2], [0, 0, 2, 0, 0], [0, 0, 1, 1, 1], [1, 1, 1, 1, 3]))
    assert found.place.tolist() == [0, 2, 8, 8]
    assert found.count.tolist() == [2.0, 1.0, 1.0, 1.0]
    assert found.crown_m.tolist() == [4.0, 8.0, 8.0, 8.0]
    assert found.year.tolist() == [1.0, 1.0, 1.0, 3.0]
    assert stands_of(trees([], [], [], [])).place.size == 0


def test_roots_have_the_strip_or_what_crowns_cover() -> None:
    strip = np.array([[10.0, 5.0, 5.0, 0.0]])
    found = root_area_m2(stands_of(trees([0], [0], [1], [1])), strip)
    assert found.tolist() == [[pytest.approx(np.pi / 4.0 * 64.0), 5.0, 5.0, 0.0]]


def test_without_trees_the_cover_is_all() -> None:
    keys = ClimateKeys()
    tree_kc, cover_kc = coefficients(no_trees(), np.full((2, 4), 9.0), 5, keys)
    assert np.all(tree_kc == 0.0)
    assert np.all(cover_kc == keys.cover_kc)


def test_a_closed_canopy_has_the_whole_coefficient_and_leaves_no_cover() -> None:
    keys, own = ClimateKeys(), stand(1, trees=6.0)
    area = root_area_m2(own, np.zeros((1, 4)))
    tree_kc, cover_kc = coefficients(own, area, 500, keys)
    planted = area > 0.0
    assert tree_kc[planted] == pytest.approx(keys.tree_kcb)
    assert cover_kc[planted] == pytest.approx(0.0, abs=1e-9)
    assert np.all(tree_kc[~planted] == 0.0)


def test_an_open_canopy_takes_fao_eq_98s_share() -> None:
    keys, own = ClimateKeys(), stand(1, trees=3.0)
    area = np.full((1, 4), 400.0)
    tree_kc, cover_kc = coefficients(own, area, 4, keys)
    width = crown_width_m(np.array([3.5, 1.5]), np.array([5.0, 5.0]), np.array([12.0, 12.0]))
    share = 3.0 * np.pi / 4.0 * width**2 / 400.0
    assert np.all(2.0 * share < share ** (1.0 / (1.0 + 6.0 * width / 5.0)))
    planted = [BANDS.index("mound"), BANDS.index("uphill")]
    assert tree_kc[0, planted] == pytest.approx(keys.tree_kcb * 2.0 * share)
    assert cover_kc[0, planted] == pytest.approx(keys.cover_kc * (1.0 - share))


def test_roots_deepen_to_the_year_of_full_effect() -> None:
    keys = ClimateKeys(root_depth_young_m=0.4, root_depth_m=1.0, full_effect_years=7)
    depth = [root_depth_m(year, keys) for year in (1, 4, 7, 20)]
    assert depth == pytest.approx([0.4, 0.7, 1.0, 1.0])


def test_ground_is_dry_ordinary_or_wet_by_the_rain_of_five_days() -> None:
    rain = np.array([36.0, 0, 0, 0, 0, 5.0, 0, 54.0, 1.0])
    month = np.full(9, 6)
    growing, resting = np.zeros(13, dtype=bool), np.ones(13, dtype=bool)
    found = antecedent_conditions(rain, month, growing)
    assert found == ["I", "II", "II", "II", "II", "II", "I", "I", "III"]
    # At rest 12.7 mm make ground ordinary and 27.9 mm wet.
    assert antecedent_conditions(rain, month, resting) == [
        "I", "III", "III", "III", "III", "III", "I", "I", "III",
    ]  # fmt: skip


def test_months_of_little_evaporation_are_those_of_rest() -> None:
    et0 = np.repeat([1.0, 4.0], 180)
    assert np.flatnonzero(dormant_months(weather(np.zeros(360), et0), 1.5)).tolist() == [
        1, 2, 3, 4, 5, 6,
    ]  # fmt: skip


def test_a_day_sheds_what_the_curve_number_says_and_roofs_know_no_rain_before() -> None:
    rain = np.array([60.0, 60.0, 60.0])
    number, hard = np.array([79.0, 98.0]), np.array([False, True])
    found = shed_mm(weather(rain, np.full(3, 4.0)), number, hard, 1.5)
    dry, wet = (float(antecedent_curve_number(79.0, own)) for own in ("I", "III"))
    assert found[:, 0] == pytest.approx(runoff_mm(60.0, [dry, wet, wet]))
    assert found[:, 1] == pytest.approx(np.full(3, runoff_mm(60.0, 98.0)))


def storms(years: int) -> np.ndarray:
    rain = np.zeros(360 * years)
    rain[::30] = 70.0
    return rain


def test_silt_grows_with_what_runs_off_and_leaves_with_shade() -> None:
    keys = ClimateKeys(silt_kg_m3=4.0, silt_t_m3=1.6, litter_mm=10.0, desilt_years=60)
    made = ground()
    shaded = made.shaded.copy() + 0.5
    made = replace(made, shaded=shaded)
    rain = storms(4)
    years = followed(made, no_trees(), weather(rain, np.full(rain.size, 4.0), 4), keys, 72.0)
    shed = years.sum_of(Sum.SHED)
    leaves = 0.010 * 0.5 * made.base_m2
    expected = np.cumsum(shed * 4.0 / 1600.0 + leaves, axis=0) / made.pools.full_m3
    assert years.silt_share == pytest.approx(expected)
    assert not years.desilted.any()


def test_lost_room_spills_and_digging_out_brings_it_back() -> None:
    rain = storms(6)
    days = weather(rain, np.full(rain.size, 4.0), 6)
    made = ground(soak_m_h=0.001)
    clean, silted, dug = (
        followed(made, no_trees(), days, ClimateKeys(**keys, full_effect_years=2), 72.0)
        for keys in (
            {"silt_kg_m3": 0.0, "desilt_years": 60},
            {"silt_kg_m3": 8.0, "desilt_years": 60},
            {"silt_kg_m3": 8.0, "desilt_years": 3},
        )
    )
    spilled = [own.sum_of(Sum.SPILLED)[:, 0] for own in (clean, silted, dug)]
    assert np.all(np.diff(spilled[1]) > 0.0)
    assert np.all(spilled[1][1:] > spilled[0][1:])
    assert dug.desilted[:, 0].tolist() == [False, False, True, False, False, True]
    assert np.all(spilled[2][3:] < spilled[1][3:])
    assert dug.silt_share[3, 0] < dug.silt_share[2, 0]


def test_swales_are_dug_out_once_a_fifth_is_lost() -> None:
    rain = storms(8)
    days = weather(rain, np.full(rain.size, 4.0), 8)
    years = followed(ground(), no_trees(), days, ClimateKeys(silt_kg_m3=20.0), 72.0)
    assert years.desilted.any()
    assert np.array_equal(years.desilted, years.silt_share >= SILT_SHARE)


def test_what_is_released_to_a_swale_comes_in_its_months() -> None:
    made = ground(soak_m_h=0.02)
    led = made.led_m3.copy()
    led[1, 6:8] = 2.5
    made = replace(made, led_m3=led)
    years = followed(
        made, no_trees(), weather(np.zeros(360), np.full(360, 5.0)), ClimateKeys(), 72.0
    )
    assert years.sums[0, :, Sum.LED].tolist() == [0.0, pytest.approx(2.5 * 60), 0.0]
    assert years.sums[0, 1, Sum.SOAKED] == pytest.approx(150.0, rel=0.05)


def test_a_long_spell_is_counted_once_however_long_it_lasts() -> None:
    rain = np.zeros(360)
    rain[[10, 200]] = 120.0
    days = weather(rain, np.full(360, 1.0))
    years = followed(ground(soak_m_h=0.002), no_trees(), days, ClimateKeys(), 72.0)
    assert years.sums[0, :, Sum.LONG_SPELLS].tolist() == [2.0, 2.0, 2.0]
    longest = years.sums[0, 0, Sum.LONGEST_WET_H]
    assert 72.0 < longest < 400.0
    assert years.sums[0, 0, Sum.WET_DAYS] == pytest.approx(2.0 * longest / 24.0, abs=2.0)
