"""What neither rain nor swales change of a plan, made beside the stages that follow the terrain."""

import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

import geopandas as gpd

from soakline.beside import NotBeside, beside
from soakline.inputs.types import Inputs
from soakline.outputs.empty_plan import EmptyPlan
from soakline.outputs.land import (
    drainage_layer,
    hollow_layer,
    listed_hollows,
    property_layer,
    slope_layer,
)
from soakline.outputs.raster_schemas import RASTERS
from soakline.outputs.rasters import (
    MadeFiles,
    files_of,
    make_files,
    most_bytes,
    written_beside,
)
from soakline.outputs.whole_file import flush_to_disk, scratch_beside
from soakline.runfile.sections import RunFile
from soakline.stages.keeping import KeptStages
from soakline.terrain.condition import Terrain
from soakline.terrain.hollows import hollow_outlines

LandLayers = dict[str, gpd.GeoDataFrame]

# Subpackages that the results depend on.
_LAYERS_CODE, _FILES_CODE = ("outputs", "terrain"), ("outputs", "styles", "terrain")


@dataclass(frozen=True, eq=False, slots=True)
class LandMade:
    """What of a plan stands before any rain falls.

    Parameters
    ----------
    layers : of the land
    empty : the plan without rows
    copied_s : that it took to copy the rasters, into the plan and beside it, to the disk
    """

    layers: LandLayers
    empty: EmptyPlan
    copied_s: float


@contextmanager
def land_under_way(
    stages: KeptStages, run: RunFile, inputs: Inputs, terrain: Terrain, out: Path
) -> Iterator[tuple[Path, Callable[[], LandMade]]]:
    """Make layers of the land and all files that new rain leaves; what is stored is not made.

    They are stored as soon as they are made, however long before the plan asks for them. The plan's
    own file is begun then, and those beside it are written; they take their places when the block
    ends well.

    Parameters
    ----------
    stages : up to the terrain
    run, inputs, terrain : of those stages
    out : the plan

    Yields
    ------
    Where the plan's file will stand, whole, once it is begun; and a function that waits for that

    Raises
    ------
    InputRefused
        If there is no room for the files, or one cannot be written where it shall stand.
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
        return make_files(folder, inputs.elevation, terrain, rasters, wanted.styles)

    room_bytes = most_bytes(rasters, terrain.grid.cells) if files_missing else 0
    with scratch_beside(out, room_bytes) as folder:
        begun = folder / "begun.gpkg"

        def missing() -> Iterator[tuple[LandLayers | None, MadeFiles | None]]:
            yield (
                layers_made() if layers_missing else None,
                files_made(folder) if files_missing else None,
            )

        def kept(results: Iterator[tuple[LandLayers | None, MadeFiles | None]]) -> LandMade:
            layers, files = next(results)
            # Results that are stored but turn out to be spoilt are made now.
            of_land = of_layers.kept(
                "land layers", lambda: layers or layers_made(), (), _LAYERS_CODE
            )
            of_all = of_files.kept(
                "plan files", lambda: files_of(files or files_made(folder)), uses, _FILES_CODE
            )
            began = time.perf_counter()
            begin(begun, of_all.empty)
            files_beside.enter_context(written_beside(out, of_all))
            return LandMade(of_land, of_all.empty, time.perf_counter() - began)

        # The copy goes first: the thread would wait for it to end its work.
        with ExitStack() as files_beside, ThreadPoolExecutor(1) as thread, ExitStack() as copy:
            if layers_missing or files_missing:
                # Not in the thread that waits: the stages beside it use the cores, and may fail.
                results = copy.enter_context(beside(missing))
            else:
                results = missing()
            stored = thread.submit(kept, results)

            def waited_for() -> LandMade:
                try:
                    return stored.result()
                except NotBeside:
                    return kept(missing())

            yield begun, waited_for


def begin(begun: Path, empty: EmptyPlan) -> None:
    """Copy the GeoPackage to where its rows are put in; it stands there once it is whole."""
    part = begun.with_suffix(".part")
    part.write_bytes(empty.file.data)
    # Rasters make most of the file: the disk takes them in meanwhile.
    flush_to_disk(part)
    part.replace(begun)


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
