"""The mound: spoil laid on the downhill side, on its own sloping ground.

Coordinates of a cross-section: the lip at 0, downhill positive; heights relative to the full-water
level.
"""

from dataclasses import dataclass
from typing import Generic

import numpy as np
import numpy.typing as npt

from soakline.grid import FloatArray
from soakline.section.trench import Measure

# Beside a cut face higher than this spoil is kept so far off: OSHA1926, 1926.651(j)(2), 2 ft.
HIGH_FACE_M, SPOIL_OFF_M = 1.2, 0.6


@dataclass(frozen=True, slots=True)
class Mound(Generic[Measure]):
    """Shape of a mound: berm of one in a number, or of several in an array.

    Parameters
    ----------
    berm_m : strip between lip and uphill toe, m
    batter : horizontal per 1 vertical, both faces
    least_crest_m : least width of the crest, m
    """

    berm_m: Measure
    batter: float
    least_crest_m: float

    @property
    def steepest_fall(self) -> float:
        """Of the ground, rise over run: on steeper ground the downhill face hardly ends."""
        return 0.9 / self.batter

    def borne_by(self, fall: FloatArray) -> FloatArray:
        """Fall of the ground as far as a mound stands on it, (n,) rise over run."""
        return np.minimum(fall, self.steepest_fall)


@dataclass(frozen=True, slots=True)
class MoundShape(Mound[float]):
    """What every mound of a plan has in common; its berm is the least."""

    def off_faces(self, face_height_m: FloatArray) -> "MoundShapes":
        """Mounds kept off high cut faces.

        Parameters
        ----------
        face_height_m : (n,) highest cut face beside each mound, m

        Examples
        --------
        >>> MoundShape(0.3, 2.0, 0.5).off_faces(np.array([1.2, 1.21])).berm_m
        array([0.3, 0.6])
        """
        least = np.where(face_height_m > HIGH_FACE_M, SPOIL_OFF_M, 0.0)
        return MoundShapes(np.maximum(least, self.berm_m), self.batter, self.least_crest_m)


@dataclass(frozen=True, eq=False, slots=True)
class MoundShapes(Mound[FloatArray]):
    """Mounds of several swales or stations, berms in an (n,) array."""

    def take(self, index: npt.NDArray[np.int64]) -> "MoundShapes":
        """The mound that each index names; of the index's shape."""
        return MoundShapes(self.berm_m[index], self.batter, self.least_crest_m)


def toe_m(
    shape: MoundShape | MoundShapes,
    crest_height_m: FloatArray,
    crest_width_m: FloatArray,
    ground_above_m: FloatArray,
    slope: FloatArray,
) -> FloatArray:
    """Distance from the lip to the downhill toe.

    Parameters
    ----------
    shape : of one mound, or of each
    crest_height_m : settled crest above the level, m
    crest_width_m : m
    ground_above_m : ground less level at the lip, m
    slope : fall of the ground away from the lip, rise over run; under 1 / batter

    Returns
    -------
    m
    """
    rise = crest_height_m - (ground_above_m - slope * shape.berm_m)
    crest_end = shape.berm_m + shape.batter * rise + crest_width_m
    return (shape.batter * (crest_height_m - ground_above_m) + crest_end) / (
        1.0 - slope * shape.batter
    )


def over_ground_m(
    shape: MoundShape | MoundShapes,
    crest_height_m: FloatArray,
    crest_width_m: FloatArray,
    ground_above_m: FloatArray,
    slope: FloatArray,
    down_m: FloatArray,
) -> FloatArray:
    """Height of the mound over its ground.

    Parameters
    ----------
    down_m : distance from the lip, m
    others : as in `toe_m`

    Returns
    -------
    m; 0 beside the mound
    """
    ground = ground_above_m - slope * down_m
    start = ground_above_m - slope * shape.berm_m
    crest_end = shape.berm_m + shape.batter * (crest_height_m - start) + crest_width_m
    inner = start + (down_m - shape.berm_m) / shape.batter
    outer = crest_height_m - (down_m - crest_end) / shape.batter
    over = np.minimum(np.minimum(inner, crest_height_m), outer) - ground
    return np.where(down_m < shape.berm_m, 0.0, np.maximum(over, 0.0))


def section_area_m2(
    shape: MoundShape | MoundShapes,
    crest_height_m: FloatArray,
    crest_width_m: FloatArray,
    ground_above_m: FloatArray,
    slope: FloatArray,
) -> FloatArray:
    """Area of the mound above its ground, per metre of length.

    Parameters as in `toe_m`.

    Returns
    -------
    m²; the area under face, crest and face, less that under the ground line
    """
    start = shape.berm_m
    ground_at_start = ground_above_m - slope * start
    run = shape.batter * (crest_height_m - ground_at_start)
    crest_end = start + run + crest_width_m
    toe = toe_m(shape, crest_height_m, crest_width_m, ground_above_m, slope)
    ground_at_toe = ground_above_m - slope * toe
    top = (
        run * (ground_at_start + crest_height_m) / 2.0
        + crest_width_m * crest_height_m
        + (toe - crest_end) * (crest_height_m + ground_at_toe) / 2.0
    )
    return top - (toe - start) * (ground_at_start + ground_at_toe) / 2.0


def crest_width_for_m(
    shape: MoundShape | MoundShapes,
    crest_height_m: FloatArray,
    area_m2: FloatArray,
    ground_above_m: FloatArray,
    slope: FloatArray,
) -> FloatArray:
    """Width of crest that a given area of spoil makes at a given crest height.

    Parameters
    ----------
    area_m2 : spoil per metre of mound, m²
    others : as in `toe_m`

    Returns
    -------
    m, at least the least crest: spoil that is short is told by comparing `section_area_m2`
    """
    at = [
        section_area_m2(shape, crest_height_m, np.asarray(float(c)), ground_above_m, slope)
        for c in range(3)
    ]
    return np.maximum(width_that_holds_m((at[0], at[1], at[2]), area_m2), shape.least_crest_m)


def width_that_holds_m(
    held: tuple[FloatArray, FloatArray, FloatArray], wanted: FloatArray
) -> FloatArray:
    """Width of crest at which a mound holds some area or volume.

    Parameters
    ----------
    held : (n,) each: with crests of 0, 1 and 2 m
    wanted : (n,) in the same unit

    Returns
    -------
    (n,) m, not negative

    Notes
    -----
    What is held is a quadratic in the crest's width c, a0 + a1 c + a2 c², because every crest metre
    stands on ground that falls on; its coefficients come from the three mounds.
    """
    a2 = (held[2] - 2.0 * held[1] + held[0]) / 2.0
    a1 = held[1] - held[0] - a2
    missing = np.maximum(wanted - held[0], 0.0)
    # The stable form of the root: a2 goes to 0 on level ground, and both where no mound is.
    root = a1 + np.sqrt(np.maximum(a1**2 + 4.0 * a2 * missing, 0.0))
    return np.asarray(2.0 * missing / np.where(root > 0.0, root, 1.0))
