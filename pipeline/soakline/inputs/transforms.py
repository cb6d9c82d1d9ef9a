"""Rows and columns of a file's own grid, in any orientation, and where they lie in its CRS.

Written out, since the operator that applies an `Affine` changed between versions of that library.
"""

from typing import TypeVar

from affine import Affine

from soakline.grid import FloatArray

Place = TypeVar("Place", float, FloatArray)


def applied(transform: Affine, column: Place, row: Place) -> tuple[Place, Place]:
    """Where a fractional column and row lie; (0, 0) is the outer corner of the first cell.

    Examples
    --------
    >>> applied(Affine(2.0, 0.0, 100.0, 0.0, -2.0, 50.0), 3.0, 1.0)
    (106.0, 48.0)
    """
    t = transform
    return t.a * column + t.b * row + t.c, t.d * column + t.e * row + t.f


def moved_corner(transform: Affine, columns: int, rows: int) -> Affine:
    """Give the same grid, counted from another of its cells."""
    x, y = applied(transform, float(columns), float(rows))
    return Affine(transform.a, transform.b, x, transform.d, transform.e, y)
