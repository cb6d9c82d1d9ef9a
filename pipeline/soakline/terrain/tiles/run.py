"""The terrain tile by tile, in order: fill, flats, directions and areas; and the ground."""

from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import FIRST_COMPLETED, Executor, Future, wait
from itertools import count
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
import numpy.typing as npt

from soakline.inputs.types import Elevation
from soakline.runfile.sections import TerrainKeys
from soakline.terrain.compass import VOID
from soakline.terrain.flow import Flow, Uint8Array
from soakline.terrain.ground import disc_half_widths
from soakline.terrain.heap import KeyArray, order_keys
from soakline.terrain.hollows import OUTSIDE_M, FilledGround
from soakline.terrain.surfaces import Surfaces, Told
from soakline.terrain.tiles.flats import FAR, StepArray
from soakline.terrain.tiles.flood import spills
from soakline.terrain.tiles.pouring import Crossing, joined
from soakline.terrain.tiles.tasks import (
    TileWork,
    facet_tile,
    flood_tile,
    lead_tile,
    named,
    pour_on_tile,
    pour_tile,
    shorten_tile,
    smooth_tile,
)
from soakline.terrain.tiles.tiling import Tiling

T = TypeVar("T", bound=np.generic)
R = TypeVar("R")

_OUTSIDE = order_keys(np.array([OUTSIDE_M], np.float32))[0]


def tiled_surfaces(
    elevation: Elevation,
    keys: TerrainKeys,
    advanced: Told,
    side: int,
    folder: Path,
    workers: Executor,
    hands: int,
) -> Surfaces:
    """Make the layers tile by tile: to the bit what `whole_surfaces` makes.

    Parameters
    ----------
    elevation : Elevation
    keys : the run file's `[terrain]`
    advanced : Told
    side : of a tile, cells
    folder : exists, and is the same path for all workers
    workers : run the tasks
    hands : tasks that run at once

    Returns
    -------
    Surfaces whose layers lie in the folder and are read as they are used; on Linux they may be used
    when it is gone, until the process ends
    """
    grid, dem = elevation.grid, elevation.dem_m
    crew = _Crew(workers, hands, TileWork(Tiling(grid.rows, grid.columns, side), folder))
    crew.work.blocks.write("dem", 0, dem)
    half_width = disc_half_widths(keys.smoothing_m / 2.0 / grid.cell_m)
    crew.every(smooth_tile, [(half_width, grid.cell_m)] * crew.tiles)
    ground, slope = crew.whole("ground", 0), crew.whole("slope", 0)
    advanced(0.15)
    spill = _fill(crew)
    advanced(0.3)
    rim_state = _find_flats(crew, spill)
    advanced(0.4)
    names = _pour(crew, rim_state)
    filled = crew.whole("filled", 1)
    flow = Flow(crew.whole("state", 1, names), crew.whole("upstream", 1, names))
    return Surfaces(ground, slope, FilledGround(filled, ~np.isnan(dem)), flow)


def _fill(crew: "_Crew") -> KeyArray:
    """Level at which water leaves the grid from each edge cell of each tile."""
    flooded = crew.every(flood_tile, [()] * crew.tiles)
    return spills(crew.work.tiling, [rim for rim, _ in flooded], [joins for _, joins in flooded])


def _find_flats(crew: "_Crew", spill: KeyArray) -> Uint8Array:
    """Find the steps on flats, until no tile shortens its neighbours'; state of all edge cells."""
    around = crew.around(spill, _OUTSIDE)
    told = crew.every(facet_tile, list(zip(crew.of(spill), around, strict=True)))
    crew.drop("flooded")
    crew.drop("label")
    names = [name for name, _ in told]
    steps = np.concatenate([rim for _, rim in told])

    def waits(tile: int) -> bool:
        return bool((crew.of(steps)[tile] > 1).any())

    def start(tile: int) -> tuple[object, ...]:
        return names[tile], crew.around_one(tile, steps, FAR)

    def finish(tile: int, gave: tuple[str, StepArray]) -> Iterable[int]:
        crew.work.blocks.drop(named("steps", names[tile]), tile)
        names[tile], rim = gave
        own = crew.of(steps)[tile]
        if np.array_equal(own, rim):
            return ()
        own[:] = rim
        return filter(waits, crew.work.tiling.beside(tile))

    due = set(filter(waits, range(crew.tiles)))
    crew.turns(shorten_tile, due, start, finish)
    frames = crew.around(steps, FAR)
    state = np.concatenate(crew.every(lead_tile, list(zip(names, frames, strict=True))))
    crew.drop("facets")
    crew.drop("steps", names)
    return state


def _pour(crew: "_Crew", rim_state: Uint8Array) -> list[str]:
    """Choose directions, until no water waits at an edge; name of each tile's layers."""
    frames = crew.around(rim_state, np.uint8(VOID))
    turn = count(1)
    waiting: list[list[Crossing]] = [[] for _ in range(crew.tiles)]
    came: list[list[Crossing]] = [[] for _ in range(crew.tiles)]

    def up_to_now(tile: int) -> tuple[object, ...]:
        return frames[tile], tuple(came[tile]), int(crew.rim_start[tile]), crew.nodes[tile]

    told = crew.every(pour_tile, [up_to_now(tile) for tile in range(crew.tiles)])
    names = [name for name, _ in told]

    def sent(leaving: Crossing) -> set[int]:
        owner = np.searchsorted(crew.rim_start, leaving.node, side="right") - 1
        tiles = np.unique(owner).tolist()
        for tile in tiles:
            waiting[tile].append(leaving.part(owner == tile))
        return set(tiles)

    def start(tile: int) -> tuple[object, ...]:
        come = joined(waiting[tile])
        waiting[tile] = []
        came[tile].append(come)
        return names[tile], next(turn), come, int(crew.rim_start[tile]), crew.nodes[tile]

    def again(tile: int) -> Future[tuple[str, Crossing]]:
        return crew.submit(pour_tile, tile, *up_to_now(tile))

    def finish(tile: int, gave: tuple[str, Crossing]) -> Iterable[int]:
        names[tile], leaving = gave
        return sent(leaving)

    due = set().union(*(sent(leaving) for _, leaving in told))
    crew.turns(pour_on_tile, due, start, finish, again)
    return names


class _Crew:
    """Workers, and what their tiles have told of their edge cells.

    Parameters
    ----------
    workers : run the tasks
    hands : tasks that run at once
    work : TileWork
    """

    def __init__(self, workers: Executor, hands: int, work: TileWork) -> None:
        self.workers, self.hands, self.work = workers, hands, work
        self.tiles = work.tiling.count
        self.rim_start = work.tiling.rim_starts()
        self.nodes = [work.tiling.frame_nodes(t, self.rim_start) for t in range(self.tiles)]

    def of(self, rims: npt.NDArray[T]) -> list[npt.NDArray[T]]:
        """Values of all edge cells, tile by tile: views."""
        return np.split(rims, self.rim_start[1:-1])

    def around_one(self, tile: int, rims: npt.NDArray[T], outside: T) -> npt.NDArray[T]:
        """Values of the cells around a tile."""
        nodes = self.nodes[tile]
        return np.where(nodes >= 0, rims[nodes], outside)

    def around(self, rims: npt.NDArray[T], outside: T) -> list[npt.NDArray[T]]:
        """Values of the cells around each tile."""
        return [self.around_one(tile, rims, outside) for tile in range(self.tiles)]

    def every(self, task: Callable[..., R], arguments: Sequence[tuple[object, ...]]) -> list[R]:
        """Do a task for every tile."""
        queued = [self.submit(task, tile, *own) for tile, own in enumerate(arguments)]
        return [future.result() for future in queued]

    def submit(self, task: Callable[..., R], tile: int, *own: object) -> Future[R]:
        """Have a task done for a tile."""
        return self.workers.submit(task, self.work, tile, *own)

    def turns(
        self,
        task: Callable[..., R],
        due: set[int],
        start: Callable[[int], tuple[object, ...]],
        finish: Callable[[int, R], Iterable[int]],
        again: Callable[[int], Future[R]] | None = None,
    ) -> None:
        """Do a task for tiles that are due, until none is.

        Parameters
        ----------
        task : one at a time for each tile
        due : tiles
        start : arguments for a tile that now starts
        finish : takes what a tile gave, and gives tiles that then are due
        again : has a tile made anew whose worker was lost in a turn that is not done twice
        """
        running: dict[Future[R], int] = {}
        while due or running:
            # No more than can run: what comes meanwhile is taken in together.
            for tile in sorted(due.difference(running.values()))[: self.hands - len(running)]:
                due.remove(tile)
                running[self.submit(task, tile, *start(tile))] = tile
            for future in wait(running, return_when=FIRST_COMPLETED).done:
                tile = running.pop(future)
                try:
                    gave = future.result()
                except FileExistsError:
                    if again is None:
                        raise
                    running[again(tile)] = tile
                else:
                    due |= set(finish(tile, gave))

    def layers(self, layer: str, names: Sequence[str] | None) -> list[str]:
        """A layer of each tile; `names` of the files, None for a layer that needs none."""
        return [layer] * self.tiles if names is None else [named(layer, name) for name in names]

    def drop(self, layer: str, names: Sequence[str] | None = None) -> None:
        """Remove a layer of all tiles."""
        for tile, own in enumerate(self.layers(layer, names)):
            self.work.blocks.drop(own, tile)

    def whole(
        self, layer: str, around: int, names: Sequence[str] | None = None
    ) -> npt.NDArray[Any]:
        """A layer of all tiles, as one array on disk.

        Parameters
        ----------
        layer : name
        around : cells around each tile that its file has
        names : as of `layers`
        """
        tiling, blocks = self.work.tiling, self.work.blocks
        layers = self.layers(layer, names)
        first = blocks.opened(layers[0], 0)
        out = blocks.new(f"whole-{layer}", first.dtype, (tiling.rows, tiling.columns))
        for tile in range(self.tiles):
            top, bottom, left, right = tiling.window(tile)
            rows, columns = tiling.shape(tile)
            own = blocks.opened(layers[tile], tile)
            out[top:bottom, left:right] = own[around : around + rows, around : around + columns]
            blocks.drop(layers[tile], tile)
        return out
