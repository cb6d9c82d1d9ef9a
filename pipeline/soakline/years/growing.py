"""How canopies close and roots deepen, year by year."""

from dataclasses import dataclass

import numpy as np

from soakline.grid import BoolArray, FloatArray
from soakline.planting.growth import SHAPE, crown_width_m, rate_per_year
from soakline.planting.trees import BANDS, Trees, figures_of
from soakline.runfile.sections import ClimateKeys
from soakline.section.stations import IntArray


@dataclass(frozen=True, eq=False, slots=True)
class Stand:
    """Trees of one kind on one band: counted, not each by itself; all (stands,).

    Parameters
    ----------
    place : swale × bands + band; of trees between swales the swale alone
    count : trees
    crown_m, height_m, grown_years : of the species
    year : in which they are planted
    """

    place: IntArray
    count: FloatArray
    crown_m: FloatArray
    height_m: FloatArray
    grown_years: FloatArray
    year: FloatArray

    @property
    def grown_m2(self) -> FloatArray:
        """Ground under full-grown crowns, (stands,)."""
        return np.asarray(self.count * np.pi / 4.0 * self.crown_m**2)


def stands_of(trees: Trees) -> Stand:
    """Trees beside swales, gathered by swale, band, species and year of planting."""
    return _gathered(trees, trees.lip * len(BANDS) + trees.band, trees.band < len(BANDS))


def stands_between(trees: Trees) -> Stand:
    """Trees between swales, gathered by swale, species and year; `place` is the swale."""
    return _gathered(trees, trees.lip, trees.band >= len(BANDS))


def _gathered(trees: Trees, place: IntArray, which: BoolArray) -> Stand:
    kinds = len(trees.table)
    coded = (place * kinds + trees.species)[which]
    years = int(trees.year.max(initial=0)) + 1
    found, count = np.unique(coded * years + trees.year[which], return_counts=True)
    coded, year = np.divmod(found, years)
    place, species = np.divmod(coded, max(kinds, 1))
    return Stand(
        place=place,
        count=count.astype(float),
        crown_m=figures_of(trees.table, "crown_m")[species],
        height_m=figures_of(trees.table, "height_m")[species],
        grown_years=figures_of(trees.table, "grown_years")[species],
        year=year.astype(float),
    )


def root_area_m2(stand: Stand, strip_m2: FloatArray) -> FloatArray:
    """Ground that the plants of each band root in: its strip, or what crowns cover full-grown.

    Parameters
    ----------
    stand : Stand
    strip_m2 : (swales, bands) ground of the bands

    Returns
    -------
    (swales, bands) m²; it stays the same through all years
    """
    grown = np.bincount(stand.place, stand.grown_m2, minlength=strip_m2.size)
    return np.maximum(strip_m2, grown.reshape(strip_m2.shape))


def coefficients(
    stand: Stand, area_m2: FloatArray, year: int, keys: ClimateKeys
) -> tuple[FloatArray, FloatArray]:
    """Crop coefficients of trees and of the ground between them, by area of each band.

    Parameters
    ----------
    stand : Stand
    area_m2 : (swales, bands) from `root_area_m2`
    year : from 1; crowns as in its middle
    keys : of the run file

    Returns
    -------
    (swales, bands) each

    Notes
    -----
    A canopy that covers a share f of the ground takes min(1, 2 f, f^(1 / (1 + h))) of what a closed
    one does, h its height: [FAO56]_ eq. 98 without the bare soil, in whose place stands the cover.
    Heights grow as crowns do.
    """
    age = year + 0.5 - stand.year
    width = crown_width_m(age, stand.crown_m, stand.grown_years)
    crowns_m2 = stand.count * np.pi / 4.0 * width**2
    height_m = stand.height_m * width / stand.crown_m
    covered, high = (
        np.bincount(stand.place, own, minlength=area_m2.size).reshape(area_m2.shape)
        for own in (crowns_m2, crowns_m2 * height_m)
    )
    height = np.divide(high, covered, out=np.zeros(high.shape), where=covered > 0.0)
    share = np.divide(covered, area_m2, out=np.zeros(covered.shape), where=area_m2 > 0.0)
    share = np.minimum(share, 1.0)
    density = np.minimum(np.minimum(2.0 * share, share ** (1.0 / (1.0 + height))), 1.0)
    return keys.tree_kcb * density, keys.cover_kc * (1.0 - share)


def effect(year: int, keys: ClimateKeys) -> float:
    """How far roots and humus have come: 0 in year 1, 1 from the year of full effect on.

    Examples
    --------
    >>> [round(effect(year, ClimateKeys()), 2) for year in (1, 4, 7, 8)]
    [0.0, 0.5, 1.0, 1.0]
    """
    return min((year - 1) / (keys.full_effect_years - 1), 1.0)


def root_depth_m(year: int, keys: ClimateKeys) -> float:
    """Depth of the root zone in a year, m."""
    young, grown = keys.root_depth_young_m, keys.root_depth_m
    return young + (grown - young) * effect(year, keys)


def reached_share(year: int, keys: ClimateKeys) -> float:
    """Share of the ground below the root zone that roots grow into at the end of a year."""
    now, following = root_depth_m(year, keys), root_depth_m(year + 1, keys)
    return (following - now) / (keys.root_depth_m - now) if following > now else 0.0


def years_to_height(height_m: float, grown_m: FloatArray, grown_years: FloatArray) -> FloatArray:
    """Age at which trees reach a height, growing as crowns do; infinite where they never do.

    Parameters
    ----------
    height_m : to be reached
    grown_m, grown_years : (n,) full height, and age at which nine tenths of it are reached

    Returns
    -------
    (n,) years

    Examples
    --------
    >>> years_to_height(4.5, np.array([5.0, 4.0]), np.array([12.0, 12.0])).round(6).tolist()
    [12.0, inf]
    """
    share = np.minimum(height_m / grown_m, 1.0)
    reaches = share < 1.0
    left = np.where(reaches, 1.0 - share ** (1.0 / SHAPE), 1.0)
    return np.where(reaches, -np.log(left) / rate_per_year(grown_years), np.inf)
