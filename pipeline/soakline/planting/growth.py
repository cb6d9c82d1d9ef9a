"""How wide a crown grows from year to year."""

import numpy as np

from soakline.grid import FloatArray

SHAPE = 1.5
"""Of the growth curve: over 1 it starts slowly, as a planted tree does; common practice, no source.
"""
_GROWN_SHARE = 0.9


def rate_per_year(grown_years: FloatArray) -> FloatArray:
    """Rate k of a crown that has nine tenths of its full width after some years, 1/year."""
    return np.asarray(-np.log(1.0 - _GROWN_SHARE ** (1.0 / SHAPE)) / grown_years)


def crown_width_m(
    age_years: FloatArray, crown_m: FloatArray, grown_years: FloatArray
) -> FloatArray:
    """Width of crowns at an age.

    Parameters
    ----------
    age_years : since planting; none before
    crown_m : when full-grown
    grown_years : after which the crown has nine tenths of that

    Returns
    -------
    m

    Notes
    -----
    The curve of Richards (1959) in the form of Chapman, usual in forestry: w = W (1 − exp(−k t))^p.

    Examples
    --------
    >>> float(crown_width_m(np.array(12.0), np.array(5.0), np.array(12.0)))
    4.5
    """
    age = np.maximum(age_years, 0.0)
    return np.asarray(crown_m * (-np.expm1(-rate_per_year(grown_years) * age)) ** SHAPE)
