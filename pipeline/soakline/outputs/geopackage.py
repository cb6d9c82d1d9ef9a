"""The plan's one file: every layer and table of the contract in a GeoPackage 1.3."""

import sqlite3
from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import geopandas as gpd
import pandas as pd
import shapely
from pyproj import CRS

from soakline.outputs.columns import GEOMETRY_COLUMN, LAYERS
from soakline.outputs.empty_plan import EmptyPlan, empty_plan
from soakline.outputs.geopackage_tables import write_descriptions
from soakline.outputs.iso_metadata import PlanDescription
from soakline.outputs.layer_rows import fill_layer
from soakline.outputs.whole_file import flush_to_disk, written_whole
from soakline.problems import InputProblem, InputRefused

Layers = Mapping[str, gpd.GeoDataFrame | pd.DataFrame]


def write_plan(
    path: Path,
    layers: Layers,
    crs_wkt: str,
    describe: PlanDescription,
    empty: EmptyPlan | None = None,
) -> None:
    """Write the plan whole or not at all; a file that stands at `path` is replaced.

    Parameters
    ----------
    path : ends in `.gpkg`; the folder exists
    layers : every name of `columns.LAYERS` with its frame, built by `columns.frame`; rows are
        written in their order
    crs_wkt : the working CRS, which every layer has
    describe : texts for the file's own metadata
    empty : as of `empty_plan`; None has it made

    Raises
    ------
    InputRefused
        If the place cannot be written to, another program holds the old file, or the disk is full.
        The old file is untouched then.
    ValueError
        If a layer is missing, unknown or not built to its schema.
    """
    if path.suffix != ".gpkg":
        problem = InputProblem(str(path), "", f"a name ending in {path.suffix!r}", "NAME.gpkg")
        raise InputRefused([problem])
    _refuse_other_layers(layers, CRS.from_user_input(crs_wkt))
    empty = empty or empty_plan(crs_wkt)
    now = datetime.now(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
    with written_whole(path, estimated_bytes(layers, empty)) as temporary:
        temporary.write_bytes(empty.file.data)
        with (
            ThreadPoolExecutor(1) as aside,
            closing(sqlite3.connect(temporary, isolation_level=None)) as database,
        ):
            # Rasters make most of the file: the disk takes them in while rows are put together.
            aside.submit(flush_to_disk, temporary)
            # A temporary is thrown away whole if anything fails: it needs no journal, and it is
            # flushed once more at the end.
            database.execute("PRAGMA journal_mode=OFF")
            database.execute("PRAGMA synchronous=OFF")
            database.execute("BEGIN")
            for schema in LAYERS:
                fill_layer(database, schema, layers[schema.name])
            write_descriptions(database, LAYERS, describe)
            database.execute("UPDATE gpkg_contents SET last_change = ?", (now,))
            for trigger in empty.triggers:
                database.execute(trigger)
            database.execute("COMMIT")
        _check_written(temporary, layers)


def estimated_bytes(layers: Layers, empty: EmptyPlan) -> int:
    """Upper estimate of the file's size: its frame with descriptions, then its rows, bytes."""
    total = empty.file.size + 500_000
    for layer in layers.values():
        total += len(layer) * (40 + 10 * layer.shape[1])
        for name in layer.columns:
            if isinstance(layer[name].dtype, pd.StringDtype):
                total += 4 * int(layer[name].str.len().sum())
        if isinstance(layer, gpd.GeoDataFrame):
            # Header, envelope and the box in the spatial index, then 24 bytes a vertex.
            total += len(layer) * 160 + 24 * int(shapely.get_num_coordinates(layer.geometry).sum())
    return total


def _refuse_other_layers(layers: Layers, crs: CRS) -> None:
    names = {schema.name for schema in LAYERS}
    if names != set(layers):
        missing, unknown = sorted(names - set(layers)), sorted(set(layers) - names)
        raise ValueError(f"layers missing {missing}, unknown {unknown}")
    for schema in LAYERS:
        layer = layers[schema.name]
        columns = [*schema.column_names, *([GEOMETRY_COLUMN] if schema.geometry else [])]
        if list(layer.columns) != columns:
            raise ValueError(f"{schema.name} has columns {list(layer.columns)}, not {columns}")
        if schema.geometry and not crs.equals(layer.crs, ignore_axis_order=True):
            raise ValueError(f"{schema.name} is not in the working CRS")


def _check_written(path: Path, layers: Layers) -> None:
    """Read the file back by SQL, since a library may fail in silence when it closes a file."""
    with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as database:

        def rows(sql: str) -> list[tuple[object, ...]]:
            return database.execute(sql).fetchall()

        if rows("PRAGMA integrity_check") != [("ok",)] or rows("PRAGMA foreign_key_check"):
            raise RuntimeError(f"{path.name} was written but does not hold together")
        for schema in LAYERS:
            tables = [schema.name]
            if schema.geometry is not None:
                tables.append(f"rtree_{schema.name}_{GEOMETRY_COLUMN}")
            for table in tables:
                # Names come from the list of layers, never from a user.
                if rows(f'SELECT count(*) FROM "{table}"') != [(len(layers[schema.name]),)]:  # noqa: S608
                    raise RuntimeError(f"{schema.name}: rows were lost in writing {path.name}")
