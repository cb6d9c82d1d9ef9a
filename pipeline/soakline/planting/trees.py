"""Trees of a plan."""

from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
import numpy.typing as npt

from soakline.grid import FloatArray
from soakline.inputs.species import Species
from soakline.section.stations import IntArray

Band = Literal["mound", "below", "uphill", "trench"]
BANDS: tuple[Band, ...] = get_args(Band)
"""On and beside a swale."""
ALL_BANDS: tuple[str, ...] = (*BANDS, "between")
"""And the ground up to the next one, which no swale feeds."""


@dataclass(frozen=True, eq=False, slots=True)
class Trees:
    """Trees in order of swale, band and chainage, between swales row by row.

    Parameters
    ----------
    table : species to which `species` points
    lip : (n,) swale of each
    band : (n,) index into `ALL_BANDS`
    species : (n,) index into `table`
    year : (n,) in which each is planted, from 1
    easting_m, northing_m : (n,) m
    shaded_from : (places,) year by whose end each place on the trenches is shaded; infinite where
        none ever is
    shaded_lip : (places,) swale of each
    closing_crown_m : (swales,) width at which crowns would close over the trench, trees where they
        stand; NaN where full-grown ones do
    """

    table: tuple[Species, ...]
    lip: IntArray
    band: IntArray
    species: IntArray
    year: IntArray
    easting_m: FloatArray
    northing_m: FloatArray
    shaded_from: FloatArray
    shaded_lip: IntArray
    closing_crown_m: FloatArray

    @property
    def crown_m(self) -> FloatArray:
        """Full-grown, (n,) m."""
        return figures_of(self.table, "crown_m")[self.species]

    @property
    def names(self) -> npt.NDArray[np.object_]:
        """Botanical name of each, (n,)."""
        return np.array([own.species for own in self.table], dtype=object)[self.species]


def figures_of(
    table: tuple[Species, ...], figure: Literal["height_m", "crown_m", "grown_years"]
) -> FloatArray:
    """One figure of every species, (species,)."""
    return np.array([getattr(own, figure) for own in table], dtype=float)
