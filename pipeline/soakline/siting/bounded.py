"""Least squares with bounds where every unknown is joined to its nearest neighbours only."""

import numpy as np

from soakline.grid import FloatArray

_MOST_STEPS = 10


def bounded_least_squares(
    band: FloatArray, right: FloatArray, least: FloatArray, most: FloatArray
) -> FloatArray:
    """The x between bounds that makes x H x / 2 − f x least.

    Parameters
    ----------
    band : (3, n) upper half of H, positive definite with two diagonals on either side of the main
        one, as `scipy.linalg.solveh_banded` takes it
    right : (n,) f
    least, most : (n,) bounds; equal where x is given

    Returns
    -------
    (n,) x; inside the bounds even where the steps come to no end

    Notes
    -----
    Primal-dual active sets (Hintermüller, Ito & Kunisch 2003, SIAM J. Optim. 13(3), algorithm 1):
    some unknowns are held at a bound and the others solved for; who is held next follows from where
    the others went and which way the held ones pull. Blocks of unknowns that are not joined settle
    each by itself, so that many small problems can be handed over as one.

    Examples
    --------
    >>> band = np.array([[0.0, 0.0, 0.0], [0.0, -1.0, -1.0], [2.0, 2.0, 2.0]])
    >>> bounded_least_squares(band, np.ones(3), np.zeros(3), np.array([9.0, 1.0, 9.0]))
    array([1., 1., 1.])
    """
    from scipy.linalg import solveh_banded  # noqa: PLC0415 - slow to load, no rerun needs it

    given = least >= most
    low, high = given.copy(), np.zeros(right.size, dtype=bool)
    x = np.zeros(right.size)
    for _ in range(_MOST_STEPS):
        free = ~(low | high)
        held = np.where(low, least, np.where(high, most, 0.0))
        rest = band.copy()
        rest[2, ~free] = 1.0
        rest[1, 1:] *= free[1:] & free[:-1]
        rest[0, 2:] *= free[2:] & free[:-2]
        x = solveh_banded(rest, np.where(free, right - _product(band, held), held))
        pull = right - _product(band, x)
        now_low = given | (x < least) | (low & (pull < 0.0))
        now_high = ~given & ((x > most) | (high & (pull > 0.0)))
        if np.array_equal(now_low, low) and np.array_equal(now_high, high):
            break
        low, high = now_low, now_high
    return np.clip(x, least, most)


def _product(band: FloatArray, x: FloatArray) -> FloatArray:
    """H x."""
    out: FloatArray = band[2] * x
    for off in (1, 2):
        beside = band[2 - off, off:]
        out[:-off] += beside * x[off:]
        out[off:] += beside * x[:-off]
    return out
