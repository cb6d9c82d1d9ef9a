"""The plan's rasters, made beside the stages that follow the terrain."""

from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import replace
from threading import Event as Flag

from soakline.inputs.types import Elevation
from soakline.outputs.raster_schemas import RASTERS
from soakline.outputs.rasters import PlanFiles, plan_files
from soakline.runfile.works_sections import OutputKeys
from soakline.stages.keeping import KeptStages
from soakline.terrain.condition import Terrain


class _Stopped(Exception):
    """The run has ended for another reason."""


@contextmanager
def files_under_way(
    stages: KeptStages, elevation: Elevation, terrain: Terrain, wanted: OutputKeys
) -> Iterator[Callable[[], PlanFiles]]:
    """Make what new rain leaves of the plan's files, in a thread; what is stored is not made.

    Parameters
    ----------
    stages : up to the terrain
    elevation, terrain : of those stages
    wanted : `[output]`

    Yields
    ------
    Waits for the files
    """
    stop = Flag()
    land = replace(stages)

    def go_on() -> None:
        if stop.is_set():
            raise _Stopped

    def make() -> PlanFiles:
        rasters = RASTERS if wanted.rasters else ()
        return plan_files(elevation, terrain, rasters, wanted.styles, go_on)

    uses, code = (wanted.rasters, wanted.styles), ("outputs", "styles", "terrain")

    def kept(made: Callable[[], PlanFiles]) -> PlanFiles:
        return land.kept("plan files", made, uses, code)

    if land.holds("plan files", uses, code):
        yield lambda: kept(make)
        return
    with ThreadPoolExecutor(1) as thread:
        files = thread.submit(make)
        try:
            yield lambda: kept(files.result)
        finally:
            stop.set()
