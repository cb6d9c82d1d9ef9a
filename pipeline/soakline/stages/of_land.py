"""What neither rain nor swales change of a plan, made beside the stages that follow the terrain."""

import os
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import geopandas as gpd

from soakline.beside import beside
from soakline.inputs.types import Inputs
from soakline.outputs.land import (
    drainage_layer,
    hollow_layer,
    listed_hollows,
    property_layer,
    slope_layer,
)
from soakline.outputs.raster_schemas import RASTERS
from soakline.outputs.rasters import MadeFiles, PlanFiles, files_of, make_files, most_bytes
from soakline.outputs.whole_file import scratch_beside
from soakline.runfile.sections import RunFile
from soakline.stages.keeping import KeptStages
from soakline.terrain.condition import Terrain
from soakline.terrain.hollows import hollow_outlines

LandLayers = dict[str, gpd.GeoDataFrame]

# Subpackages that the results depend on.
_LAYERS_CODE, _FILES_CODE = ("outputs", "terrain"), ("outputs", "styles", "terrain")


class _NotCopied(Exception):
    """There is no copy of this process, or it was ended: the work is to be done here."""


@contextmanager
def land_under_way(
    stages: KeptStages, run: RunFile, inputs: Inputs, terrain: Terrain, out: Path
) -> Iterator[Callable[[], tuple[LandLayers, PlanFiles]]]:
    """Make layers of the land and all files that new rain leaves; what is stored is not made.

    They are stored as soon as they are made, however long before the plan asks for them.

    Parameters
    ----------
    stages : up to the terrain
    run, inputs, terrain : of those stages
    out : the plan

    Yields
    ------
    Waits for the layers and the files

    Raises
    ------
    InputRefused
        If there is no room for the files beside the plan.
    """
    wanted = run.output
    uses = (wanted.rasters, wanted.styles)
    of_layers, of_files = replace(stages), replace(stages)
    layers_missing = not of_layers.holds("land layers", (), _LAYERS_CODE)
    files_missing = not of_files.holds("plan files", uses, _FILES_CODE)
    rasters = RASTERS if wanted.rasters else ()

    def layers_made() -> LandLayers:
        return land_layers(run, inputs, terrain)

    def files_made(folder: Path) -> MadeFiles:
        release = stages.store.release
        return make_files(folder, inputs.elevation, terrain, rasters, wanted.styles, release)

    room_bytes = most_bytes(rasters, terrain.grid.cells) if files_missing else 0
    with scratch_beside(out, room_bytes) as folder:

        def missing() -> tuple[LandLayers | None, MadeFiles | None]:
            return (
                layers_made() if layers_missing else None,
                files_made(folder) if files_missing else None,
            )

        def kept(
            layers: Callable[[], LandLayers], files: Callable[[], MadeFiles]
        ) -> tuple[LandLayers, PlanFiles]:
            return (
                of_layers.kept("land layers", layers, (), _LAYERS_CODE),
                of_files.kept("plan files", lambda: files_of(files()), uses, _FILES_CODE),
            )

        # Results that are stored but turn out to be spoilt are made when they are asked for.
        if not (layers_missing or files_missing):
            yield lambda: kept(layers_made, lambda: files_made(folder))
            return
        first = os.getpid()

        def in_copy() -> tuple[LandLayers | None, MadeFiles | None]:
            # Not in the thread that waits: the stages beside it use the cores, and may fail.
            if os.getpid() == first:
                raise _NotCopied
            return missing()

        def kept_of(
            made: tuple[LandLayers | None, MadeFiles | None],
        ) -> tuple[LandLayers, PlanFiles]:
            layers, files = made
            return kept(lambda: layers or layers_made(), lambda: files or files_made(folder))

        with ThreadPoolExecutor(1) as thread, beside(in_copy) as made:
            stored = thread.submit(lambda: kept_of(made()))

            def waited_for() -> tuple[LandLayers, PlanFiles]:
                try:
                    return stored.result()
                except _NotCopied:
                    return kept_of(missing())

            yield waited_for


def land_layers(run: RunFile, inputs: Inputs, terrain: Terrain) -> LandLayers:
    """Layers that no rain and no swale changes."""
    crs = terrain.grid.crs_wkt
    hollows = terrain.hollows
    listed = listed_hollows(hollows, run.terrain)
    limits = tuple(float(limit) for limit in run.terrain.slope_class_pct)
    return {
        "property": property_layer(inputs.property, crs),
        "drainage_lines": drainage_layer(terrain, crs),
        "slope_classes": slope_layer(terrain, inputs.property, limits, crs),
        "hollows": hollow_layer(hollows, hollow_outlines(hollows, listed, terrain.grid), crs),
    }
