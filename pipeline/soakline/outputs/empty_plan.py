"""A plan's file without rows: every table of the standard and of the plan, as GDAL makes them."""

import mmap
import sqlite3
import tempfile
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from soakline import lean
from soakline.outputs.columns import GEOMETRY_COLUMN, LAYERS, frame

Bytes = npt.NDArray[np.uint8]

# Of SQLite's sizes the one at which a plan of many pegs takes least: at the usual 4,096 bytes the
# rest of each page, too short for one more row, takes 2 bytes a peg; larger ones make plans of few
# swales longer, since every table begins a page of its own.
_PAGE_BYTES = 8192
_GDAL_GEOMETRY = {"LineStringZ": "LineString Z", "PointZ": "Point Z"}


@dataclass(frozen=True, eq=False, slots=True)
class EmptyPlan:
    """A GeoPackage with every layer of the plan and no row in any.

    Parameters
    ----------
    file : its bytes
    triggers : that keep spatial indices up to date, as SQL; the file stands without them, since
        they call functions that only a GeoPackage's readers bring along
    """

    file: Bytes
    triggers: tuple[str, ...]


def empty_plan(crs_wkt: str, folder: Path | None = None) -> EmptyPlan:
    """Have GDAL make the file.

    Parameters
    ----------
    crs_wkt : the working CRS, which every layer has
    folder : to make it in; None for the system's own of temporary files
    """
    import pyogrio  # noqa: PLC0415 - slow to load, no rerun needs it

    with tempfile.TemporaryDirectory(dir=folder) as scratch:
        path = Path(scratch) / "empty.gpkg"
        for schema in LAYERS:
            shape = {}
            layer_options = {"FID": "fid"}
            if schema.geometry is not None:
                shape["geometry_type"] = _GDAL_GEOMETRY.get(schema.geometry, schema.geometry)
                layer_options |= {"GEOMETRY_NAME": GEOMETRY_COLUMN, "SPATIAL_INDEX": "YES"}
            creating = not path.exists()
            pyogrio.write_dataframe(
                frame(schema, [], [], crs_wkt) if schema.geometry else frame(schema, []),
                path,
                layer=schema.name,
                driver="GPKG",
                append=not creating,
                # GDAL's own table of feature counts is no part of the standard.
                dataset_options=(
                    {"VERSION": "1.3", "ADD_GPKG_OGR_CONTENTS": "NO"} if creating else None
                ),
                layer_options=layer_options,
                **shape,
            )
        with closing(sqlite3.connect(path, isolation_level=None)) as database:
            kept = "SELECT name, sql FROM sqlite_master WHERE type = 'trigger' ORDER BY rowid"
            triggers = database.execute(kept).fetchall()
            for name, _ in triggers:
                database.execute(f'DROP TRIGGER "{name}"')
            database.execute(f"PRAGMA page_size = {_PAGE_BYTES}")
            database.execute("VACUUM")
        return EmptyPlan(bytes_of(path), tuple(sql for _, sql in triggers))


def bytes_of(path: Path) -> Bytes:
    """A file's bytes, in memory only where they are looked at; the file may be unlinked."""
    with path.open("rb") as file:
        memory = mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ)
    lean.note(memory)
    return np.frombuffer(memory, dtype=np.uint8)
