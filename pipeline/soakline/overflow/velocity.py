"""How fast spilled water runs, and how fast it may run before it cuts the ground."""

from functools import cache
from typing import Literal

import numpy as np
import numpy.typing as npt

from soakline import tables
from soakline.grid import FloatArray
from soakline.water.time_of_concentration import slope_of

SoilResistance = Literal["erodible", "erosion-resistant"]

_COLUMN = {"erodible": "erodible_ms", "erosion-resistant": "erosion_resistant_ms"}
_BARE = "bare-"


@cache
def _bands() -> dict[str, list[tuple[float, dict[str, float]]]]:
    """Cover to its bands, gentle to steep: the steepest slope of each, and its velocities."""
    bands: dict[str, list[tuple[float, dict[str, float]]]] = {}
    for row in tables.rows("permissible_velocity.csv"):
        steepest_pct = float(row["slope_to_pct"] or "inf")
        speeds = {soil: float(row[column]) for soil, column in _COLUMN.items()}
        bands.setdefault(row["cover"], []).append((steepest_pct, speeds))
    return bands


def covers() -> tuple[str, ...]:
    """Covers that the table of permissible velocities has, in its order."""
    return tuple(cover for cover in _bands() if not cover.startswith(_BARE))


def permissible_ms(cover: str, soil: SoilResistance, slope_pct: float) -> float | None:
    """Velocity that an established cover bears.

    Parameters
    ----------
    cover : a cover of `config/permissible_velocity.csv`, such as `grass-mixture`
    soil : "erodible" or "erosion-resistant"
    slope_pct : of the flow path, not negative; a slope on the limit of two bands belongs to the
        gentler, as "not above 10 %" is printed

    Returns
    -------
    m/s, or None where the ground is steeper than the table's last row: lining is needed

    Raises
    ------
    ValueError
        If the table has no such cover or soil, or the slope is negative.

    Notes
    -----
    [TP61]_ Table 3.

    Examples
    --------
    >>> permissible_ms("grass-mixture", "erodible", 8.0)
    0.9144
    >>> permissible_ms("grass-mixture", "erodible", 12.0) is None
    True
    """
    if cover not in covers():
        raise ValueError(f"no cover {cover!r}; there are {', '.join(covers())}")
    if soil not in _COLUMN:
        raise ValueError(f"soil is erodible or erosion-resistant, not {soil!r}")
    if not slope_pct >= 0.0:
        raise ValueError(f"slope must not be negative: {slope_pct} %")
    for steepest_pct, speeds in _bands()[cover]:
        if slope_pct <= steepest_pct:
            return speeds[soil]
    return None


def bare_earth_permissible_ms(texture: str) -> float:
    """Velocity that bare ground bears until grass stands.

    Parameters
    ----------
    texture : USDA texture with hyphens, such as `sandy-loam`

    Returns
    -------
    m/s

    Raises
    ------
    ValueError
        If the table has no such texture.

    Notes
    -----
    [MinnesotaManual]_, runoff on to a bare berm; textures that it does not name have the lower
    figure of those beside them, as the table's `source` says.

    Examples
    --------
    >>> bare_earth_permissible_ms("clay")
    0.762
    """
    bands = _bands().get(f"{_BARE}{texture}")
    if bands is None:
        raise ValueError(f"no bare-earth velocity for texture {texture!r}")
    return bands[0][1]["erodible"]


def manning_velocity_ms(
    hydraulic_radius_m: npt.ArrayLike, slope: npt.ArrayLike, n: npt.ArrayLike
) -> FloatArray:
    """Mean velocity of steady uniform flow.

    Parameters
    ----------
    hydraulic_radius_m : any shape, m; the depth, for a wide sheet
    slope : m/m (not percent), broadcast
    n : Manning's roughness, s/m^(1/3), positive, broadcast

    Returns
    -------
    broadcast shape, m/s

    Raises
    ------
    ValueError
        If a radius or slope is negative, or n not positive.

    Notes
    -----
    V = R^(2/3) S^(1/2) / n, [Chow1959]_ eq. 5-6 in SI units.

    Examples
    --------
    >>> manning_velocity_ms(0.10, 0.02, 0.05).round(3)
    np.float64(0.609)
    """
    radius, fall, roughness = (
        np.asarray(value, dtype=np.float64) for value in (hydraulic_radius_m, slope, n)
    )
    if not (np.all(radius >= 0.0) and np.all(fall >= 0.0) and np.all(roughness > 0.0)):
        raise ValueError("radius and slope must not be negative, roughness must be positive")
    return np.asarray(radius ** (2.0 / 3.0) * np.sqrt(fall) / roughness)


def sheet_depth_m(flow_m2s: npt.ArrayLike, slope: npt.ArrayLike, n: npt.ArrayLike) -> FloatArray:
    """Normal depth of a wide sheet.

    Parameters
    ----------
    flow_m2s : any shape, m³/s per metre of width, not negative
    slope : m/m (not percent), positive, broadcast
    n : Manning's roughness, s/m^(1/3), positive, broadcast

    Returns
    -------
    broadcast shape, m

    Raises
    ------
    ValueError
        If the flow is negative, or slope or n not positive: water on level ground has no normal
        depth.

    Notes
    -----
    Manning with R = d, solved: d = (q n / S^(1/2))^(3/5), [Chow1959]_.

    Examples
    --------
    >>> sheet_depth_m(0.0609, 0.02, 0.05).round(3)
    np.float64(0.1)
    """
    flow, fall, roughness = (np.asarray(value, dtype=np.float64) for value in (flow_m2s, slope, n))
    if not (np.all(flow >= 0.0) and np.all(fall > 0.0) and np.all(roughness > 0.0)):
        raise ValueError("flow must not be negative, slope and roughness must be positive")
    return np.asarray((flow * roughness / np.sqrt(fall)) ** 0.6)


def travel_time_s(
    length_m: npt.ArrayLike, drop_m: npt.ArrayLike, flow_m2s: float, manning_n: float
) -> FloatArray:
    """Time that a change of flow takes down a way which runs as a wide sheet.

    Parameters
    ----------
    length_m, drop_m : any shape, m, not negative
    flow_m2s : per metre of width, m³/s, positive
    manning_n : s/m^(1/3), positive

    Returns
    -------
    broadcast shape, s; 0 for a way without length

    Notes
    -----
    A rise of water runs ahead of the water itself: in a wide channel by Manning at 5/3 of its
    velocity, the celerity of the kinematic wave, [Chow1988]_ section 9.3.

    Examples
    --------
    >>> travel_time_s([100.0, 0.0], [4.0, 0.0], 0.046, 0.035).round(1)
    array([72.3,  0. ])
    """
    length = np.asarray(length_m, dtype=np.float64)
    slope = slope_of(length, np.asarray(drop_m, dtype=np.float64))
    water_ms = flow_m2s / sheet_depth_m(flow_m2s, slope, manning_n)
    return np.asarray(length / (5.0 / 3.0 * water_ms))
