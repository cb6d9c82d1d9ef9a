"""The trench: a level trapezoid cut into sloping ground.

Coordinates of a cross-section: the lip at 0, uphill positive; heights relative to the full-water
level. Slopes are rise over run (0.08, not 8 %), batters horizontal per 1 vertical.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Generic, TypeVar

import numpy as np
import numpy.typing as npt

from soakline.grid import FloatArray

# Past this product of batter and cross-slope the uphill batter hardly meets the hill any more.
STEEPEST_BATTER_SLOPE = 0.6


Measure = TypeVar("Measure", float, FloatArray)


@dataclass(frozen=True, slots=True)
class Trapezoid(Generic[Measure]):
    """Trapezoid below the full-water level: of one swale in numbers, or of several in arrays.

    Parameters
    ----------
    base_width_m, depth_m : width of the base and its depth below the level, m
    batter : horizontal per 1 vertical, both sides
    """

    base_width_m: Measure
    depth_m: Measure
    batter: Measure

    @property
    def top_width_m(self) -> Measure:
        """Width of the water when full, m."""
        return self.base_width_m + 2.0 * self.batter * self.depth_m

    @property
    def area_m2(self) -> Measure:
        """Water held per metre of length, m²; A = d (b + m d)."""
        return self.depth_m * (self.base_width_m + self.batter * self.depth_m)

    def volume_below_m3(
        self, depth_m: float | FloatArray, length_m: float | FloatArray
    ) -> FloatArray:
        """Water in a trench with battered ends, filled to a depth.

        Parameters
        ----------
        depth_m : of the water above the base, m
        length_m : of the lip, which is the length of the full water surface, m

        Returns
        -------
        m³

        Notes
        -----
        Both ends slope in at the same batter: the width at height y is b + 2 m y and the length
        L − 2 m (d − y); their product is integrated from the base up.
        """
        b, d, m = self.base_width_m, self.depth_m, self.batter
        y = np.asarray(depth_m, dtype=float)
        base_length = np.asarray(length_m, dtype=float) - 2.0 * m * d
        linear = 2.0 * m * (b + base_length)
        volume: FloatArray = b * base_length * y + linear * y**2 / 2.0 + 4.0 * m * m * y**3 / 3.0
        return volume

    def capacity_m3(self, length_m: float | FloatArray) -> FloatArray:
        """Water held when full, m³, ends battered."""
        return self.volume_below_m3(self.depth_m, length_m)


@dataclass(frozen=True, slots=True)
class Trench(Trapezoid[float]):
    """The trench of one swale."""


@dataclass(frozen=True, eq=False, slots=True)
class Trenches(Trapezoid[FloatArray]):
    """Trenches of several swales or stations, (n,) arrays."""

    def take(self, index: npt.NDArray[np.int64]) -> "Trenches":
        """The trench that each index names; (k,)."""
        return Trenches(self.base_width_m[index], self.depth_m[index], self.batter[index])


def trenches_of(sections: Sequence[Trench]) -> Trenches:
    """The trenches of several swales in arrays."""
    return Trenches(
        np.array([own.base_width_m for own in sections], dtype=float),
        np.array([own.depth_m for own in sections], dtype=float),
        np.array([own.batter for own in sections], dtype=float),
    )


def base_area_m2(trench: Trenches, length_m: FloatArray) -> FloatArray:
    """Area of level bases, between the slopes of their ends; (swales,) m²."""
    length = length_m - 2.0 * trench.batter * trench.depth_m
    return np.asarray(trench.base_width_m * np.maximum(length, 0.0))


def daylight_m(
    trench: Trench | Trenches, ground_above_m: FloatArray, slope: FloatArray
) -> FloatArray:
    """Distance from the lip to where the uphill batter meets the hill.

    Parameters
    ----------
    trench : Trench
    ground_above_m : (n,) ground less level at the lip, m
    slope : (n,) cross-slope, rise over run

    Returns
    -------
    (n,) m, x = (T + m e) / (1 − s m)

    Raises
    ------
    ValueError
        If batter times slope reaches 0.6 anywhere: the cut would run far up the hill.
    """
    if np.any(trench.batter * np.asarray(slope) >= STEEPEST_BATTER_SLOPE):
        raise ValueError("batter times cross-slope must stay under 0.6")
    return (trench.top_width_m + trench.batter * ground_above_m) / (1.0 - slope * trench.batter)


def cut_area_m2(
    trench: Trench | Trenches, ground_above_m: FloatArray, slope: FloatArray
) -> FloatArray:
    """Area cut per metre of length, wedge above the level included.

    Parameters
    ----------
    trench : Trench
    ground_above_m : (n,) ground less level at the lip, e, m
    slope : (n,) cross-slope s, rise over run

    Returns
    -------
    (n,) m², A + e x + s x² / 2 − m (e + s x)² / 2 with x of `daylight_m`; for e = 0 this is
    A + T² s / (2 (1 − s m))

    Examples
    --------
    >>> cut_area_m2(Trench(1.5, 0.5, 1.5), np.array([0.0]), np.array([0.08])).round(4)
    array([1.5341])
    """
    e, s = np.asarray(ground_above_m), np.asarray(slope)
    x = daylight_m(trench, e, s)
    return trench.area_m2 + e * x + s * x**2 / 2.0 - trench.batter * (e + s * x) ** 2 / 2.0
