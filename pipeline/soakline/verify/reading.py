"""Opens a plan by SQL alone, for reading only."""

import sqlite3
import struct
from collections.abc import Iterable, Mapping
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely

from soakline.problems import InputProblem, InputRefused
from soakline.verify.contract import COLUMNS, GEOMETRY, MORE

A_PLAN = "a finished plan that soakline wrote"
_GEOPACKAGE = 0x47504B47
# Bytes of the envelope by its code (OGC 12-128, table 8), after the 8 of the header itself.
_ENVELOPE = {0: 0, 1: 32, 2: 48, 3: 48, 4: 64}


@dataclass(frozen=True, eq=False, slots=True)
class Plan:
    """A plan as stored.

    Parameters
    ----------
    path : the GeoPackage
    tables : rows by layer or table; `geometry` holds shapely geometries or None
    missing : columns of the contract that are not there, as layer.column; null in `tables`
    more : tables that plans of this version have besides, where they are there
    record : run_record, key to values
    """

    path: Path
    tables: Mapping[str, pd.DataFrame]
    missing: tuple[str, ...]
    more: Mapping[str, pd.DataFrame]
    record: Mapping[str, tuple[str, ...]]

    def __getitem__(self, name: str) -> pd.DataFrame:
        return self.tables[name]

    def setting(self, key: str, default: float) -> float:
        """A number that the run used; the default where it is not on record or is no number."""
        try:
            return float(self.record[key][0])
        except (KeyError, ValueError):
            return default


def refuse(path: Path, key: str, found: str, mend: str = "") -> InputRefused:
    """The refusal of a file, in one sentence."""
    return InputRefused([InputProblem(str(path), key, found, A_PLAN, mend)])


def read_plan(path: Path, version: str) -> Plan:
    """All layers and tables of a plan that the contract names.

    Parameters
    ----------
    path : the GeoPackage
    version : of this program; plans of another are refused

    Raises
    ------
    InputRefused
        If the file is no GeoPackage, is being written, is not of this program or of another
        version of it, or lacks layers.
    """
    if not path.is_file():
        raise refuse(path, "", "a folder" if path.is_dir() else "no such file")
    with path.open("rb") as stream:
        head = stream.read(72)
    if not head.startswith(b"SQLite format 3\0"):
        raise refuse(path, "", "not a GeoPackage, or one cut short")
    if any(path.with_name(path.name + end).exists() for end in ("-journal", "-wal")):
        raise refuse(path, "", "a plan still being written", "wait until it is finished")
    if int.from_bytes(head[68:72], "big") != _GEOPACKAGE:
        raise refuse(path, "", "an SQLite file without the GeoPackage's mark, or not finished")
    try:
        uri = f"{path.absolute().as_uri()}?mode=ro"
        with closing(sqlite3.connect(uri, uri=True, timeout=0.0)) as base:
            return _read(path, base, version)
    except sqlite3.OperationalError as error:
        if "locked" in str(error) or "busy" in str(error):
            found, mend = "a plan still being written", "wait until it is finished"
            raise refuse(path, "", found, mend) from None
        raise refuse(path, "", f"not readable: {error}") from None
    except sqlite3.DatabaseError as error:
        raise refuse(path, "", f"damaged: {error}") from None


def _read(path: Path, base: sqlite3.Connection, version: str) -> Plan:
    names = {row[0] for row in base.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    if not {"run_record", "swales"} & names:
        raise refuse(path, "", "a GeoPackage of another program")
    lost = [name for name in COLUMNS if name not in names]
    if lost:
        raise refuse(path, "", f"no layer or table {', '.join(lost)}")
    tables, missing = {}, []
    for name, columns in COLUMNS.items():
        tables[name] = _table(base, path, name)
        missing += [f"{name}.{c}" for c in columns if c not in tables[name].columns]
        tables[name] = tables[name].reindex(
            columns=[*dict.fromkeys([*tables[name].columns, *columns])]
        )
    record: dict[str, tuple[str, ...]] = {}
    for key, value in tables["run_record"][["key", "value"]].itertuples(index=False):
        record[str(key)] = (*record.get(str(key), ()), str(value))
    wrote = record.get("version", ("",))[0]
    if not wrote:
        raise refuse(path, "run_record.version", "no version")
    if wrote != version:
        age = "an older" if _parts(wrote) < _parts(version) else "a newer"
        mend = "plan again, or verify with the version that wrote it"
        raise refuse(path, "run_record.version", f"{wrote}, {age} version than {version}", mend)
    more = {name: _table(base, path, name) for name in sorted(MORE & names)}
    return Plan(path, tables, tuple(missing), more, record)


def _parts(version: str) -> list[int]:
    return [int("".join(filter(str.isdigit, part)) or 0) for part in version.split(".")]


def _table(base: sqlite3.Connection, path: Path, name: str) -> pd.DataFrame:
    frame = pd.read_sql(f'SELECT * FROM "{name}"', base)  # noqa: S608 - a name of the contract
    return frame if name not in GEOMETRY else _with_shapes(base, path, name, frame)


def read_layer(base: sqlite3.Connection, path: Path, name: str) -> pd.DataFrame:
    """A layer of any GeoPackage, its name taken from the file's own contents."""
    quoted = '"' + name.replace('"', '""') + '"'
    frame = pd.read_sql(f"SELECT * FROM {quoted}", base)  # noqa: S608 - quoted above
    return _with_shapes(base, path, name, frame)


def _with_shapes(
    base: sqlite3.Connection, path: Path, name: str, frame: pd.DataFrame
) -> pd.DataFrame:
    column = base.execute(
        "SELECT column_name FROM gpkg_geometry_columns WHERE table_name = ?", (name,)
    ).fetchone()
    if column is None or column[0] not in frame.columns:
        raise refuse(path, f"layer {name}", "no geometry column")
    frame = frame.rename(columns={column[0]: "geometry"})
    frame["geometry"] = _geometries(path, name, frame["geometry"].to_list())
    return frame


def _geometries(path: Path, name: str, blobs: list[bytes | None]) -> npt.NDArray[np.object_]:
    """Geometries from the standard's blobs: 'GP', version, flags, srs_id, envelope, WKB."""
    bodies: list[bytes | None] = []
    for blob in blobs:
        if blob is None:
            bodies.append(None)
            continue
        try:
            magic, _, flags = struct.unpack_from("<2sBB", blob)
            start = 8 + _ENVELOPE[flags >> 1 & 7]
        except (struct.error, KeyError):
            magic, start = b"", 0
        if magic != b"GP":
            raise refuse(path, f"layer {name}", "a geometry that is none of a GeoPackage")
        bodies.append(blob[start:])
    try:
        return np.asarray(shapely.from_wkb(np.array(bodies, dtype=object)), dtype=object)
    except shapely.GEOSException:
        raise refuse(path, f"layer {name}", "a damaged geometry") from None


def shapes_of(shapes: pd.Series, ids: Iterable[object]) -> npt.NDArray[np.object_]:
    """Geometries by id; None where there is no such id, which is at no distance of anything."""
    found = shapes[~shapes.index.duplicated()].reindex(list(ids)).to_numpy(dtype=object, copy=True)
    found[~np.asarray(shapely.is_geometry(found))] = None
    return np.asarray(found, dtype=object)
