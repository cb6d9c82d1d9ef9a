"""Trees between swales: what they have of the rain, by closed form and beside the bands."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from soakline.planting.trees import BANDS
from soakline.runfile.sections import ClimateKeys
from soakline.years.arrays import Sum
from soakline.years.balance import followed
from soakline.years.days import shed_mm
from soakline.years.growing import Stand, root_area_m2, stands_between
from soakline.years.rainfed import Rainfed, rainfed_years
from tests.years.swales import ground, weather
from tests.years.test_growing import trees

SWALES, YEARS = 3, 4


def between(count: float = 30.0) -> Stand:
    """Pears of year 1 between all swales but the last."""
    one = np.ones(SWALES - 1)
    place = np.arange(SWALES - 1)
    return Stand(place, count * one, 5.0 * one, 8.0 * one, 12.0 * one, one)


def fared(rain_mm: np.ndarray, et0_mm: np.ndarray, keys: ClimateKeys) -> Rainfed:
    days = weather(rain_mm, et0_mm, YEARS)
    shed = shed_mm(days, np.array([79.0]), np.array([False]), keys.dormant_et0_mm)[:, 0] / 1000.0
    return rainfed_years(between(), ground().plant_water, days, shed, keys)


def test_trees_between_are_gathered_by_the_swale_of_their_ground() -> None:
    off = len(BANDS)
    found = stands_between(trees([0, 0, 1, 1, 2], [0, off, off, off, 2], [0, 1, 1, 1, 1], [1] * 5))
    assert found.place.tolist() == [0, 1]
    assert found.count.tolist() == [1.0, 2.0]


@given(st.integers(0, 2**32 - 1), st.floats(0.0, 30.0), st.floats(0.1, 0.9))
def test_what_falls_is_used_or_drained_or_stays(seed: int, most: float, dry: float) -> None:
    random = np.random.default_rng(seed)
    days = 365 * YEARS
    rain = np.where(random.random(days) < dry, 0.0, random.uniform(0.0, most, days))
    own = fared(rain, random.uniform(0.0, 9.0, days), ClimateKeys())
    left = own.rain_m3 - own.trees_m3 - own.cover_m3 - own.drained_m3
    assert left == pytest.approx(np.diff(own.stored_m3, axis=0), abs=1e-6)
    assert np.all(own.trees_m3[:, -1] == 0.0)
    assert own.rooted_m2 == pytest.approx([30.0 * np.pi / 4.0 * 25.0] * 2 + [0.0])


def test_steady_rain_over_what_plants_want_drains_the_rest() -> None:
    days = 365 * YEARS
    own = fared(np.full(days, 9.0), np.full(days, 3.0), ClimateKeys())
    used = own.trees_m3[-1] + own.cover_m3[-1]
    # Stores stay full: what is not used drains.
    assert own.drained_m3[-1] == pytest.approx(own.rain_m3[-1] - used)
    assert np.all(own.stress_days[-1] == 0.0)
    assert np.all(np.diff(own.trees_m3[:, 0]) > 0.0)


def test_they_fare_as_the_same_trees_on_a_band_without_a_swale() -> None:
    """The bands' own reckoning, rain alone, with as many trees on a band that no water feeds."""
    random, days = np.random.default_rng(3), 365 * YEARS
    rain = np.where(random.random(days) < 0.7, 0.0, random.uniform(0.0, 25.0, days))
    keys, et0 = ClimateKeys(), random.uniform(0.0, 8.0, days)
    own, made, stand = fared(rain, et0, keys), ground(), between()
    uphill = Stand(
        stand.place * len(BANDS) + BANDS.index("uphill"),
        stand.count, stand.crown_m, stand.height_m, stand.grown_years, stand.year,
    )  # fmt: skip
    object.__setattr__(made, "strip_m2", np.zeros_like(made.strip_m2))
    assert root_area_m2(uphill, made.strip_m2).sum(axis=1) == pytest.approx(own.rooted_m2)
    years = followed(made, uphill, weather(rain, et0, YEARS), keys, 72.0)
    some = slice(0, SWALES - 1)
    pairs = {
        Sum.BAND_RAIN: own.rain_m3,
        Sum.TREES_WITHOUT: own.trees_m3,
        Sum.COVER_WITHOUT: own.cover_m3,
        Sum.DRAINED_WITHOUT: own.drained_m3,
        Sum.STRESS_DAYS_WITHOUT: own.stress_days,
    }
    for column, found in pairs.items():
        assert years.sum_of(column)[:, some] == pytest.approx(found[:, some]), column
    assert own.trees_m3.sum() > 0.0
    assert own.stress_days.sum() > 0.0
