"""Slope classes of cells without specks, each with the area that it had."""

from itertools import pairwise

import numpy as np
import numpy.typing as npt

from soakline.grid import BoolArray, FloatArray, GroundArray
from soakline.terrain.flow import Uint8Array

# Shifts of the limits are tried this often, or until areas are this near, as a share of the land.
_ROUNDS = 8
_NEARLY = 0.002
# Then cells along the edges of patches change sides, until each class is this near to its own area.
_CLASS_NEARLY = 0.01
_EDGE_ROUNDS = 24
_STALE_ROUNDS = 3
# Where that is not enough, as on ground too rough for patches of one class, slopes are smoothed by
# more and more of a speck's radius, until each class with room for ten specks has its own area.
_SMOOTHED_BY = (0.35, 0.7, 1.4, 2.8)
_MOST_OFF = 0.018
_LARGE_SPECKS = 10


def class_of(
    slope_pct: GroundArray | FloatArray, lower_limits_pct: FloatArray
) -> npt.NDArray[np.int64]:
    """Number of the class of each cell, from 1; the lower limit of a class belongs to it.

    FAO 2006, Guidelines for soil description, 4th ed., Table 7, does not say which class a limit
    value falls in; here it is the upper one.
    """
    above = np.searchsorted(lower_limits_pct, slope_pct, side="right")
    return np.asarray(above + 1, dtype=np.int64)


def _sieved(slope: GroundArray, limits_pct: FloatArray, least: int) -> Uint8Array:
    """Classes by given limits, patches of fewer cells than given in the class around them."""
    return _sieve(class_of(slope, limits_pct).astype(np.uint8), least)


def _sieve(classes: Uint8Array, least: int) -> Uint8Array:
    if least <= 1:
        return classes
    from rasterio.features import sieve  # noqa: PLC0415 - slow to load, no rerun needs it

    return np.asarray(sieve(classes, least, connectivity=4), dtype=np.uint8)


def clean_classes(
    slope: GroundArray, within: BoolArray, limits_pct: tuple[float, ...], least: int
) -> Uint8Array:
    """Classes without specks, whose areas stay what they were.

    Where the ground lies close to a limit, sieving gives whole regions to the commoner class. The
    limits are therefore shifted, by parts of a percent, until about as much ground lies under each
    as lay under the true one; what is still missing is made up along the edges of patches, cells
    that lie nearest to the limit first. Where the ground is so rough that hardly a patch is large
    enough, this is done with smoothed slopes.

    Parameters
    ----------
    slope : (rows, columns) %, without NaN
    within : (rows, columns) bool; the land whose areas are kept
    limits_pct : rising upper limits of all classes but the last, %
    least : fewest cells of a patch

    Returns
    -------
    (rows, columns) uint8, class numbers from 1
    """
    limits = np.asarray(limits_pct, dtype=float)
    wanted = np.searchsorted(np.sort(slope[within]), limits, side="left")
    true_area = np.diff(wanted, prepend=0, append=np.count_nonzero(within))
    large = true_area >= _LARGE_SPECKS * least

    def cleaned(slope: GroundArray) -> Uint8Array:
        classes = _shifted(slope, within, limits, wanted, least)
        return _evened(classes, slope, within, true_area, least)

    def most_off(classes: Uint8Array) -> float:
        area = _areas_of(classes, within, true_area.size)
        off = np.abs(area - true_area)[large] / true_area[large]
        return float(off.max(initial=0.0))

    best = cleaned(slope)
    best_off = most_off(best)
    for share in _SMOOTHED_BY:
        if best_off <= _MOST_OFF:
            break
        from scipy import ndimage  # noqa: PLC0415 - slow to load, seldom needed

        smoothing = share * np.sqrt(least / np.pi)
        classes = cleaned(ndimage.gaussian_filter(slope, smoothing, mode="nearest"))
        off = most_off(classes)
        if off < best_off:
            best, best_off = classes, off
    return best


def _areas_of(classes: Uint8Array, within: BoolArray, count: int) -> npt.NDArray[np.int64]:
    """Cells in each of so many classes."""
    return np.asarray(np.bincount(classes[within], minlength=count + 1)[1:])


def _shifted(
    slope: GroundArray,
    within: BoolArray,
    limits: FloatArray,
    wanted: npt.NDArray[np.int64],
    least: int,
) -> Uint8Array:
    """Sieved classes by limits shifted until about as many cells as wanted lie under each.

    Parameters
    ----------
    slope, within, least : as in `clean_classes`
    limits : (limits,) %, the true ones
    wanted : (limits,) cells under each limit
    """
    rising = np.sort(slope[within])
    aimed = wanted.astype(float)
    gain, last = np.full(limits.size, 0.5), np.zeros_like(wanted)

    def off_by(classes: Uint8Array) -> npt.NDArray[np.int64]:
        under = np.cumsum(_areas_of(classes, within, limits.size + 1))
        return np.asarray(wanted - under[: limits.size])

    best = _sieved(slope, limits, least)
    if rising.size == 0:
        return best
    off = off_by(best)
    best_off = float(np.abs(off).max()) / rising.size
    for _ in range(_ROUNDS):
        if best_off < _NEARLY:
            break
        # Close to a limit a small shift turns whole regions over: steps that overshoot are halved.
        gain = np.where(off * last < 0, gain / 2.0, gain)
        last = off
        aimed = np.maximum.accumulate(np.clip(aimed + gain * off, 0, rising.size))
        # The slope under which the aimed number of cells lies takes the place of the limit.
        at = np.clip(np.rint(aimed).astype(int), 0, rising.size)
        shifted = np.where(
            (aimed > 0) & (at < rising.size), rising[np.minimum(at, rising.size - 1)], limits
        )
        classes = _sieved(slope, np.maximum.accumulate(shifted), least)
        off = off_by(classes)
        worst = float(np.abs(off).max()) / rising.size
        if worst < best_off:
            best, best_off = classes, worst
    return best


def _evened(
    classes: Uint8Array,
    slope: GroundArray,
    within: BoolArray,
    true_area: npt.NDArray[np.int64],
    least: int,
) -> Uint8Array:
    """Classes with the areas wanted, as near as edges of patches can be moved.

    Parameters
    ----------
    classes, slope, within, least : as in `clean_classes`
    true_area : (classes,) cells wanted in each
    """

    def area_of(found: Uint8Array) -> npt.NDArray[np.int64]:
        return _areas_of(found, within, true_area.size)

    best, best_off, stale = classes, np.abs(area_of(classes) - true_area), 0
    for _ in range(_EDGE_ROUNDS):
        area = area_of(classes)
        # A class without a patch has no edge to grow from, and no patch may become a speck: what
        # such classes have too little or too much is the largest one's.
        aimed = np.where((area == 0) | (true_area < least), area, true_area)
        aimed[aimed.argmax()] += true_area.sum() - aimed.sum()
        if stale == _STALE_ROUNDS or np.all(np.abs(area - aimed) <= _CLASS_NEARLY * aimed):
            break
        classes = _sieve(_edges_moved(classes, slope, within, np.cumsum(aimed)), least)
        off = np.abs(area_of(classes) - true_area)
        stale += 1
        if off.sum() < best_off.sum():
            best, best_off, stale = classes, off, 0
    return best


def _edges_moved(
    classes: Uint8Array, slope: GroundArray, within: BoolArray, under: npt.NDArray[np.int64]
) -> Uint8Array:
    """Cells beside a patch made part of it, nearest to its limit first, until its class is full.

    Parameters
    ----------
    classes, slope, within : as in `clean_classes`
    under : (classes,) cells wanted in each class and all below it
    """
    moved = classes.copy()
    count = np.bincount(classes[within])
    for low, high in pairwise(np.flatnonzero(count)):
        missing = int(under[low - 1] - count[: low + 1].sum())
        if missing == 0:
            continue
        side, taker = (moved > low, low) if missing > 0 else (moved <= low, high)
        edge = np.flatnonzero(side & within & _beside(moved == taker))
        nearest = np.argsort(slope.ravel()[edge] * np.sign(missing), kind="stable")
        taken = edge[nearest[: abs(missing)]]
        count -= np.bincount(moved.ravel()[taken], minlength=count.size)
        count[taker] += taken.size
        moved.ravel()[taken] = taker
    return moved


def _beside(cells: BoolArray) -> BoolArray:
    """Cells with a marked one among their four neighbours."""
    near = np.zeros_like(cells)
    near[1:] |= cells[:-1]
    near[:-1] |= cells[1:]
    near[:, 1:] |= cells[:, :-1]
    near[:, :-1] |= cells[:, 1:]
    return near
