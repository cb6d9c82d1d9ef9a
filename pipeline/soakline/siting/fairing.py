"""Level lines faired to the bend that a digging machine follows, while the ground holds them.

Every stretch of line that bends too tightly is moved across itself by least squares with bounds:
the squares are the bend, and the ground's distance from the height aimed at; the bounds are how far
each point may go with the ground under it inside the tolerance. Where a bend stays too tight its
weight grows, and the problem is set up anew where the line has come to, until the radius is kept or
the bounds forbid it. The stretches of all lines are solved together, each by itself.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from soakline.grid import BoolArray, FloatArray, Grid, GroundArray
from soakline.inputs.types import IndexArray
from soakline.siting.band import ASKED, HeightBand, room_beside
from soakline.siting.bends import bend_per_m
from soakline.siting.bounded import bounded_least_squares
from soakline.terrain.ground import sample

# Lines are faired to a wider bend: few chords over them turn more sharply than the curve does.
_WIDER = 1.5
# A bend is looked at where it is tighter than this many radii.
_TIGHT = 1.2
# A stretch goes on beyond its tight bends, by this many radii; its first and last points stay, so
# that the line goes on as it did.
_RUN_OUT = 2.0
_PINNED = 2
_ROUNDS = 30
# Farthest that a point moves in a round.
_STRIDE_M = 0.5
# Places on the way from a point to the next where the ground is asked afterwards.
_ASKED_BETWEEN = 4
# Points keep inside the tolerance, by more where the ground between them left it a round before.
_WITHIN_M, _MOST_WITHIN_M = 0.002, 0.03
# Ground so far from the height aimed at weighs as much as a bend of the radius asked for.
_DEVIATION_M = 0.02
_LEAST_WEIGHT, _MOST_WEIGHT = 0.1, 1000.0
_SLOWEST, _FASTEST = 0.8, 4.0


@dataclass(frozen=True, eq=False, slots=True)
class _Stretches:
    """Stretches of lines, one after the other.

    Parameters
    ----------
    number : (stretches,) of each
    size : (stretches,) how many points each has
    place : (n, 2) m
    level_m : (n,) m
    weight : (n,) of the bend at each point
    within_m : (n,) that each point keeps inside the band, m
    """

    number: IndexArray
    size: IndexArray
    place: FloatArray
    level_m: FloatArray
    weight: FloatArray
    within_m: FloatArray

    @property
    def start(self) -> IndexArray:
        """(stretches + 1,) where each begins among the points."""
        return np.concatenate([[0], np.cumsum(self.size)])

    def ends(self, count: int) -> BoolArray:
        """Points that are among the first or last of their stretch."""
        ends = np.zeros(len(self.place), dtype=bool)
        for step in range(count):
            ends[self.start[:-1] + step] = ends[self.start[1:] - 1 - step] = True
        return ends

    def only(self, kept: BoolArray) -> "_Stretches":
        """Some of the stretches."""
        points = np.repeat(kept, self.size)
        return _Stretches(
            self.number[kept],
            self.size[kept],
            self.place[points],
            self.level_m[points],
            self.weight[points],
            self.within_m[points],
        )

    def split(self) -> list[FloatArray]:
        """Points of each stretch."""
        bounds = self.start.tolist()
        return [self.place[a:b] for a, b in pairwise(bounds)]


def _moved(
    own: _Stretches,
    bend: FloatArray,
    radius_m: float,
    ground_m: GroundArray,
    grid: Grid,
    band: HeightBand,
) -> FloatArray:
    """Places of the points after one round; (n, 2) m."""
    first, last = own.start[:-1], own.start[1:] - 1
    before, after = np.arange(len(own.place)) - 1, np.arange(len(own.place)) + 1
    before[first], after[last] = first, last
    ahead = own.place[after] - own.place[before]
    length = np.maximum(np.hypot(*ahead.T), 1e-9)
    left = np.column_stack([-ahead[:, 1], ahead[:, 0]]) / length[:, None]
    step_m = _STRIDE_M / ASKED
    row, column = grid.row_column(own.place[:, 0], own.place[:, 1])
    above, rise, down, up = room_beside(
        np.ascontiguousarray(row),
        np.ascontiguousarray(column),
        left[:, 1] * (-step_m / grid.cell_m),
        left[:, 0] * (step_m / grid.cell_m),
        own.level_m,
        ground_m,
        band.lowest_m + own.within_m,
        band.highest_m - own.within_m,
    )
    stays = own.ends(_PINNED) | ~np.isfinite(rise)
    least, most = np.where(stays, 0.0, -step_m * down), np.where(stays, 0.0, step_m * up)
    slope = np.where(stays, 0.0, rise / step_m) / _DEVIATION_M
    off = np.where(stays, 0.0, band.aim_m - above) / _DEVIATION_M
    # Rows of the squares: slope · u = off, and bend + (u before − 2 u + u after) / h² = 0.
    scale = np.where(own.ends(1), 0.0, np.sqrt(own.weight) * radius_m)
    second = scale / (0.5 * length) ** 2
    square, pull = second**2, second * scale * bend
    matrix = np.zeros((3, len(own.place)))
    matrix[2] = slope**2 + 4.0 * square + 1e-9
    matrix[2, :-1] += square[1:]
    matrix[2, 1:] += square[:-1]
    matrix[1, 1:] = -2.0 * (square[1:] + square[:-1])
    matrix[0, 2:] = square[1:-1]
    right = slope * off + 2.0 * pull
    right[:-1] -= pull[1:]
    right[1:] -= pull[:-1]
    aside = bounded_least_squares(matrix, right, least, most)
    moved: FloatArray = own.place + aside[:, None] * left
    return moved


def _evenly_again(place: FloatArray, start: IndexArray) -> FloatArray:
    """As many points at even distances along each stretch; those that stay are left as they are."""
    gap = np.hypot(*np.diff(place, axis=0, prepend=place[:1]).T)
    gap[start[:-1]] = 1.0  # from stretch to stretch
    along = np.cumsum(gap)
    size = np.diff(start)
    first, last = start[:-1] + _PINNED - 1, start[1:] - _PINNED
    share = (np.arange(len(place)) - np.repeat(first, size)) / np.repeat(last - first, size)
    even = np.repeat(along[first], size) + share * np.repeat(along[last] - along[first], size)
    at = np.where((share > 0.0) & (share < 1.0), even, along)
    return np.column_stack([np.interp(at, along, place[:, 0]), np.interp(at, along, place[:, 1])])


def _greatest_near(values: FloatArray, reach: int) -> FloatArray:
    from scipy.ndimage import maximum_filter1d  # noqa: PLC0415 - slow to load, no rerun needs it

    greatest: FloatArray = maximum_filter1d(values, 2 * reach + 1, mode="nearest")
    return greatest


def _over(own: _Stretches, bend: FloatArray, limit_per_m: float) -> FloatArray:
    """How much, and over how long, each stretch bends more than the limit."""
    over: FloatArray = np.add.reduceat(
        np.maximum(np.abs(bend) - limit_per_m, 0.0), own.start[:-1], dtype=float
    )
    return over


def _farthest_out(
    own: _Stretches, ground_m: GroundArray, grid: Grid, band: HeightBand
) -> FloatArray:
    """Farthest that ground is outside the band from each point to the next; (n,) m."""
    after = np.roll(own.place, -1, axis=0)
    after[own.start[1:] - 1] = own.place[own.start[1:] - 1]
    out = np.zeros(len(own.place))
    for share in np.arange(_ASKED_BETWEEN) / _ASKED_BETWEEN:
        place = own.place + share * (after - own.place)
        above = sample(ground_m, grid, place[:, 0], place[:, 1]) - own.level_m
        np.maximum(out, band.outside(above), out=out)
    return out


def _faired(
    own: _Stretches, limit_per_m: float, ground_m: GroundArray, grid: Grid, band: HeightBand
) -> list[FloatArray]:
    """Points of each stretch after the round that bent it least and kept it in the band."""
    places = own.split()
    bend = bend_per_m(own.place)
    bend[own.ends(1)] = 0.0
    least = _over(own, bend, limit_per_m)
    allowed_out = np.maximum.reduceat(_farthest_out(own, ground_m, grid, band), own.start[:-1])
    for _ in range(_ROUNDS):
        near = _greatest_near(np.abs(bend) / limit_per_m, 2)
        going = np.maximum.reduceat(near, own.start[:-1]) > 1.0
        if not going.any():
            break
        points = np.repeat(going, own.size)
        own, bend = own.only(going), bend[points]
        faster = np.clip(near[points], _SLOWEST, _FASTEST)
        own = replace(own, weight=np.clip(own.weight * faster, _LEAST_WEIGHT, _MOST_WEIGHT))
        moved = _moved(own, bend, 1.0 / (_WIDER * limit_per_m), ground_m, grid, band)
        own = replace(own, place=_evenly_again(moved, own.start))
        bend = bend_per_m(own.place)
        bend[own.ends(1)] = 0.0
        over = _over(own, bend, limit_per_m)
        out = _farthest_out(own, ground_m, grid, band)
        farthest = np.maximum.reduceat(out, own.start[:-1])
        better = (over < least[own.number]) & (farthest <= allowed_out[own.number])
        least[own.number[better]] = over[better]
        kept = own.only(better)
        for number, place in zip(kept.number, kept.split(), strict=True):
            places[number] = place
        within = np.minimum(own.within_m + _greatest_near(out, 1), _MOST_WITHIN_M)
        own = replace(own, within_m=within)
    return places


def _tight_parts(line: FloatArray, limit_per_m: float, radius_m: float) -> list[tuple[int, int]]:
    """First point, and the one after the last, of each stretch to be faired."""
    tight = np.abs(bend_per_m(line)) > limit_per_m
    if not tight.any():
        return []
    step_m = max(float(np.hypot(*(line[1] - line[0]))), 1e-3)
    near = _greatest_near(tight.astype(float), int(np.ceil(_RUN_OUT * radius_m / step_m))) > 0.0
    edges = np.flatnonzero(np.diff(near.astype(np.int8), prepend=0, append=0))
    return [(int(a), int(b)) for a, b in edges.reshape(-1, 2) if b - a > 2 * _PINNED + 1]


def _begun_on_a_straight(ring: FloatArray, limit_per_m: float) -> FloatArray:
    """A closed line begun as far as can be from its tight bends; one without any as it is."""
    points = ring[:-1]
    around = np.vstack([points[-1:], ring])
    tight = np.flatnonzero(np.abs(bend_per_m(around)[1:-1]) > limit_per_m)
    if tight.size == 0:
        return ring
    gap = np.diff(tight, append=tight[0] + len(points))
    widest = int(np.argmax(gap))
    begin = (int(tight[widest]) + int(gap[widest]) // 2) % len(points)
    rolled = np.roll(points, -begin, axis=0)
    return np.vstack([rolled, rolled[:1]])


def fair(
    lines: Sequence[FloatArray],
    level_m: FloatArray,
    closed: BoolArray,
    ground_m: GroundArray,
    grid: Grid,
    band: HeightBand,
    radius_m: float,
) -> list[FloatArray]:
    """Lines that bend no more tightly than a radius where the ground allows it.

    Parameters
    ----------
    lines : (n, 2) points of each, evenly spaced, m; a closed one repeats its start
    level_m : (lines,) m
    closed : (lines,) bool
    ground_m : (rows, columns) float32, m
    grid : Grid
    band : HeightBand
    radius_m : least radius; 0 for any

    Returns
    -------
    as many points of each, m; a closed line stays closed, and may begin elsewhere

    Notes
    -----
    Tolerance wins: no stretch has ground further outside the band than it had. One that fairing
    makes no wider stays as it was.
    """
    if radius_m <= 0.0:
        return list(lines)
    limit, tight = 1.0 / (_WIDER * radius_m), 1.0 / (_TIGHT * radius_m)
    faired = [
        _begun_on_a_straight(line, tight) if ring else line.copy()
        for line, ring in zip(lines, closed, strict=True)
    ]
    parts = [
        (i, a, b) for i, line in enumerate(faired) for a, b in _tight_parts(line, tight, radius_m)
    ]
    if not parts:
        return faired
    size = np.array([b - a for _, a, b in parts])
    level = np.repeat(level_m[[i for i, _, _ in parts]], size)
    own = _Stretches(
        np.arange(size.size),
        size,
        np.vstack([faired[i][a:b] for i, a, b in parts]),
        level,
        np.full(level.size, _LEAST_WEIGHT),
        np.full(level.size, _WITHIN_M),
    )
    for (i, a, b), place in zip(parts, _faired(own, limit, ground_m, grid, band), strict=True):
        faired[i][a:b] = place
    return faired
