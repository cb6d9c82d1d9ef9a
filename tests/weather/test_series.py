"""From tables of weather to days: which method, which years, against another library."""

from datetime import date

import numpy as np
import pandas as pd
import pyet
import pytest
from hypothesis import given
from hypothesis import strategies as st

from soakline.inputs.weather_table import WeatherTable
from soakline.runfile.sections import ClimateKeys
from soakline.weather.et0 import extraterrestrial_mj
from soakline.weather.series import Weather, weather_of

LATITUDE, ELEVATION = -33.4, 640.0
FURTHER = ("rh_min_pct", "rh_max_pct", "wind_ms", "radiation_mj_m2")


def table(days: int = 731, first: date = date(2023, 1, 1), *further: str) -> WeatherTable:
    """Weather of invented days, with seasons."""
    random = np.random.default_rng(3)
    season = np.cos(2.0 * np.pi * np.arange(days) / 365.25)
    low = 8.0 + 7.0 * season + random.normal(0.0, 2.0, days)
    columns = {
        "rain_mm": np.where(random.random(days) < 0.25, random.exponential(8.0, days), 0.0),
        "tmin_c": low,
        "tmax_c": low + random.uniform(6.0, 16.0, days),
        "rh_min_pct": random.uniform(20.0, 60.0, days),
        "rh_max_pct": random.uniform(65.0, 100.0, days),
        "rh_mean_pct": random.uniform(40.0, 80.0, days),
        "wind_ms": random.uniform(0.5, 5.0, days),
        # From thick cloud to nearly clear; under 0.3 of clear sky the library takes 0.3.
        "radiation_mj_m2": random.uniform(0.25, 0.74, days)
        * extraterrestrial_mj(LATITUDE, np.arange(days) % 365 + 1),
        "sunshine_h": random.uniform(0.0, 10.0, days),
        "dewpoint_c": low - 2.0,
    }
    kept = {"rain_mm", "tmin_c", "tmax_c", *further}
    return WeatherTable(first, {name: own for name, own in columns.items() if name in kept})


def weather(own: WeatherTable, **keys: object) -> Weather:
    return weather_of(own, ClimateKeys(**keys), LATITUDE, ELEVATION)


def dates(days: int, first: date = date(2023, 1, 1)) -> pd.DatetimeIndex:
    return pd.date_range(first, periods=days, freq="D")


@pytest.mark.parametrize(
    "further",
    [FURTHER, ("rh_mean_pct", "wind_ms", "sunshine_h"), ("dewpoint_c", "wind_ms", "sunshine_h")],
)
def test_penman_monteith_agrees_with_an_open_library_to_1_pct(further: tuple[str, ...]) -> None:
    own = table(731, date(2023, 1, 1), *further)
    rows = {name: pd.Series(values, dates(731)) for name, values in own.columns.items()}
    vapour = rows.get("dewpoint_c")
    reference = pyet.pm_fao56(
        tmean=(rows["tmin_c"] + rows["tmax_c"]) / 2.0,
        wind=rows["wind_ms"],
        rs=rows.get("radiation_mj_m2"),
        n=rows.get("sunshine_h"),
        tmax=rows["tmax_c"],
        tmin=rows["tmin_c"],
        rh=rows.get("rh_mean_pct"),
        rhmax=rows.get("rh_max_pct"),
        rhmin=rows.get("rh_min_pct"),
        ea=None if vapour is None else 0.6108 * np.exp(17.27 * vapour / (vapour + 237.3)),
        elevation=ELEVATION,
        lat=np.radians(LATITUDE),
    ).to_numpy()
    found = weather(own, years=2)
    assert found.method == "Penman-Monteith, FAO-56 eq. 6"
    over = np.maximum(reference, 0.2)
    assert np.all(np.abs(found.et0_mm - reference) <= 0.01 * over)


def test_hargreaves_agrees_with_an_open_library_to_1_pct() -> None:
    own = table()
    low, high = (pd.Series(own.columns[name], dates(731)) for name in ("tmin_c", "tmax_c"))
    mean = (low + high) / 2.0
    reference = pyet.hargreaves(tmean=mean, tmax=high, tmin=low, lat=np.radians(LATITUDE))
    # It lets the heat of vaporisation follow temperature; FAO-56 keeps it at 2.45 MJ/kg.
    reference = (reference * (2.501 - 0.002361 * mean) / 2.45).to_numpy()
    found = weather(own, years=2)
    assert found.method.startswith("Hargreaves")
    assert "no humidity, no wind, no radiation or sunshine" in found.method
    assert found.et0_mm == pytest.approx(reference, rel=0.01)


@pytest.mark.parametrize("lacking", FURTHER[1:])
def test_auto_wants_humidity_wind_and_radiation(lacking: str) -> None:
    rest = [name for name in FURTHER if name != lacking and not lacking.startswith(name[:2])]
    assert weather(table(731, date(2023, 1, 1), *rest)).method.startswith("Hargreaves")


def test_what_is_missing_is_filled_by_fao_where_penman_monteith_is_asked_for() -> None:
    found = weather(table(), et0="penman-monteith")
    assert found.method.startswith("Penman-Monteith")
    assert "humidity, wind, radiation or sunshine by its chapter" in found.method
    assert 0.5 < found.et0_mm.mean() / weather(table()).et0_mm.mean() < 1.5


def test_wind_counts_at_its_height() -> None:
    own = table(731, date(2023, 1, 1), *FURTHER)
    assert weather(own, wind_height_m=10.0).et0_mm.mean() < weather(own).et0_mm.mean()


def test_evaporation_that_is_given_is_taken_as_it_is() -> None:
    own = table(400)
    given_mm = np.linspace(0.0, 9.0, 400)
    columns = {"rain_mm": own.columns["rain_mm"], "et0_mm": given_mm}
    found = weather(WeatherTable(date(2023, 1, 1), columns), years=1)
    assert found.method == "as given"
    assert found.et0_mm.tolist() == given_mm[:365].tolist()


def test_years_are_whole_begin_on_the_first_day_and_repeat() -> None:
    first = date(2023, 7, 10)
    days = 366 + 365 + 300  # two whole years, the first with a leap day, and most of a third
    own = table(days, first)
    found = weather(own)
    rain = own.columns["rain_mm"]
    assert found.repeated_years == 2
    assert found.years == 10
    assert np.bincount(found.year)[1:].tolist() == [366, 365] * 5
    assert found.month[0] == 7
    once = found.year <= 2
    assert found.rain_mm[once].tolist() == rain[:731].tolist()
    again = (found.year == 3) | (found.year == 4)
    assert found.rain_mm[again].tolist() == rain[:731].tolist()
    assert weather(own, years=2).repeated_years == 0


@given(st.dates(date(1900, 1, 1), date(2100, 12, 31)), st.integers(365, 1500))
def test_whole_years_are_all_that_fit(first: date, days: int) -> None:
    columns = {"rain_mm": np.arange(days, dtype=float), "et0_mm": np.ones(days)}
    found = weather(WeatherTable(first, columns), years=1)
    assert found.rain_mm.size in (365, 366)
    assert found.rain_mm.tolist() == list(range(found.rain_mm.size))
    every = weather(WeatherTable(first, columns))
    whole = every.repeated_years
    size = np.bincount(every.year)[1 : whole + 1].sum()
    assert size <= days or whole == 1
    assert days - size < 366
