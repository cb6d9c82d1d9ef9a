"""The plan's one file: every layer and table of the contract in a GeoPackage 1.3."""

import sqlite3
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import geopandas as gpd
import pandas as pd
import shapely
from pyproj import CRS

from soakline.outputs.columns import GEOMETRY_COLUMN, LAYERS, SCHEMAS, LayerSchema
from soakline.outputs.empty_plan import EmptyPlan, empty_plan
from soakline.outputs.geopackage_tables import write_descriptions
from soakline.outputs.iso_metadata import PlanDescription
from soakline.outputs.layer_rows import LayerRows, fill_layer, rows_of
from soakline.outputs.whole_file import flush_to_disk, written_whole
from soakline.problems import InputProblem, InputRefused


@dataclass(frozen=True, slots=True)
class FilledLayer:
    """A layer whose rows stand in the plan's begun file already.

    Parameters
    ----------
    rows : of them
    """

    rows: int

    def __len__(self) -> int:
        return self.rows


Layers = Mapping[str, gpd.GeoDataFrame | pd.DataFrame | FilledLayer]


def fill_begun(begun: Path, schema: LayerSchema, layer: gpd.GeoDataFrame) -> FilledLayer:
    """Put the rows of a layer into a plan's file before the rest.

    Parameters
    ----------
    begun : as of `write_plan`; no other process has it open
    schema, layer : as of `rows_of`
    """
    with _filling(begun) as database:
        fill_layer(database, schema, rows_of(schema, layer))
    return FilledLayer(len(layer))


def write_plan(
    path: Path,
    layers: Layers,
    crs_wkt: str,
    describe: PlanDescription,
    empty: EmptyPlan | None = None,
    begun: Path | None = None,
    others: Callable[[], Layers] = dict,
) -> None:
    """Write the plan whole or not at all; a file that stands at `path` is replaced.

    Parameters
    ----------
    path : ends in `.gpkg`; the folder exists
    layers : names of `columns.LAYERS` with their frames, built by `columns.frame`; rows are
        written in their order
    crs_wkt : the working CRS, which every layer has
    describe : texts for the file's own metadata
    empty : as of `empty_plan`; None has it made
    begun : a copy of `empty` on the same disk, which becomes the plan; None has it copied
    others : tells the layers that are not among `layers`; asked when the rows of those are ready

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
    crs = CRS.from_user_input(crs_wkt)
    rows, needed_bytes = _rows_of_all(layers, crs), estimated_bytes(layers)
    told = others()
    rows |= _rows_of_all(told, crs)
    needed_bytes += estimated_bytes(told)
    layers = {**layers, **told}
    _refuse_missing_layers(layers)
    empty = empty or empty_plan(crs_wkt)
    now = datetime.now(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
    with written_whole(path, empty.file.size + needed_bytes) as temporary:
        if begun is None:
            temporary.write_bytes(empty.file.data)
        else:
            begun.replace(temporary)
        with _filling(temporary) as database:
            for schema in LAYERS:
                if schema.name in rows:
                    fill_layer(database, schema, rows[schema.name])
            write_descriptions(database, LAYERS, describe)
            database.execute("UPDATE gpkg_contents SET last_change = ?", (now,))
            for trigger in empty.triggers:
                database.execute(trigger)
            _in_one_order(database)
        with ThreadPoolExecutor(1) as aside:
            # It is flushed once more before it takes its place; by then little is left to do.
            aside.submit(flush_to_disk, temporary)
            _check_written(temporary, layers)


def _in_one_order(database: sqlite3.Connection) -> None:
    """Put SQLite's own list of last keys in order, whichever layer was filled first."""
    keys = database.execute("SELECT name, seq FROM sqlite_sequence ORDER BY name").fetchall()
    database.execute("DELETE FROM sqlite_sequence")
    database.executemany("INSERT INTO sqlite_sequence (name, seq) VALUES (?, ?)", keys)


@contextmanager
def _filling(path: Path) -> Iterator[sqlite3.Connection]:
    """Change a temporary, which is thrown away whole if anything fails: it needs no journal."""
    with closing(sqlite3.connect(path, isolation_level=None)) as database:
        database.execute("PRAGMA journal_mode=OFF")
        database.execute("PRAGMA synchronous=OFF")
        database.execute("BEGIN")
        yield database
        database.execute("COMMIT")


def estimated_bytes(layers: Layers) -> int:
    """Upper estimate of what rows and descriptions take in the file, bytes."""
    total = 500_000
    for layer in layers.values():
        if isinstance(layer, FilledLayer):
            continue
        total += len(layer) * (40 + 10 * layer.shape[1])
        for name in layer.columns:
            if isinstance(layer[name].dtype, pd.StringDtype):
                texts = layer[name].array.to_numpy(dtype=object, na_value="").tolist()
                total += 4 * sum(map(len, texts))
        if isinstance(layer, gpd.GeoDataFrame):
            # Header, envelope and the box in the spatial index, then 24 bytes a vertex.
            total += len(layer) * 160 + 24 * int(shapely.get_num_coordinates(layer.geometry).sum())
    return total


def _rows_of_all(layers: Layers, crs: CRS) -> dict[str, LayerRows]:
    """Rows of layers that are not filled already; none that is not built to its schema."""
    rows = {}
    for name, layer in layers.items():
        if isinstance(layer, FilledLayer):
            continue
        if name not in SCHEMAS:
            raise ValueError(f"layers unknown {[name]}")
        schema = SCHEMAS[name]
        columns = [*schema.column_names, *([GEOMETRY_COLUMN] if schema.geometry else [])]
        if list(layer.columns) != columns:
            raise ValueError(f"{schema.name} has columns {list(layer.columns)}, not {columns}")
        if schema.geometry and not crs.equals(layer.crs, ignore_axis_order=True):
            raise ValueError(f"{schema.name} is not in the working CRS")
        rows[name] = rows_of(schema, layer)
    return rows


def _refuse_missing_layers(layers: Layers) -> None:
    missing = sorted(set(SCHEMAS) - set(layers))
    if missing:
        raise ValueError(f"layers missing {missing}")


def _check_written(path: Path, layers: Layers) -> None:
    """Read the file back by SQL, since a library may fail in silence when it closes a file."""
    with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as database:
        # Mapped into memory, all pages are looked at in a third of the time that it takes to read.
        database.execute(f"PRAGMA mmap_size = {path.stat().st_size}")

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
