"""Directions and areas by tiles: what crosses an edge adds up, and is handed on.

A direction by least transversal deviation hangs on what flows in from above, so the paths of water
between edge cells are not known beforehand, as they are where tiles only add up areas along given
directions (Barnes 2017, Environmental Modelling & Software 92). Each tile therefore goes on as far
as it can, and what leaves it lets its neighbours go on.
"""

from dataclasses import dataclass

import numba
import numpy as np
import numpy.typing as npt

from soakline.grid import BoolArray, GroundArray
from soakline.terrain.compass import VOID
from soakline.terrain.flow import CountArray, Uint8Array, awaited, outweighs, peel
from soakline.terrain.tiles.tiling import NodeArray, rim_cells

_BEYOND = 100  # a cell of the frame never comes to wait for none


@dataclass(frozen=True, eq=False, slots=True)
class Crossing:
    """What has come over the edges of tiles.

    Parameters
    ----------
    node : (n,) cells that it comes to, as places in the list of all tiles' edge cells
    chosen : (n,) uint8, cells that have chosen, of those that the cell waits for
    area : (n,) uint32, cells that drain to it
    largest, deviation : (n,) the largest inflow among them, and the deviation that comes with it
    """

    node: NodeArray
    chosen: Uint8Array
    area: CountArray
    largest: CountArray
    deviation: GroundArray

    def part(self, which: BoolArray | NodeArray) -> "Crossing":
        """Some of it."""
        return Crossing(
            self.node[which],
            self.chosen[which],
            self.area[which],
            self.largest[which],
            self.deviation[which],
        )


def joined(crossings: list[Crossing]) -> Crossing:
    """All of several, one after the other."""
    return Crossing(
        np.concatenate([own.node for own in crossings]),
        np.concatenate([own.chosen for own in crossings]),
        np.concatenate([own.area for own in crossings]),
        np.concatenate([own.largest for own in crossings]),
        np.concatenate([own.deviation for own in crossings]),
    )


@dataclass(frozen=True, eq=False, slots=True)
class Pour:
    """A tile under way; arrays are (rows + 2, columns + 2), the tile and the cells around it.

    Parameters
    ----------
    filled_m, state, waiting, upstream, largest, deviation : as of `flow.peel`
    """

    filled_m: GroundArray
    state: Uint8Array
    waiting: Uint8Array
    upstream: CountArray
    largest: CountArray
    deviation: GroundArray

    @classmethod
    def start(cls, filled_m: GroundArray, state: Uint8Array, valid: BoolArray) -> "Pour":
        """A tile in which no cell has chosen.

        Parameters
        ----------
        filled_m, state : (rows + 2, columns + 2); `state` is changed
        valid : (rows, columns)
        """
        waiting = awaited(state)
        frame = rim_cells(*state.shape)
        waiting.ravel()[frame] = _BEYOND
        state.ravel()[frame] = VOID
        upstream = np.zeros(state.shape, np.uint32)
        upstream[1:-1, 1:-1] = valid
        return cls(
            filled_m,
            state,
            waiting,
            upstream,
            np.zeros(state.shape, np.uint32),
            np.zeros(state.shape, np.float32),
        )

    def ready(self) -> NodeArray:
        """Flat indices of cells that wait for none and have not chosen."""
        return np.flatnonzero((self.waiting == 0) & (self.state != VOID))

    def go_on(self, starts: NodeArray, nodes: NodeArray) -> Crossing:
        """Choose as far as can be chosen.

        Parameters
        ----------
        starts : flat indices of cells that are ready
        nodes : (n,) of `Tiling.frame_nodes`

        Returns
        -------
        What leaves the tile
        """
        peel(
            self.filled_m,
            self.state,
            self.waiting,
            self.upstream,
            self.largest,
            self.deviation,
            starts,
        )
        frame = rim_cells(*self.state.shape)
        waiting = self.waiting.ravel()[frame]
        left = waiting < _BEYOND
        frame = frame[left]
        leaving = Crossing(
            nodes[left],
            _BEYOND - waiting[left],
            self.upstream.ravel()[frame],
            self.largest.ravel()[frame],
            self.deviation.ravel()[frame],
        )
        self.waiting.ravel()[frame] = _BEYOND
        for array in (self.upstream, self.largest, self.deviation):
            array.ravel()[frame] = 0
        return leaving

    def take_in(self, come: Crossing, first: int) -> NodeArray:
        """Take in what comes over the edges.

        Parameters
        ----------
        come : Crossing, to cells of this tile
        first : place of the tile's first edge cell in the list of all

        Returns
        -------
        Flat indices of cells that now are ready
        """
        rows, columns = self.state.shape
        own = rim_cells(rows - 2, columns - 2)[come.node - first]
        cells = (own // (columns - 2) + 1) * columns + own % (columns - 2) + 1
        return _take_in(
            self.waiting.ravel(),
            self.upstream.ravel(),
            self.largest.ravel(),
            self.deviation.ravel(),
            cells,
            come.chosen,
            come.area,
            come.largest,
            come.deviation,
        )


@numba.njit(cache=True, nogil=True)
def _take_in(
    waiting: Uint8Array,
    upstream: CountArray,
    largest: CountArray,
    deviation: GroundArray,
    cells: NodeArray,
    chosen: Uint8Array,
    area: CountArray,
    inflow: CountArray,
    came_with: GroundArray,
) -> npt.NDArray[np.int64]:
    ready = np.empty(cells.size, np.int64)
    count = 0
    for i in range(cells.size):
        cell = cells[i]
        upstream[cell] += area[i]
        if outweighs(inflow[i], came_with[i], largest[cell], deviation[cell]):
            largest[cell] = inflow[i]
            deviation[cell] = came_with[i]
        waiting[cell] -= chosen[i]
        if waiting[cell] == 0:
            ready[count] = cell
            count += 1
    return ready[:count]
