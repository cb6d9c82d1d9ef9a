"""Drainage lines: where water runs often enough that no swale may stand in its way."""

from dataclasses import dataclass

import numba
import numpy as np
import numpy.typing as npt

from soakline.grid import BoolArray, FloatArray, Grid, GroundArray
from soakline.terrain.compass import COLUMN_STEP, END, ROW_STEP
from soakline.terrain.dispersive import valley_blocks
from soakline.terrain.flow import CountArray, Flow, Uint8Array

# A head of a line shorter than this many blocks is a cell beside the axis that joined it late.
_STUB_BLOCKS = 6
# So is one with this share of it so near the larger line that it joins: a valley's floor is wide.
_NEAR_BLOCKS, _NEAR_SHARE = 3, 0.8
_BLOCK_M = 5.0
# Two lines with this share of the cells of one beside the other are one line.
_TWIN_SHARE = 0.9
# Marks of cells while lines are found: of a line, and of water that only stands in a kept hollow.
_LINE, _STANDING = 1, 2


@dataclass(frozen=True, eq=False, slots=True)
class DrainageLine:
    """One reach between heads, confluences and the edge.

    Parameters
    ----------
    easting_m, northing_m : (n,) cell centres, drawn downhill; the last one is shared with the reach
        below
    order_strahler : Strahler 1957
    contributing_m2 : area behind the lower end, that of water running beside the line included
    beside : flat indices of cells beside the line whose water runs along it and never joins it
    """

    easting_m: FloatArray
    northing_m: FloatArray
    order_strahler: int
    contributing_m2: float
    beside: npt.NDArray[np.int64]


@numba.njit(cache=True)
def _channels(
    direction: Uint8Array,
    order: npt.NDArray[np.int64],
    in_hollow: BoolArray,
    valley: BoolArray,
    size: int,
    mark: Uint8Array,
) -> None:
    """Mark confirmed cells and all below them; `order` holds candidates from the top down.

    No line begins in a kept hollow, where water stands: lines that come in go through it, and where
    only water of its own shores leaves it, a line begins right below it.
    """
    columns = direction.shape[1]
    for i in range(order.size):
        row, column = order[i] // columns, order[i] % columns
        if mark[row, column] == 0 and not valley[row // size, column // size]:
            continue
        if mark[row, column] != _LINE:
            mark[row, column] = _STANDING if in_hollow[i] else _LINE
        k = direction[row, column]
        if k < END and mark[row + ROW_STEP[k], column + COLUMN_STEP[k]] != _LINE:
            mark[row + ROW_STEP[k], column + COLUMN_STEP[k]] = mark[row, column]


@numba.njit(cache=True)
def _strahler(
    direction: Uint8Array, order: npt.NDArray[np.int64], channel: BoolArray
) -> tuple[npt.NDArray[np.int8], npt.NDArray[np.int8]]:
    """Strahler number and number of channel donors of each channel cell.

    Strahler 1957: two of the highest number raise it by one; more of them raise it once.
    """
    rows, columns = direction.shape
    number = np.zeros((rows, columns), np.int8)
    same = np.zeros((rows, columns), np.int8)
    donors = np.zeros((rows, columns), np.int8)
    for cell in order:
        row, column = cell // columns, cell % columns
        if not channel[row, column]:
            continue
        if donors[row, column] == 0:
            number[row, column] = 1
        elif same[row, column] > 1:
            number[row, column] += 1
        k = direction[row, column]
        if k == END:
            continue
        r, c = row + ROW_STEP[k], column + COLUMN_STEP[k]
        donors[r, c] += 1
        if number[row, column] > number[r, c]:
            number[r, c] = number[row, column]
            same[r, c] = 1
        elif number[row, column] == number[r, c]:
            same[r, c] += 1
    return number, donors


def _reaches(
    direction: Uint8Array, channel_cells: npt.NDArray[np.int64], donors: npt.NDArray[np.int8]
) -> list[npt.NDArray[np.int64]]:
    """Cells of each reach, from a head or a confluence down to the next confluence or the edge."""
    columns = direction.shape[1]
    step = ROW_STEP * columns + COLUMN_STEP
    flat_direction = direction.ravel()
    flat_donors = donors.ravel()
    reaches = []
    for start in channel_cells[flat_donors[channel_cells] != 1]:
        cells = [int(start)]
        while flat_direction[cells[-1]] != END:
            cells.append(cells[-1] + int(step[flat_direction[cells[-1]]]))
            if flat_donors[cells[-1]] > 1:
                break
        if len(cells) > 1:
            reaches.append(np.array(cells, dtype=np.int64))
    return reaches


def _stem(
    head: npt.NDArray[np.int64],
    ending_at: dict[int, list[npt.NDArray[np.int64]]],
    upstream: CountArray,
) -> npt.NDArray[np.int64]:
    """Cells of the larger line that a head joins, as far up as the head; none where it is larger.

    `upstream` (cells,) flat.
    """
    parts: list[npt.NDArray[np.int64]] = []
    below, size = int(head[-1]), 0
    while size < head.size:
        others = [own for own in ending_at.get(below, []) if own is not head]
        if not others:
            break
        largest = max(others, key=lambda own: (int(upstream[own[-2]]), -int(own[0])))
        if not parts and upstream[largest[-2]] < upstream[head[-2]]:
            break
        parts.append(largest)
        below, size = int(largest[0]), size + largest.size
    return np.concatenate([np.zeros(0, np.int64), *parts])


def _runs_beside(
    head: npt.NDArray[np.int64], stem: npt.NDArray[np.int64], columns: int, near_cells: float
) -> bool:
    """Whether most of a head lies near cells of a stem."""
    from scipy.spatial import cKDTree  # noqa: PLC0415 - slow to load, no rerun needs it

    if stem.size == 0:
        return False
    place = np.column_stack(np.divmod(head[:-1], columns))
    apart, _ = cKDTree(np.column_stack(np.divmod(stem, columns))).query(place)
    return bool(np.mean(apart <= near_cells) >= _NEAR_SHARE)


def _stubs(
    reaches: list[npt.NDArray[np.int64]],
    donors: npt.NDArray[np.int8],
    upstream: CountArray,
    columns: int,
    block_cells: int,
) -> list[npt.NDArray[np.int64]]:
    """Heads that are no lines of their own: short ones, and those beside the line they join."""
    flat_donors = donors.ravel()
    ending_at: dict[int, list[npt.NDArray[np.int64]]] = {}
    for reach in reaches:
        ending_at.setdefault(int(reach[-1]), []).append(reach)
    return [
        reach
        for reach in reaches
        if flat_donors[reach[0]] == 0
        and flat_donors[reach[-1]] > 1
        and (
            reach.size <= _STUB_BLOCKS * block_cells
            or _runs_beside(
                reach, _stem(reach, ending_at, upstream), columns, _NEAR_BLOCKS * block_cells
            )
        )
    ]


def _twins(
    reaches: list[npt.NDArray[np.int64]],
    donors: npt.NDArray[np.int8],
    upstream: CountArray,
) -> list[tuple[int, int]]:
    """Pairs of a reach and the larger one that it runs beside, cell by cell, from head to edge.

    Where a valley's axis lies between two columns of cells each side's water has a column of its
    own, and the two never meet: on the ground they are one stream.
    """
    columns = upstream.shape[1]
    flat_donors, flat_upstream = donors.ravel(), upstream.ravel()
    alone = [i for i, r in enumerate(reaches) if flat_donors[r[0]] == 0 and flat_donors[r[-1]] < 2]
    alone.sort(key=lambda i: (-int(flat_upstream[reaches[i][-1]]), int(reaches[i][0])))
    pairs: list[tuple[int, int]] = []
    dropped: set[int] = set()
    for at, larger in enumerate(alone):
        if larger in dropped:
            continue
        rows, row_columns = np.divmod(reaches[larger], columns)
        near = np.concatenate(
            [(rows + r) * columns + row_columns + c for r in (-1, 0, 1) for c in (-1, 0, 1)]
        )
        for other in alone[at + 1 :]:
            if other not in dropped and np.isin(reaches[other], near).mean() >= _TWIN_SHARE:
                dropped.add(other)
                pairs.append((other, larger))
    return pairs


def drainage_lines(
    ground_m: GroundArray,
    flow: Flow,
    grid: Grid,
    least_m2: float,
    standing: npt.NDArray[np.int64],
) -> tuple[tuple[DrainageLine, ...], BoolArray]:
    """Reaches with at least the given area behind them, where the ground truly gathers water.

    Parameters
    ----------
    ground_m : (rows, columns) float32, m
    flow : Flow of the DEM
    grid : Grid
    least_m2 : contributing area at which a line begins, m²
    standing : flat indices of cells under the water of kept hollows; no line begins there

    Returns
    -------
    the reaches, largest contributing area first; and (rows, columns) bool, the cells they pass
    """
    least_cells = max(1, int(np.ceil(least_m2 / grid.cell_area_m2 - 1e-9)))
    candidates = np.flatnonzero(flow.upstream_cells >= least_cells)
    if candidates.size == 0:
        return (), np.zeros(grid.shape, dtype=bool)
    # A cell always has fewer cells behind it than the one below it: this is an order downstream.
    rank = np.argsort(flow.upstream_cells.ravel()[candidates], kind="stable")
    order = candidates[rank]
    valley, size = valley_blocks(ground_m, grid, least_m2, _BLOCK_M)
    mark = np.zeros(grid.shape, np.uint8)
    _channels(flow.direction, order, np.isin(order, standing), valley, size, mark)
    channel = mark == _LINE
    del mark

    upstream = flow.upstream_cells.ravel()
    while True:
        number, donors = _strahler(flow.direction, order, channel)
        cells = order[channel.ravel()[order]]
        reaches = _reaches(flow.direction, cells, donors)
        stubs = _stubs(reaches, donors, upstream, grid.columns, size)
        if not stubs:
            break
        # Two stubs may meet where neither is the main line: take the shortest of each confluence.
        shortest: dict[int, npt.NDArray[np.int64]] = {}
        for stub in stubs:
            end = int(stub[-1])
            if end not in shortest or stub.size < shortest[end].size:
                shortest[end] = stub
        for stub in shortest.values():
            channel.ravel()[stub[:-1]] = False

    beside: dict[int, list[npt.NDArray[np.int64]]] = {}
    twins = _twins(reaches, donors, flow.upstream_cells)
    for twin, larger in twins:
        beside.setdefault(larger, []).append(reaches[twin])
    lines = []
    for i, reach in enumerate(reaches):
        if i in {twin for twin, _ in twins}:
            continue
        row, column = np.divmod(reach, grid.columns)
        easting, northing = grid.easting_northing(row.astype(float), column.astype(float))
        # The last cell of a reach is a confluence, which has other water in it already.
        last = reach[-1] if donors.ravel()[reach[-1]] < 2 else reach[-2]
        own = beside.get(i, [])
        cells_behind = int(upstream[last]) + sum(int(upstream[twin[-1]]) for twin in own)
        lines.append(
            DrainageLine(
                easting,
                northing,
                int(number.ravel()[last]),
                cells_behind * grid.cell_area_m2,
                np.concatenate([np.zeros(0, np.int64), *own]),
            )
        )
    lines.sort(key=lambda line: (-line.contributing_m2, line.easting_m[0], line.northing_m[0]))
    return tuple(lines), channel
