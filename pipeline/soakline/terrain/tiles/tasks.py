"""What a worker does with one tile; tiles tell each other nothing but their edge cells.

Each task reads the tile's own files and writes others, and gives back what its neighbours need: if
its worker is lost, another may do it. A scheduler that has lost its result may have it done again
even after it was told, beside the tasks that follow. So files that a later task goes on from, and
changes or replaces, have a name of their own each time, which is told with the result: what is done
again changes nothing that was told. Only the many turns of `pour_on_tile` change files as they lie,
each once; where one was begun and lost, a tile is made anew.

Layers on disk: `dem` (whole, row by row), then of each tile `flooded` and `label`; with the cells
around the tile `filled`, `facets`, `led`, and with names of their own `steps` and those of `Pour`.
"""

import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from threading import Lock
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from soakline.grid import GroundArray
from soakline.terrain.compass import VOID
from soakline.terrain.flow import Uint8Array, facets
from soakline.terrain.ground import HalfWidths, disc_mean, horn_slope_pct
from soakline.terrain.heap import KeyArray, levels_of, order_keys
from soakline.terrain.hollows import OUTSIDE_M
from soakline.terrain.tiles.blocks import Blocks
from soakline.terrain.tiles.flats import FAR, StepArray, first_steps, lead, shorten
from soakline.terrain.tiles.flood import JoinArray, flood, raised
from soakline.terrain.tiles.pouring import Crossing, Pour
from soakline.terrain.tiles.tiling import NodeArray, Tiling, framed, rim_cells

T = TypeVar("T", bound=np.generic)

# Kernels that use all cores may not be called by two threads of a worker at once.
_ALL_CORES = Lock()
_CHANGED = ("state", "waiting", "upstream", "largest", "deviation")


@dataclass(frozen=True, slots=True)
class TileWork:
    """What every task needs to know.

    Parameters
    ----------
    tiling : Tiling
    folder : of the tiles and of the DEM
    """

    tiling: Tiling
    folder: Path

    @property
    def blocks(self) -> Blocks:
        return Blocks(self.folder)

    def dem(self, tile: int, around: int = 0) -> tuple[GroundArray, tuple[slice, slice]]:
        """A tile of the DEM and the cells around it that are on the grid.

        Returns
        -------
        the heights, and where among them the tile itself lies
        """
        top, bottom, left, right = self.tiling.window(tile)
        first_row, first_column = max(top - around, 0), max(left - around, 0)
        whole = self.blocks.opened("dem", 0)
        part = whole[first_row : bottom + around, first_column : right + around]
        return np.ascontiguousarray(part), (
            slice(top - first_row, bottom - first_row),
            slice(left - first_column, right - first_column),
        )


def smooth_tile(work: TileWork, tile: int, half_width: HalfWidths, cell_m: float) -> None:
    """Write ground and slope of a tile, from the DEM in and around it.

    Parameters
    ----------
    work : TileWork
    tile : index
    half_width : of `disc_half_widths`
    cell_m : side of a cell, m
    """
    dem, own = work.dem(tile, half_width.size // 2 + 1)
    with _ALL_CORES:
        ground = disc_mean(dem, half_width) if half_width.size > 1 else dem
        slope = horn_slope_pct(ground, cell_m)
    work.blocks.write("ground", tile, ground[own])
    work.blocks.write("slope", tile, slope[own])


def flood_tile(work: TileWork, tile: int) -> tuple[KeyArray, JoinArray]:
    """Flood a tile from its own edge.

    Returns
    -------
    (n,) order keys of its edge cells, and the joins of `flood`
    """
    dem, _ = work.dem(tile)
    key = order_keys(np.where(np.isnan(dem), np.float32(OUTSIDE_M), dem))
    rim = key.ravel()[rim_cells(*key.shape)]
    label, joins = flood(key)
    work.blocks.write("flooded", tile, key)
    work.blocks.write("label", tile, label)
    return rim, joins


def named(layer: str, name: str) -> str:
    """A layer of the files that a task has written under a name of their own."""
    return f"{layer}.{name}"


def facet_tile(
    work: TileWork, tile: int, spill: KeyArray, frame: KeyArray
) -> tuple[str, StepArray]:
    """Raise a tile to where its water leaves the grid, and find facets and steps on its flats.

    Parameters
    ----------
    work : TileWork
    tile : index
    spill : (n,) order keys at which the edge cells' water leaves the grid
    frame : the same of the cells around the tile; that of `OUTSIDE_M` off the grid

    Returns
    -------
    Name of the steps; and (n,) those of the edge cells: 0 where they drain, `FAR` where that is not
    known
    """
    key = work.blocks.read("flooded", tile)
    raised(key, work.blocks.read("label", tile), spill)
    filled = levels_of(framed(key, frame))
    state = np.full(filled.shape, VOID, np.uint8)
    with _ALL_CORES:
        state[1:-1, 1:-1] = facets(filled, filled > OUTSIDE_M)[1:-1, 1:-1]
    steps = np.full(filled.shape, FAR, np.int32)
    steps[1:-1, 1:-1][state[1:-1, 1:-1] != 0] = 0
    shorten(filled, state, steps, first_steps(filled, state, steps))
    for layer, values in (("filled", filled), ("facets", state)):
        work.blocks.write(layer, tile, values)
    return _steps_told(work, tile, steps)


def _steps_told(work: TileWork, tile: int, steps: StepArray) -> tuple[str, StepArray]:
    name = secrets.token_hex(8)
    work.blocks.write(named("steps", name), tile, steps)
    return name, _rim(steps)


def shorten_tile(work: TileWork, tile: int, name: str, frame: StepArray) -> tuple[str, StepArray]:
    """Shorten the steps on a tile's flats by ways out through its neighbours.

    Parameters
    ----------
    work : TileWork
    tile : index
    name : of the steps
    frame : (n,) steps of the cells around the tile

    Returns
    -------
    Name of the new steps, and (n,) those of the edge cells
    """
    steps = work.blocks.read(named("steps", name), tile)
    cells = rim_cells(*steps.shape)
    steps.ravel()[cells] = frame
    known = np.flatnonzero(frame < FAR)
    known = cells[known[np.argsort(frame[known], kind="stable")]]
    filled, state = work.blocks.opened("filled", tile), work.blocks.opened("facets", tile)
    shorten(filled, state, steps, known)
    return _steps_told(work, tile, steps)


def lead_tile(work: TileWork, tile: int, name: str, frame: StepArray) -> Uint8Array:
    """Give the cells of a tile's flats their directions.

    Parameters
    ----------
    work, tile, name, frame : as of `shorten_tile`

    Returns
    -------
    (n,) state of the edge cells

    Raises
    ------
    ValueError
        If a flat does not drain: a defect of ours.
    """
    steps, filled = work.blocks.read(named("steps", name), tile), work.blocks.read("filled", tile)
    state = work.blocks.read("facets", tile)
    steps.ravel()[rim_cells(*steps.shape)] = frame
    lost = lead(filled, state, steps)
    if lost:
        raise ValueError(f"{lost} cells of tile {tile} do not drain")
    work.blocks.write("led", tile, state)
    return _rim(state)


def pour_tile(
    work: TileWork,
    tile: int,
    frame: Uint8Array,
    came: Sequence[Crossing],
    first: int,
    nodes: NodeArray,
) -> tuple[str, Crossing]:
    """Choose directions in a tile as far as they hang on nothing that has not come yet.

    Parameters
    ----------
    work : TileWork
    tile : index
    frame : (n,) state of the cells around the tile
    came : what came over the tile's edges, turn by turn: nothing at first, all up to a turn whose
        worker was lost
    first : place of its first edge cell in the list of all
    nodes : (n,) of `Tiling.frame_nodes`

    Returns
    -------
    Name of the layers, and what leaves the tile in the last turn
    """
    state = framed(work.blocks.read("led", tile)[1:-1, 1:-1], frame)
    valid = ~np.isnan(work.dem(tile)[0])
    pour = Pour.start(work.blocks.opened("filled", tile), state, valid)
    leaving = pour.go_on(pour.ready(), nodes)
    for come in came:
        leaving = pour.go_on(pour.take_in(come, first), nodes)
    name = secrets.token_hex(8)
    for layer in _CHANGED:
        work.blocks.write(named(layer, name), tile, getattr(pour, layer))
    return name, leaving


def pour_on_tile(
    work: TileWork, tile: int, name: str, turn: int, come: Crossing, first: int, nodes: NodeArray
) -> tuple[str, Crossing]:
    """Go on in a tile with what has come over its edges.

    Parameters
    ----------
    work : TileWork
    tile : index
    name : of its layers
    turn : number of all turns before
    come : Crossing, to cells of the tile
    first : place of its first edge cell in the list of all
    nodes : (n,) of `Tiling.frame_nodes`

    Returns
    -------
    The name, and what leaves the tile

    Raises
    ------
    FileExistsError
        If this turn was begun before.
    """
    work.blocks.begin(tile, turn)
    changed = [work.blocks.opened(named(layer, name), tile) for layer in _CHANGED]
    pour = Pour(work.blocks.opened("filled", tile), *changed)
    return name, pour.go_on(pour.take_in(come, first), nodes)


def _rim(around: npt.NDArray[T]) -> npt.NDArray[T]:
    """Edge cells of a tile that is given with the cells around it."""
    core = around[1:-1, 1:-1]
    rows, columns = core.shape
    row, column = np.divmod(rim_cells(rows, columns), columns)
    return core[row, column]
