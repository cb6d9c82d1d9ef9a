"""Reference evapotranspiration of FAO Irrigation and Drainage Paper 56, and what it is made of.

Every equation is of [FAO56]_ and cited by its number there. Arrays of any shape that broadcast
together; temperatures in °C, radiation in MJ/m² a day, pressures in kPa, depths in mm a day.
"""

import numpy as np
import numpy.typing as npt

from soakline.grid import FloatArray

REFERENCE_WIND_MS = 2.0
"""At 2 m, where wind was not measured: FAO-56, chapter 3, "missing wind speed data"."""
MM_PER_MJ = 0.408
"""Of water that a MJ/m² evaporates, eq. 20."""
_ALBEDO = 0.23
_SOLAR_CONSTANT = 0.0820  # MJ/m² a minute
_STEFAN_BOLTZMANN = 4.903e-9  # MJ/K⁴/m² a day
_KELVIN = 273.16


def saturation_kpa(temperature_c: npt.ArrayLike) -> FloatArray:
    """Vapour pressure of saturated air, eq. 11.

    Examples
    --------
    >>> saturation_kpa([24.5, 15.0]).round(3)
    array([3.075, 1.705])
    """
    temperature = np.asarray(temperature_c, dtype=float)
    return np.asarray(0.6108 * np.exp(17.27 * temperature / (temperature + 237.3)))


def slope_kpa_c(temperature_c: npt.ArrayLike) -> FloatArray:
    """Slope of the curve of `saturation_kpa`, kPa/°C, eq. 13."""
    temperature = np.asarray(temperature_c, dtype=float)
    return np.asarray(4098.0 * saturation_kpa(temperature) / (temperature + 237.3) ** 2)


def pressure_kpa(elevation_m: float) -> float:
    """Mean pressure of the air at an elevation, eq. 7.

    Examples
    --------
    >>> round(pressure_kpa(1800.0), 1)
    81.8
    """
    return float(101.3 * ((293.0 - 0.0065 * elevation_m) / 293.0) ** 5.26)


def psychrometric_kpa_c(elevation_m: float) -> float:
    """Psychrometric constant, kPa/°C, eq. 8.

    Examples
    --------
    >>> round(psychrometric_kpa_c(1800.0), 3)
    0.054
    """
    return 0.665e-3 * pressure_kpa(elevation_m)


def wind_at_2m_ms(wind_ms: npt.ArrayLike, height_m: float) -> FloatArray:
    """Wind at 2 m from that at another height, eq. 47.

    Examples
    --------
    >>> float(wind_at_2m_ms(3.2, 10.0).round(1))
    2.4
    """
    factor = 1.0 if height_m == 2.0 else 4.87 / np.log(67.8 * height_m - 5.42)
    return np.asarray(np.asarray(wind_ms, dtype=float) * factor)


def _sunset_and_declination(
    latitude_deg: float, day_of_year: npt.ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """Sunset hour angle and declination of the sun, rad, eq. 24, 25."""
    day = np.asarray(day_of_year, dtype=float)
    declination = 0.409 * np.sin(2.0 * np.pi / 365.0 * day - 1.39)
    # Past the polar circles the sun stays up or down.
    cosine = np.clip(-np.tan(np.radians(latitude_deg)) * np.tan(declination), -1.0, 1.0)
    return np.asarray(np.arccos(cosine)), np.asarray(declination)


def extraterrestrial_mj(latitude_deg: float, day_of_year: npt.ArrayLike) -> FloatArray:
    """Radiation at the top of the air, eq. 21 to 25.

    Examples
    --------
    >>> float(extraterrestrial_mj(-20.0, 246).round(1))
    32.2
    """
    day = np.asarray(day_of_year, dtype=float)
    sunset, declination = _sunset_and_declination(latitude_deg, day)
    latitude = np.radians(latitude_deg)
    distance = 1.0 + 0.033 * np.cos(2.0 * np.pi / 365.0 * day)
    height = sunset * np.sin(latitude) * np.sin(declination)
    height = height + np.cos(latitude) * np.cos(declination) * np.sin(sunset)
    return np.asarray(24.0 * 60.0 / np.pi * _SOLAR_CONSTANT * distance * np.maximum(height, 0.0))


def daylight_h(latitude_deg: float, day_of_year: npt.ArrayLike) -> FloatArray:
    """Hours of daylight, eq. 34.

    Examples
    --------
    >>> float(daylight_h(-20.0, 246).round(1))
    11.7
    """
    return np.asarray(24.0 / np.pi * _sunset_and_declination(latitude_deg, day_of_year)[0])


def radiation_of_sunshine_mj(
    sunshine_h: npt.ArrayLike, daylight: npt.ArrayLike, extraterrestrial: npt.ArrayLike
) -> FloatArray:
    """Solar radiation by hours of sunshine, eq. 35 with its own a_s = 0.25 and b_s = 0.50."""
    light = np.maximum(np.asarray(daylight, dtype=float), 1e-9)
    share = np.minimum(np.asarray(sunshine_h, dtype=float) / light, 1.0)
    return np.asarray((0.25 + 0.50 * share) * np.asarray(extraterrestrial, dtype=float))


def radiation_of_temperatures_mj(
    tmin_c: npt.ArrayLike, tmax_c: npt.ArrayLike, extraterrestrial: npt.ArrayLike, factor: float
) -> FloatArray:
    """Solar radiation by how far temperatures lie apart, eq. 50; never over that of a clear sky."""
    apart = np.asarray(tmax_c, dtype=float) - np.asarray(tmin_c, dtype=float)
    above = np.asarray(extraterrestrial, dtype=float)
    return np.asarray(np.minimum(factor * np.sqrt(apart), 0.75) * above)


def net_radiation_mj(
    solar: npt.ArrayLike,
    extraterrestrial: npt.ArrayLike,
    tmin_c: npt.ArrayLike,
    tmax_c: npt.ArrayLike,
    vapour_kpa: npt.ArrayLike,
    elevation_m: float,
) -> FloatArray:
    """Net radiation of the reference surface, eq. 37 to 40.

    Parameters
    ----------
    solar, extraterrestrial : radiation at the ground and above the air
    tmin_c, tmax_c, vapour_kpa : of the air; actual vapour pressure
    elevation_m : m
    """
    above = np.asarray(extraterrestrial, dtype=float)
    ground = np.asarray(solar, dtype=float)
    clear = (0.75 + 2e-5 * elevation_m) * above
    # Where the sun never rises, nothing tells how cloudy it is.
    share = np.where(clear > 0.0, ground / np.where(clear > 0.0, clear, 1.0), 1.0)
    share = np.minimum(share, 1.0)
    warm = (np.asarray(tmax_c, dtype=float) + _KELVIN) ** 4
    cold = (np.asarray(tmin_c, dtype=float) + _KELVIN) ** 4
    humid = 0.34 - 0.14 * np.sqrt(np.asarray(vapour_kpa, dtype=float))
    longwave = _STEFAN_BOLTZMANN * (warm + cold) / 2.0 * humid * (1.35 * share - 0.35)
    return np.asarray((1.0 - _ALBEDO) * ground - longwave)


def penman_monteith_mm(
    net_radiation: npt.ArrayLike,
    tmin_c: npt.ArrayLike,
    tmax_c: npt.ArrayLike,
    vapour_kpa: npt.ArrayLike,
    wind_2m_ms: npt.ArrayLike,
    elevation_m: float,
    ground_heat: float = 0.0,
) -> FloatArray:
    """Reference evapotranspiration, eq. 6, mm a day; not under 0.

    Parameters
    ----------
    net_radiation, ground_heat : MJ/m² a day; the latter 0 for days, eq. 42
    tmin_c, tmax_c : °C
    vapour_kpa : actual vapour pressure, kPa
    wind_2m_ms : m/s at 2 m
    elevation_m : m
    """
    low, high = np.asarray(tmin_c, dtype=float), np.asarray(tmax_c, dtype=float)
    mean = (low + high) / 2.0
    wind = np.asarray(wind_2m_ms, dtype=float)
    deficit = (saturation_kpa(low) + saturation_kpa(high)) / 2.0 - np.asarray(
        vapour_kpa, dtype=float
    )
    slope, constant = slope_kpa_c(mean), psychrometric_kpa_c(elevation_m)
    energy = MM_PER_MJ * slope * (np.asarray(net_radiation, dtype=float) - ground_heat)
    drying = constant * 900.0 / (mean + 273.0) * wind * deficit
    return np.asarray(np.maximum((energy + drying) / (slope + constant * (1.0 + 0.34 * wind)), 0.0))


def hargreaves_mm(
    tmin_c: npt.ArrayLike, tmax_c: npt.ArrayLike, extraterrestrial: npt.ArrayLike
) -> FloatArray:
    """Reference evapotranspiration by temperatures alone, eq. 52, mm a day; not under 0."""
    low, high = np.asarray(tmin_c, dtype=float), np.asarray(tmax_c, dtype=float)
    above = MM_PER_MJ * np.asarray(extraterrestrial, dtype=float)
    warmth = (low + high) / 2.0 + 17.8
    return np.asarray(np.maximum(0.0023 * warmth * np.sqrt(high - low) * above, 0.0))
