"""The level sill as a broad-crested weir: how long, how high the water stands over it."""

import numpy as np
import numpy.typing as npt

from soakline.grid import FloatArray


def sill_length_m(peak_m3s: npt.ArrayLike, head_m: npt.ArrayLike, coefficient: float) -> FloatArray:
    """Length of level sill that passes a peak at a given head.

    Parameters
    ----------
    peak_m3s : (n,) array, m³/s; 0 where a swale does not spill
    head_m : m, total head above the sill, positive
    coefficient : m^0.5/s; no default: 1.705 is loss-free, real crests less

    Returns
    -------
    (n,) array, m

    Raises
    ------
    ValueError
        If head or coefficient is not positive, or a peak is negative.

    Notes
    -----
    L = Q / (C h^1.5), [Chow1959]_ section 3-8.

    Examples
    --------
    >>> sill_length_m([0.10], 0.10, 1.705).round(3)
    array([1.855])
    """
    peak, head = _checked(peak_m3s, head_m, "head")
    if coefficient <= 0.0:
        raise ValueError(f"weir coefficient must be positive, not {coefficient}")
    return np.asarray(peak / (coefficient * head**1.5))


def head_m(peak_m3s: npt.ArrayLike, length_m: npt.ArrayLike, coefficient: float) -> FloatArray:
    """Head over a level sill of a given length while a peak passes.

    Parameters
    ----------
    peak_m3s : (n,) array, m³/s
    length_m : m along the lip, positive, broadcast against it
    coefficient : m^0.5/s, as in `sill_length_m`

    Returns
    -------
    (n,) array, m

    Raises
    ------
    ValueError
        If length or coefficient is not positive, or a peak is negative.

    Notes
    -----
    h = (Q / (C L))^(2/3), the inverse of `sill_length_m`.

    Examples
    --------
    >>> head_m([0.10], 10.0, 1.705).round(4)
    array([0.0325])
    """
    peak, length = _checked(peak_m3s, length_m, "length")
    if coefficient <= 0.0:
        raise ValueError(f"weir coefficient must be positive, not {coefficient}")
    return np.asarray((peak / (coefficient * length)) ** (2.0 / 3.0))


def _checked(
    peak_m3s: npt.ArrayLike, size_m: npt.ArrayLike, what: str
) -> tuple[FloatArray, FloatArray]:
    peak = np.asarray(peak_m3s, dtype=np.float64)
    size = np.asarray(size_m, dtype=np.float64)
    if not np.all(size > 0.0):
        raise ValueError(f"{what} must be positive, found {size.min():g} m")
    if not np.all(peak >= 0.0):
        raise ValueError(f"a peak cannot be negative: {peak.min():g} m³/s")
    return peak, size
