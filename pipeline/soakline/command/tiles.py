"""Terrain in tiles on Dask: threads of this process, or the workers of a scheduler."""

import fcntl
import os
import shutil
from collections.abc import Iterator
from concurrent.futures import Executor
from contextlib import contextmanager, suppress
from pathlib import Path

from soakline.command.tile_options import LARGE_CELLS, TileOptions
from soakline.ending import scratch_folder
from soakline.inputs.types import Elevation
from soakline.problems import InputProblem, InputRefused
from soakline.runfile.sections import TerrainKeys
from soakline.stages.progress import Progress
from soakline.terrain.surfaces import SurfaceMaker, Surfaces, Told, whole_surfaces

USUAL_SIDE = 2048


def surfaces_by(options: TileOptions, plan: Path, progress: Progress) -> SurfaceMaker:
    """What makes the terrain's layers as the options say; it is called when they are needed.

    Parameters
    ----------
    options : TileOptions
    plan : the tiles lie beside it while they are made
    progress : told of tiles
    """

    def made(elevation: Elevation, keys: TerrainKeys, advanced: Told) -> Surfaces:
        side = options.side
        if side is None:
            large = elevation.grid.cells > LARGE_CELLS or options.scheduler is not None
            side = USUAL_SIDE if large else 0
        if side == 0:
            return whole_surfaces(elevation, keys, advanced)
        from soakline.terrain.tiles.run import tiled_surfaces  # noqa: PLC0415 - few runs need it

        with (
            _folder_beside(plan) as folder,
            _workers(options.scheduler, folder) as (workers, hands),
        ):
            progress.message("info", f"terrain in tiles of {side} cells, {hands} at a time")
            return tiled_surfaces(elevation, keys, advanced, side, folder, workers, hands)

    return made


@contextmanager
def _workers(scheduler: str | None, folder: Path) -> Iterator[tuple[Executor, int]]:
    """Workers for the length of a block, and how many tasks they do at once.

    Raises
    ------
    InputRefused
        If no scheduler answers at the address, or it has no worker, or one does not see the folder.
    """
    from soakline.fleet.cluster import remote_cluster, thread_cluster  # noqa: PLC0415

    cluster = thread_cluster() if scheduler is None else remote_cluster(scheduler)
    with cluster as client:
        hands = sum(client.nthreads().values())
        found = "" if hands else "no worker"
        if hands and not all(client.run(os.path.isdir, str(folder)).values()):
            found = f"a worker that does not see {folder}"
        if found:
            allowed = "a scheduler whose workers see the plan's folder under the same path"
            raise InputRefused([InputProblem(str(scheduler), "--scheduler", found, allowed)])
        # A task that goes on with a tile changes its files: it is not done twice.
        with client.get_executor(pure=False, retries=0) as workers:
            yield workers, hands


@contextmanager
def _folder_beside(plan: Path) -> Iterator[Path]:
    """Lend a folder for tiles beside the plan; what killed runs have left there is removed.

    Layers that are still in use outlive it, as files that are open do.
    """
    prefix = f".{plan.name}.tiles-"
    for left in plan.absolute().parent.glob(f"{prefix}*"):
        with suppress(OSError), (left / "lock").open("w") as lock:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
            shutil.rmtree(left, ignore_errors=True)
    with (
        scratch_folder(prefix, plan.absolute().parent) as folder,
        (folder / "lock").open("w") as lock,
    ):
        with suppress(OSError):  # some network drives know no locks
            fcntl.flock(lock, fcntl.LOCK_EX)
        yield folder
