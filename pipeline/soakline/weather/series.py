"""Every day's rain and reference evapotranspiration, from whatever table of weather there is."""

from dataclasses import dataclass
from datetime import date

import numpy as np

from soakline.grid import FloatArray
from soakline.inputs.weather_table import WeatherTable
from soakline.runfile.sections import ClimateKeys
from soakline.weather import et0
from soakline.weather.generated import DayArray, generated_rain_mm

LEAST_YEARS = 10
"""That are followed where the run file tells no number."""
# Days that are made of monthly means have to have dates; a year with 365 days comes first.
_MADE_FROM = date(2001, 1, 1)
# FAO-56 takes the radiation of a month from that of its middle: these days of the year.
_MID_MONTH = np.array([15, 46, 75, 105, 135, 162, 198, 228, 258, 288, 318, 344])


@dataclass(frozen=True, eq=False, slots=True)
class Weather:
    """Days in their order; all (days,).

    Parameters
    ----------
    month : 1 to 12
    year : from 1, each beginning on the day of the first
    rain_mm, et0_mm : of each day
    first_day : date of the first, as text
    method : where reference evapotranspiration comes from, in words
    repeated_years : whole years of the table, where it is shorter than what is followed; else 0
    """

    month: DayArray
    year: DayArray
    rain_mm: FloatArray
    et0_mm: FloatArray
    first_day: str
    method: str
    repeated_years: int

    @property
    def years(self) -> int:
        return int(self.year[-1])


def weather_of(
    table: WeatherTable, keys: ClimateKeys, latitude_deg: float, elevation_m: float
) -> Weather:
    """Days that a plan is followed through.

    Parameters
    ----------
    table : daily, or means of months
    keys : of the run file
    latitude_deg : of the property, south negative
    elevation_m : of its ground

    Returns
    -------
    Weather; whole years only, a daily table over again where more are asked for than it has
    """
    if table.first_day is None:
        years = keys.years or LEAST_YEARS
        month, year, _ = _calendar(_MADE_FROM, years)
        monthly, method = _et0_mm(table, _MID_MONTH, keys, latitude_deg, elevation_m)
        columns = table.columns
        rain = generated_rain_mm(month - 1, columns["rain_mm"], columns["wet_days"], keys.seed)
        told = f"{method}, mean of each month"
        return Weather(month, year, rain, monthly[month - 1], str(_MADE_FROM), told, 0)
    days = table.columns["rain_mm"].size
    whole = _whole_years(table.first_day, days)
    # A single year with a leap day may lack its last day.
    month, year, day_of_year = (own[:days] for own in _calendar(table.first_day, whole))
    evaporation, method = _et0_mm(table, day_of_year, keys, latitude_deg, elevation_m)
    wanted = keys.years or max(whole, LEAST_YEARS)
    # Over and over, a year at a time, until there are enough.
    start = np.searchsorted(year, np.arange(1, whole + 2))
    turns = np.arange(wanted) % whole
    taken = np.concatenate([np.arange(start[turn], start[turn + 1]) for turn in turns])
    length = np.diff(start)[turns]
    return Weather(
        month=month[taken],
        year=np.repeat(np.arange(1, wanted + 1), length),
        rain_mm=table.columns["rain_mm"][taken],
        et0_mm=evaporation[taken],
        first_day=str(table.first_day),
        method=method,
        repeated_years=whole if wanted > whole else 0,
    )


def _anniversary(first: date, years: int) -> np.datetime64:
    """The same day some years later; the last of February begins its years in March."""
    leap_day = first.month == 2 and first.day == 29
    first = date(first.year, 3, 1) if leap_day and years else first
    return np.datetime64(f"{first.year + years:04d}-{first.month:02d}-{first.day:02d}", "D")


def _whole_years(first: date, days: int) -> int:
    """Years that some days make, at least one."""
    last = np.datetime64(first, "D") + days
    years = 1
    while _anniversary(first, years + 1) <= last:
        years += 1
    return years


def _calendar(first: date, years: int) -> tuple[DayArray, DayArray, DayArray]:
    """Month, year from 1 and day of the year of each day of whole years."""
    begin = [_anniversary(first, own) for own in range(years + 1)]
    days = np.arange(begin[0], begin[-1])
    month = days.astype("datetime64[M]").astype(np.int64) % 12 + 1
    day_of_year = (days - days.astype("datetime64[Y]")).astype(np.int64) + 1
    year = np.searchsorted(np.array(begin), days, side="right")
    return month, year.astype(np.int64), day_of_year


def _et0_mm(
    table: WeatherTable,
    day_of_year: DayArray,
    keys: ClimateKeys,
    latitude_deg: float,
    elevation_m: float,
) -> tuple[FloatArray, str]:
    """Reference evapotranspiration of the first rows of a table, (days,), and how it was found."""
    rows = {name: own[: day_of_year.size] for name, own in table.columns.items()}
    if "et0_mm" in rows:
        return rows["et0_mm"], "as given"
    low, high = rows["tmin_c"], rows["tmax_c"]
    above = et0.extraterrestrial_mj(latitude_deg, day_of_year)
    vapour, wind = _vapour_kpa(rows), rows.get("wind_ms")
    solar = _solar_mj(rows, latitude_deg, day_of_year, above)
    lacking = [
        name
        for name, own in (("humidity", vapour), ("wind", wind), ("radiation or sunshine", solar))
        if own is None
    ]
    if keys.et0 == "hargreaves" or (keys.et0 == "auto" and lacking):
        why = f": no {', no '.join(lacking)}" if lacking and keys.et0 == "auto" else ""
        return et0.hargreaves_mm(low, high, above), f"Hargreaves, FAO-56 eq. 52{why}"
    # What is missing all the same: FAO-56, chapter 3, eq. 48 and 50, and a wind of 2 m/s.
    if vapour is None:
        vapour = et0.saturation_kpa(low)
    if solar is None:
        solar = et0.radiation_of_temperatures_mj(low, high, above, keys.radiation_factor)
    at_2m = (
        np.full_like(low, et0.REFERENCE_WIND_MS)
        if wind is None
        else et0.wind_at_2m_ms(wind, keys.wind_height_m)
    )
    net = et0.net_radiation_mj(solar, above, low, high, vapour, elevation_m)
    found = et0.penman_monteith_mm(net, low, high, vapour, at_2m, elevation_m)
    why = f": {', '.join(lacking)} by its chapter on missing data" if lacking else ""
    return found, f"Penman-Monteith, FAO-56 eq. 6{why}"


def _vapour_kpa(rows: dict[str, FloatArray]) -> FloatArray | None:
    """Actual vapour pressure, FAO-56 eq. 14, 17 and 19, the best that the columns allow."""
    low, high = et0.saturation_kpa(rows["tmin_c"]), et0.saturation_kpa(rows["tmax_c"])
    if "dewpoint_c" in rows:
        return np.minimum(et0.saturation_kpa(rows["dewpoint_c"]), (low + high) / 2.0)
    if "rh_min_pct" in rows:
        damp, dry = rows["rh_max_pct"] / 100.0, rows["rh_min_pct"] / 100.0
        return np.asarray((low * damp + high * dry) / 2.0)
    if "rh_mean_pct" in rows:
        return np.asarray(rows["rh_mean_pct"] / 100.0 * (low + high) / 2.0)
    return None


def _solar_mj(
    rows: dict[str, FloatArray], latitude_deg: float, day_of_year: DayArray, above: FloatArray
) -> FloatArray | None:
    """Solar radiation, measured or by hours of sunshine."""
    if "radiation_mj_m2" in rows:
        return rows["radiation_mj_m2"]
    if "sunshine_h" in rows:
        light = et0.daylight_h(latitude_deg, day_of_year)
        return et0.radiation_of_sunshine_mj(rows["sunshine_h"], light, above)
    return None
