"""Days made of monthly means: their means over many years, their persistence, their seed."""

import numpy as np
import pytest

from soakline.inputs.weather_table import WeatherTable
from soakline.runfile.sections import ClimateKeys
from soakline.weather.generated import MONTH_DAYS, generated_rain_mm
from soakline.weather.series import weather_of

RAIN_MM = np.array([20.0, 35.0, 60.0, 80.0, 110.0, 140.0, 150.0, 120.0, 70.0, 40.0, 10.0, 0.0])
WET_DAYS = np.array([3.0, 4.0, 6.0, 8.0, 11.0, 14.0, 15.0, 13.0, 8.0, 6.0, 2.0, 0.0])
YEARS = 2000
MONTH = np.tile(np.repeat(np.arange(12), np.round(MONTH_DAYS).astype(int)), YEARS)


@pytest.fixture(scope="module")
def rain_mm() -> np.ndarray:
    return generated_rain_mm(MONTH, RAIN_MM, WET_DAYS, 5)


def test_means_over_many_years_are_those_of_the_months(rain_mm: np.ndarray) -> None:
    wet = np.bincount(MONTH, rain_mm > 0.0) / YEARS
    fallen = np.bincount(MONTH, rain_mm) / YEARS
    # Four standard errors, and what a month's first days keep of the month before.
    assert wet == pytest.approx(WET_DAYS, abs=0.5)
    assert fallen == pytest.approx(RAIN_MM, rel=0.06, abs=3.0)
    assert rain_mm.sum() / YEARS == pytest.approx(RAIN_MM.sum(), rel=0.02)
    assert fallen[11] == pytest.approx(0.0, abs=0.3)


def test_wet_days_follow_wet_days(rain_mm: np.ndarray) -> None:
    june = MONTH == 5
    wet = rain_mm > 0.0
    after_wet = wet[1:][june[1:] & june[:-1] & wet[:-1]].mean()
    after_dry = wet[1:][june[1:] & june[:-1] & ~wet[:-1]].mean()
    share = 14.0 / 30.0
    assert after_dry == pytest.approx(0.75 * share, abs=0.01)
    assert after_wet == pytest.approx(0.25 + 0.75 * share, abs=0.01)


def test_depths_are_skewed_as_rain_is(rain_mm: np.ndarray) -> None:
    depth = rain_mm[(MONTH == 6) & (rain_mm > 0.0)]
    # Mean 10 mm: scale −2.16 + 18.3 = 16.1 mm, so that a standard deviation is √(10 × 16.1).
    assert depth.std() == pytest.approx(np.sqrt(10.0 * 16.14), rel=0.03)


def test_a_seed_makes_the_same_days_and_another_makes_others() -> None:
    month = MONTH[:3650]
    one, same, other = (generated_rain_mm(month, RAIN_MM, WET_DAYS, seed) for seed in (1, 1, 2))
    assert one.tolist() == same.tolist()
    assert one.tolist() != other.tolist()


def test_monthly_means_make_ten_years_with_each_months_evaporation() -> None:
    et0 = np.linspace(1.0, 6.0, 12)
    table = WeatherTable(None, {"rain_mm": RAIN_MM, "wet_days": WET_DAYS, "et0_mm": et0})
    found = weather_of(table, ClimateKeys(), 50.0, 100.0)
    assert found.years == 10
    assert found.month[0] == 1
    assert found.et0_mm.tolist() == et0[found.month - 1].tolist()
    assert found.rain_mm.size == 3652  # 2001 to 2010, two leap days
    assert found.repeated_years == 0
