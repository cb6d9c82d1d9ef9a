"""How tightly lines bend."""

from dataclasses import dataclass

import numpy as np

from soakline.grid import BoolArray, FloatArray

# A corner between two long chords is no wide bend: no more of them than this share of the radius
# asked for counts, on either side.
ARM_SHARE = 1.0 / 3.0
# A bend that misses the radius by this share is none too tight.
_SLACK = 0.01


def bend_per_m(line: FloatArray) -> FloatArray:
    """Bend at each point of a line, to the left positive: 1 over the radius.

    Parameters
    ----------
    line : (n, 2) m; points of a smooth curve, close together

    Returns
    -------
    (n,) 1/m, of the circle through each point and its two neighbours; 0 at both ends
    """
    bend = np.zeros(len(line))
    if len(line) < 3:
        return bend
    before, after = np.diff(line[:-1], axis=0), np.diff(line[1:], axis=0)
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    sides = np.hypot(*before.T) * np.hypot(*after.T) * np.hypot(*(line[2:] - line[:-2]).T)
    bend[1:-1] = 2.0 * cross / np.maximum(sides, 1e-12)
    return bend


@dataclass(frozen=True, slots=True)
class TightBends:
    """Bends of one line that are tighter than asked for.

    Parameters
    ----------
    count : neighbouring vertices are one bend
    radius_m : of the tightest; infinite where there is none
    along_m : where that is, from the line's start
    length_m : of line that bends so
    """

    count: int
    radius_m: float
    along_m: float
    length_m: float


def _turns(
    line: FloatArray, radius_m: float
) -> tuple[BoolArray, FloatArray, FloatArray, FloatArray]:
    """Whether it is too tight, the radius and the length that bends so, at each inner vertex, and
    the chords' lengths; m.
    """
    chord = np.diff(line[:, :2], axis=0)
    size = np.hypot(*chord.T)
    cross = chord[:-1, 0] * chord[1:, 1] - chord[:-1, 1] * chord[1:, 0]
    turn = np.abs(np.arctan2(cross, (chord[:-1] * chord[1:]).sum(axis=1)))
    arm = np.minimum(size / 2.0, ARM_SHARE * radius_m)
    share = arm[:-1] + arm[1:]
    with np.errstate(divide="ignore", over="ignore"):
        radius = np.where(turn > 0.0, share / turn, np.inf)
    return radius < (1.0 - _SLACK) * radius_m, radius, share, size


def tight_vertices(line: FloatArray, radius_m: float) -> tuple[BoolArray, FloatArray]:
    """Inner vertices of a lip where it bends more tightly than a radius, as in `tight_bends`.

    Parameters
    ----------
    line : (k, 2) vertices, m
    radius_m : asked for, m

    Returns
    -------
    (k - 2,) bool, and the length of line that bends so at each, m
    """
    tight, _, share, _ = _turns(line, radius_m)
    return tight, np.where(tight, share, 0.0)


def tight_bends(line: FloatArray, radius_m: float) -> TightBends:
    """Bends of a lip that are tighter than a radius.

    Parameters
    ----------
    line : (k, 2) vertices, m
    radius_m : asked for, m

    Returns
    -------
    TightBends

    Notes
    -----
    At a vertex the radius is half the length of the two chords that meet there over the angle that
    they turn by; of each chord at most two thirds of the radius asked for count, for a machine
    turns at a corner, however long the straights are.

    Examples
    --------
    >>> corner = np.array([[0.0, 0.0], [30.0, 0.0], [30.0, 30.0]])
    >>> bends = tight_bends(corner, 6.0)
    >>> bends.count, round(bends.radius_m, 2), bends.along_m, bends.length_m
    (1, 2.55, 30.0, 4.0)
    """
    tight, radius, share, size = _turns(line, radius_m)
    if not tight.any():
        return TightBends(0, np.inf, 0.0, 0.0)
    count = int(np.count_nonzero(np.diff(tight.astype(np.int8), prepend=0) == 1))
    worst = int(np.argmin(radius))
    along = float(np.cumsum(size)[worst])
    return TightBends(count, float(radius[worst]), along, float(share[tight].sum()))
