"""The plan's rasters, made beside the stages that follow the terrain."""

from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from threading import Event as Flag

from soakline.inputs.types import Elevation
from soakline.outputs.raster_schemas import RASTERS
from soakline.outputs.rasters import PlanFiles, most_bytes, plan_files
from soakline.outputs.whole_file import scratch_beside
from soakline.runfile.works_sections import OutputKeys
from soakline.stages.keeping import KeptStages
from soakline.terrain.condition import Terrain


class _Stopped(Exception):
    """The run has ended for another reason."""


@contextmanager
def files_under_way(
    stages: KeptStages, elevation: Elevation, terrain: Terrain, wanted: OutputKeys, out: Path
) -> Iterator[Callable[[], PlanFiles]]:
    """Make what new rain leaves of the plan's files, in a thread; what is stored is not made.

    They are stored as soon as they are made, and not when the plan needs them.

    Parameters
    ----------
    stages : up to the terrain
    elevation, terrain : of those stages
    wanted : `[output]`
    out : the plan

    Yields
    ------
    Waits for the files

    Raises
    ------
    InputRefused
        If there is no room for them beside the plan.
    """
    stop = Flag()
    land = replace(stages)

    def go_on() -> None:
        if stop.is_set():
            raise _Stopped

    rasters = RASTERS if wanted.rasters else ()
    uses, code = (wanted.rasters, wanted.styles), ("outputs", "styles", "terrain")
    held = land.holds("plan files", uses, code)
    with scratch_beside(out, 0 if held else most_bytes(rasters, terrain.grid.cells)) as folder:

        def make() -> PlanFiles:
            go_on()
            return plan_files(elevation, terrain, rasters, wanted.styles, go_on, folder)

        def kept() -> PlanFiles:
            return land.kept("plan files", make, uses, code)

        if held:
            yield kept
            return
        with ThreadPoolExecutor(1) as thread:
            files = thread.submit(kept)
            try:
                yield files.result
            finally:
                stop.set()
