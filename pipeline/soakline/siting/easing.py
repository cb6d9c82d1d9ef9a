"""Bends that fairing has left too tight, eased wherever any chain within the tolerance can.

Fairing moves points a little at a time, and stops where none can go on alone: in a bend where the
line would have to swing out first. Such a bend is laid anew from a run-out before it to one behind.
Points stand in rows across the line; of all chains of chords from row to row, with the ground under
every chord inside the tolerance, the one that costs least is taken.
"""

from collections.abc import Callable

import numba
import numpy as np
import numpy.typing as npt

from soakline.grid import BoolArray, FloatArray, Grid, GroundArray
from soakline.inputs.types import IndexArray
from soakline.section.stations import chainage_of
from soakline.siting.band import HeightBand
from soakline.siting.bends import ARM_SHARE, tight_vertices
from soakline.siting.chords import SHARPEST_TURN, asked_m, chord_cost
from soakline.siting.lines import evenly
from soakline.terrain.ground import sample

StateOf = Callable[[FloatArray, FloatArray], npt.NDArray[np.int8]]

# Line laid anew before a tight bend and behind it, in radii. Bends within two run-outs of each
# other are laid together, up to this many radii of line.
_RUN_OUT = 3.0
_LONGEST = 15.0
# Rows across the line, and points on them. A chord goes on by a few rows at most: a machine turns
# at its ends, however long it is.
_ROW_M = 1.0
_BESIDE_M, _APART_M = 1.5, 0.15
_MOST_ROWS = 5
_SHORTEST_M = 0.7
# A row stands square to the line over so many rows on either side.
_SQUARE_TO = 3
_ASKED_M = 0.25
# What a turn costs over the sharpest that costs nothing, and each metre that bends too tightly, by
# the square of how much too tightly. The slack keeps rounding on the safe side.
_SHARP_COST = 4.0
_TIGHT_COST = 20.0
_SLACK = 0.005


@numba.njit(cache=True)
def _bend_cost(before: FloatArray, after: FloatArray, radius_m: float) -> float:
    """Cost of the turn from a chord to the next, each its length and a unit vector.

    The radius is measured as `tight_bends` does.
    """
    share = min(before[0] / 2.0, ARM_SHARE * radius_m) + min(after[0] / 2.0, ARM_SHARE * radius_m)
    cross = np.abs(before[1] * after[2] - before[2] * after[1])
    dot = before[1] * after[1] + before[2] * after[2]
    allowed = (1.0 - _SLACK) * share / radius_m
    if dot > 0.0 and cross <= 0.95 * min(allowed, SHARPEST_TURN):
        return 0.0
    turn = np.arctan2(cross, dot)
    sharp, over = turn / SHARPEST_TURN, turn * radius_m / share
    cost: float = _SHARP_COST * max(0.0, sharp * sharp - 1.0)
    if turn > allowed:
        cost += _TIGHT_COST * share * over * over
    return cost


@numba.njit(cache=True)
def _joined(
    cost: FloatArray, chord: FloatArray, cheapest: int, after: FloatArray, radius_m: float
) -> tuple[float, int]:
    """Least cost of a chain to a point with the turn to the next chord, and which chain that is.

    `cost` (ways,) and the last `chord` (ways, 3) are of the chains to the point. The cheapest comes
    first: if the chord goes on straight enough, no other can do better.
    """
    least = cost[cheapest] + _bend_cost(chord[cheapest], after, radius_m)
    way = cheapest
    for k in range(cost.size):
        if least <= cost[cheapest]:
            break
        if cost[k] < least:
            turned = cost[k] + _bend_cost(chord[k], after, radius_m)
            if turned < least:
                least, way = turned, k
    return least, way


@numba.njit(cache=True, nogil=True)
def _cheapest_chain(
    row: FloatArray,
    column: FloatArray,
    usable: BoolArray,
    back: IndexArray,
    ground_m: GroundArray,
    level_m: float,
    cell_m: float,
    lowest_m: float,
    highest_m: float,
    radius_m: float,
) -> IndexArray:
    """Row and place of each point that the cheapest chain over rows of points keeps; (k, 2).

    What a point costs depends on both chords that meet there: chains compared end with the same
    chord, told by the row and place where it ends and by where it begins, `places` for each row
    that it goes back.

    `row`, `column` and `usable` are (rows, places); `back` (rows,) tells how many rows before its
    own a chord to a row may begin. The first row has one point that is usable. Empty where no chain
    holds.
    """
    rows, places = row.shape
    ways = back.max() * places
    step_m = min(_ASKED_M, asked_m(cell_m))
    cost, chord = np.full((rows, places, ways), np.inf), np.zeros((rows, places, ways, 3))
    came_from = np.full((rows, places, ways), -1, np.int64)
    cheapest = np.zeros((rows, places), np.int64)
    this = np.empty(3)
    for j in range(1, rows):
        for to in range(places):
            for way in range(back[j] * places if usable[j, to] else 0):
                i, start = j - 1 - way // places, way % places
                down = (row[j, to] - row[i, start]) * cell_m
                right = (column[j, to] - column[i, start]) * cell_m
                length_m = np.hypot(down, right)
                reached = cost[i, start, cheapest[i, start]] < np.inf or i == 0
                if not usable[i, start] or not reached or length_m < _SHORTEST_M:
                    continue
                own = chord_cost(
                    row[i, start], column[i, start], row[j, to], column[j, to], ground_m, level_m,
                    int(np.ceil(length_m / step_m)), length_m, lowest_m, highest_m, np.inf, False,
                )  # fmt: skip
                if own == np.inf:
                    continue
                this[0], this[1], this[2] = length_m, down / length_m, right / length_m
                before, place = 0.0, -1
                if i > 0:
                    before, place = _joined(
                        cost[i, start], chord[i, start], cheapest[i, start], this, radius_m
                    )
                cost[j, to, way], came_from[j, to, way] = before + own, place
                chord[j, to, way] = this
                if cost[j, to, way] < cost[j, to, cheapest[j, to]]:
                    cheapest[j, to] = way
    return _traced_back(cost[-1], came_from)


@numba.njit(cache=True)
def _traced_back(cost: FloatArray, came_from: IndexArray) -> IndexArray:
    """Row and place of each point of the chain that costs least, (k, 2); empty where all are
    infinite.

    `cost` (places, ways) of chains to the last row; `came_from` (rows, places, ways) the way to the
    point where the chord begins.
    """
    rows, places, ways = came_from.shape
    kept = np.empty((rows, 2), np.int64)
    best = np.argmin(cost)
    j, to, way = rows - 1, best // ways, best % ways
    if cost[to, way] == np.inf:
        return kept[:0]
    count = 0
    while way >= 0:
        kept[count, 0], kept[count, 1] = j, to
        count += 1
        j, to, way = j - 1 - way // places, way % places, came_from[j, to, way]
    kept[count, 0], kept[count, 1] = j, to
    return kept[: count + 1][::-1]


def _laid_anew(
    part: FloatArray,
    before: FloatArray,
    after: FloatArray,
    level_m: float,
    ground_m: GroundArray,
    grid: Grid,
    band: HeightBand,
    radius_m: float,
    state_of: StateOf,
) -> FloatArray:
    """Vertices of the cheapest chain beside a part of a line, its ends kept; none if none holds.

    The vertices `before` and `after` the part, (1, 2) each, (0, 2) where the line ends, are kept
    too and are given back with it: chords from there tell where the line comes from and goes.
    """
    middle = evenly(part, _ROW_M)
    n = np.arange(len(middle))
    ahead = middle[np.minimum(n + _SQUARE_TO, n[-1])] - middle[np.maximum(n - _SQUARE_TO, 0)]
    left = np.column_stack([-ahead[:, 1], ahead[:, 0]])
    left /= np.maximum(np.hypot(*left.T), 1e-9)[:, None]
    left = np.pad(left, ((len(before), len(after)), (0, 0)))
    middle = np.vstack([before, middle, after])
    aside = np.arange(-round(_BESIDE_M / _APART_M), round(_BESIDE_M / _APART_M) + 1) * _APART_M
    place = middle[:, None] + aside[:, None] * left[:, None]
    above = sample(ground_m, grid, place[..., 0].ravel(), place[..., 1].ravel()) - level_m
    usable = (band.outside(above) == 0.0).reshape(place.shape[:2])
    back = np.minimum(np.arange(len(place)), _MOST_ROWS)
    state = state_of(place[..., 0].ravel(), place[..., 1].ravel()).reshape(usable.shape)
    usable &= state <= state[:, aside == 0.0]
    usable[: len(before) + 1] = usable[-len(after) - 1 :] = aside == 0.0
    if len(before):
        back[1:] = np.maximum(back[1:] - 1, 1)  # none from that vertex but to the first point
    if len(after):
        back[-1] = 1
    row, column = grid.row_column(place[..., 0], place[..., 1])
    kept = _cheapest_chain(
        np.ascontiguousarray(row), np.ascontiguousarray(column), usable, back, ground_m, level_m,
        grid.cell_m, band.lowest_m, band.highest_m, radius_m,
    )  # fmt: skip
    chain: FloatArray = place[kept[:, 0], kept[:, 1]]
    return chain


def _stretches(at_m: FloatArray, radius_m: float) -> list[tuple[float, float]]:
    """From and to along a line of what is laid anew together, for tight bends at these places."""
    parts: list[tuple[float, float]] = []
    for at in at_m.tolist():
        first, last = parts[-1] if parts else (at, -np.inf)
        if at - last <= 2.0 * _RUN_OUT * radius_m and at - first <= _LONGEST * radius_m:
            parts[-1] = (first, at)
        else:
            parts.append((at, at))
    return [(first - _RUN_OUT * radius_m, last + _RUN_OUT * radius_m) for first, last in parts]


def eased(
    line: FloatArray,
    level_m: float,
    closed: bool,
    ground_m: GroundArray,
    grid: Grid,
    band: HeightBand,
    radius_m: float,
    state_of: StateOf,
    least_m: float,
) -> FloatArray:
    """A lip that bends less tightly where some other chain of chords close to it does.

    Parameters
    ----------
    line : (k, 2) vertices of the lip, m
    level_m : m
    closed : whether it is a ring, which repeats its start
    ground_m : (rows, columns) float32, m
    grid : Grid
    band : HeightBand
    radius_m : least radius; 0 for any
    state_of : of places by easting and northing, the fitter for a lip the lower; no place is taken
        that is worse than the line's own beside it
    least_m : a stretch stays as it was where the line would come to be shorter than this

    Returns
    -------
    (n, 2) vertices, m; those of a ring begin where they did

    Notes
    -----
    Every new chord has ground inside the band. A stretch where no chain bends less of its length
    too tightly stays as it was.
    """
    if radius_m <= 0.0:
        return line
    along = chainage_of(line)
    tight, _ = tight_vertices(line, radius_m)
    # The first and last chord of a ring stay: they meet there.
    first_free, last_free = (1, len(line) - 2) if closed else (0, len(line) - 1)
    for from_m, to_m in _stretches(along[1:-1][tight], radius_m)[::-1]:
        a = max(int(np.searchsorted(along, from_m, "right")) - 1, first_free)
        b = min(int(np.searchsorted(along, to_m)), last_free)
        last_free = a
        if b - a < 1:
            continue
        chain = _laid_anew(
            line[a : b + 1], line[max(a - 1, 0) : a], line[b + 1 : b + 2],
            level_m, ground_m, grid, band, radius_m, state_of,
        )  # fmt: skip
        new = np.vstack([line[: max(a - 1, 0)], chain, line[b + 2 :]])
        if not len(chain) or chainage_of(new)[-1] < least_m:
            continue
        if _tight_m(new, radius_m) < _tight_m(line, radius_m):
            line = new
    return line


def _tight_m(line: FloatArray, radius_m: float) -> float:
    """Length of line that bends too tightly."""
    return float(tight_vertices(line, radius_m)[1].sum())
