"""Filling by tiles: each tile flooded from its own edge, joined by a graph of where they spill.

Barnes 2016, Computers & Geosciences 96 (parallel priority flood): a cell of a tile is as high as
its own flood made it, or as the level at which its watershed, which starts at one cell of the
tile's edge, spills. Of the graph between watersheds only its least spanning tree is kept: a flood
meets watersheds in order of the level at which they join, so the tree comes out of it for nothing.
"""

from concurrent.futures import ThreadPoolExecutor

import numba
import numpy as np
import numpy.typing as npt

from soakline.cores import cores
from soakline.grid import GroundArray
from soakline.terrain.heap import HeapArray, KeyArray, levels_of, order_keys, pop, pushed
from soakline.terrain.tiles.tiling import Tiling, rim_cells, rim_index

LabelArray = npt.NDArray[np.int32]
JoinArray = npt.NDArray[np.uint32]

_FRAME = np.int32(-(2**31))  # around the tile: seen, and never met


@numba.njit(cache=True)
def _root(parent: LabelArray, label: int) -> int:
    while parent[label] != label:
        parent[label] = parent[parent[label]]
        label = parent[label]
    return label


@numba.njit(cache=True, nogil=True)
def flood(level: KeyArray) -> tuple[LabelArray, JoinArray]:
    """Flood a tile from its edge, in place.

    Parameters
    ----------
    level : (rows, columns) order keys of the ground; raised to the level at which water leaves the
        tile

    Returns
    -------
    (rows, columns) int32, for each cell the edge cell from which it was flooded, counted from 1;
    and (n, 3): pairs of edge cells, counted from 0, and the key of the level at which what was
    flooded from them joins
    """
    rows, columns = level.shape
    wide = columns + 2
    cells = (rows + 2) * wide
    key = np.zeros(cells, np.uint32)
    # Found and not yet done: negative.
    label = np.full(cells, _FRAME, np.int32)
    for row in range(rows):
        for column in range(columns):
            key[(row + 1) * wide + column + 1] = level[row, column]
            label[(row + 1) * wide + column + 1] = 0
    around = np.array([1, -wide, -1, wide, 1 - wide, -1 - wide, wide - 1, wide + 1])
    starts = rim_cells(rows, columns)
    heap: HeapArray = np.empty(4 * starts.size + 64, np.uint64)
    size = 0
    for i in range(starts.size):
        cell = (starts[i] // columns + 1) * wide + starts[i] % columns + 1
        label[cell] = -(i + 1)
        heap = pushed(heap, size, key[cell], cell)
        size += 1
    parent = np.arange(starts.size + 1).astype(np.int32)
    joins = np.empty((max(starts.size - 1, 0), 3), np.uint32)
    joined = 0
    pit = np.empty(1024, np.int64)
    deep = 0
    now = np.uint32(0)
    while size > 0 or deep > 0:
        if deep > 0:
            deep -= 1
            cell = pit[deep]
        else:
            lowest = pop(heap, size)
            size -= 1
            cell = np.int64(lowest & np.uint64(0xFFFFFFFF))
            now = key[cell]
        own = -label[cell]
        label[cell] = own
        for step in around:
            beside = cell + step
            other = label[beside]
            if other == 0:
                label[beside] = -own
                if key[beside] <= now:
                    key[beside] = now
                    if deep == pit.size:
                        longer = np.empty(2 * deep, np.int64)
                        longer[:deep] = pit
                        pit = longer
                    pit[deep] = beside
                    deep += 1
                else:
                    heap = pushed(heap, size, key[beside], beside)
                    size += 1
            elif other > 0 and other != own:
                a, b = _root(parent, own), _root(parent, other)
                if a != b:
                    parent[max(a, b)] = min(a, b)
                    joins[joined, 0] = own - 1
                    joins[joined, 1] = other - 1
                    joins[joined, 2] = now
                    joined += 1
    out = np.empty((rows, columns), np.int32)
    for row in range(rows):
        for column in range(columns):
            out[row, column] = label[(row + 1) * wide + column + 1]
            level[row, column] = key[(row + 1) * wide + column + 1]
    return out, joins[:joined]


@numba.njit(cache=True, nogil=True)
def raised(level: KeyArray, label: LabelArray, spill: KeyArray) -> None:
    """Raise a flooded tile, in place, to where the watersheds of its edge cells spill.

    Parameters
    ----------
    level, label : of `flood`
    spill : (edge cells,) order keys
    """
    rows, columns = level.shape
    for row in range(rows):
        for column in range(columns):
            level[row, column] = max(level[row, column], spill[label[row, column] - 1])


@numba.njit(cache=True, nogil=True)
def spill_levels(
    rows: int,
    columns: int,
    side: int,
    rim_start: npt.NDArray[np.int64],
    level: KeyArray,
    join_start: npt.NDArray[np.int64],
    beyond: npt.NDArray[np.int64],
    joined_at: KeyArray,
) -> KeyArray:
    """Level at which water leaves the grid from each edge cell of each tile.

    Flooded from the grid's own edge, over the trees of the tiles and between neighbours of two
    tiles.

    Parameters
    ----------
    rows, columns, side : of `Tiling`
    rim_start : (tiles + 1,)
    level : (n,) order keys of the edge cells' ground, tile by tile
    join_start : (n + 1,) where the joins of each edge cell start
    beyond, joined_at : (m,) other end of each join, in the list of all edge cells, and its key

    Returns
    -------
    (n,) order keys
    """
    across = -(-columns // side)
    tiles = rim_start.size - 1
    out = np.full(level.size, np.uint32(0xFFFFFFFF), np.uint32)
    done = np.zeros(level.size, np.bool_)
    place = np.empty(level.size, np.int64)  # flat index on the grid
    heap: HeapArray = np.empty(4 * (rows + columns) + 64, np.uint64)
    size = 0
    for tile in range(tiles):
        top, left = tile // across * side, tile % across * side
        high, wide = min(side, rows - top), min(side, columns - left)
        own = rim_cells(high, wide)
        for i in range(own.size):
            node = rim_start[tile] + i
            row, column = top + own[i] // wide, left + own[i] % wide
            place[node] = row * columns + column
            if row == 0 or column == 0 or row == rows - 1 or column == columns - 1:
                out[node] = level[node]
                heap = pushed(heap, size, level[node], node)
                size += 1
    while size > 0:
        node = np.int64(pop(heap, size) & np.uint64(0xFFFFFFFF))
        size -= 1
        if done[node]:
            continue
        done[node] = True
        now = out[node]
        for i in range(join_start[node], join_start[node + 1]):
            other = beyond[i]
            reached = max(now, joined_at[i])
            if reached < out[other]:
                out[other] = reached
                heap = pushed(heap, size, reached, other)
                size += 1
        row, column = place[node] // columns, place[node] % columns
        for r in range(max(row - 1, 0), min(row + 2, rows)):
            for c in range(max(column - 1, 0), min(column + 2, columns)):
                if r // side == row // side and c // side == column // side:
                    continue
                tile = r // side * across + c // side
                top, left = r // side * side, c // side * side
                high, wide = min(side, rows - top), min(side, columns - left)
                other = rim_start[tile] + rim_index(r - top, c - left, high, wide)
                reached = max(now, level[other])
                if reached < out[other]:
                    out[other] = reached
                    heap = pushed(heap, size, reached, other)
                    size += 1
    return out


def spills(tiling: Tiling, rims: list[KeyArray], joins: list[JoinArray]) -> KeyArray:
    """Level at which water leaves the grid from each edge cell of each tile.

    Parameters
    ----------
    tiling : Tiling
    rims : of each tile, order keys of its edge cells' ground
    joins : of each tile, those of `flood`

    Returns
    -------
    (n,) order keys, tile by tile
    """
    rim_start = tiling.rim_starts()
    pairs = [
        own[:, :2].astype(np.int64) + first for own, first in zip(joins, rim_start, strict=False)
    ]
    here, beyond = np.concatenate(pairs).T
    joined_at = np.concatenate([own[:, 2] for own in joins])
    # Each join leads both ways.
    ends = np.concatenate([here, beyond])
    order = np.argsort(ends, kind="stable")
    join_start = np.searchsorted(ends[order], np.arange(rim_start[-1] + 1))
    return spill_levels(
        tiling.rows,
        tiling.columns,
        tiling.side,
        rim_start,
        np.concatenate(rims),
        join_start,
        np.concatenate([beyond, here])[order],
        np.concatenate([joined_at, joined_at])[order],
    )


def filled_by_tiles(surface_m: GroundArray, outside_m: float, side: int) -> GroundArray:
    """Lowest surface at or above the given one from which water leaves the grid everywhere.

    Parameters
    ----------
    surface_m : (rows, columns) float32, m; NaN where not valid
    outside_m : level of what is not valid, below all that is
    side : of a tile, cells

    Returns
    -------
    (rows, columns) float32, m
    """
    rows, columns = surface_m.shape
    tiling = Tiling(rows, columns, side)
    filled = np.empty(surface_m.shape, np.float32)

    def flooded(tile: int) -> tuple[KeyArray, LabelArray, KeyArray, JoinArray]:
        top, bottom, left, right = tiling.window(tile)
        ground = surface_m[top:bottom, left:right]
        key = order_keys(np.where(np.isnan(ground), np.float32(outside_m), ground))
        rim = key.ravel()[rim_cells(*key.shape)]
        label, joins = flood(key)
        return key, label, rim, joins

    # Tiles are flooded on all cores: the compiled loops hold no lock.
    with ThreadPoolExecutor(cores()) as threads:
        tiles = list(threads.map(flooded, range(tiling.count)))
        rim_start = tiling.rim_starts()
        spill = spills(tiling, [own[2] for own in tiles], [own[3] for own in tiles])

        def finish(tile: int) -> None:
            top, bottom, left, right = tiling.window(tile)
            key, label, _, _ = tiles[tile]
            raised(key, label, spill[rim_start[tile] : rim_start[tile + 1]])
            filled[top:bottom, left:right] = levels_of(key)

        list(threads.map(finish, range(tiling.count)))
    return filled
