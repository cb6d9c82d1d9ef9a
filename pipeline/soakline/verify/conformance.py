"""The file against OGC 12-128r18, GeoPackage 1.3, and against the contract's columns."""

import re
import sqlite3
import struct
from collections.abc import Iterator
from contextlib import closing

import numpy as np
import shapely

from soakline.verify.contract import GEOMETRY, IDS
from soakline.verify.line import Line, none_of
from soakline.verify.reading import Plan
from soakline.verify.requirements import NOTHING_MAY_BREAK

_FILE, _CONTRACT = "file", "contract"
# The key of a view is no key to SQLite.
_TABLES = """SELECT table_name FROM gpkg_contents JOIN sqlite_master ON name = table_name
    WHERE data_type IN ('features', 'attributes') AND type = 'table'"""
_TIME = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z")


def check_file(plan: Plan) -> list[Line]:
    """Lines about the file itself, each with the requirements' numbers."""
    with plan.path.open("rb") as stream:
        head = stream.read(72)
    user_version, application = struct.unpack(">I4xI", head[60:72])
    marks = [] if (user_version, application) == (10300, 0x47504B47) else [f"{user_version}"]
    uri = f"{plan.path.absolute().as_uri()}?mode=ro"
    with closing(sqlite3.connect(uri, uri=True)) as base:
        broken = [row[0] for row in base.execute("PRAGMA integrity_check") if row[0] != "ok"]
        lines = [
            none_of(_FILE, "requirements 1, 2 marks of version 1.3", "10300, GPKG", marks),
            none_of(_FILE, "requirement 6 integrity of the file", "ok", broken),
        ]
        for name, query in NOTHING_MAY_BREAK.items():
            try:
                bad = [row[0] for row in base.execute(query)]
            except sqlite3.OperationalError as error:
                bad = [str(error)]
            lines.append(none_of(_FILE, name, "none breaks it", bad))
        lines += [
            none_of(_FILE, "requirement 15 times of contents", "ISO 8601, UTC", list(_times(base))),
            none_of(_FILE, "requirements 29, 119 primary keys", "one integer", list(_keys(base))),
            none_of(_FILE, "requirements 75, 77 R-trees hold every feature's bounds", "all",
                    list(_trees(base, plan))),
            none_of(_FILE, "requirements 19, 33 geometries fit their columns", "type and srs_id",
                    list(_geometries(base, plan))),
        ]  # fmt: skip
    return lines


def _times(base: sqlite3.Connection) -> Iterator[str]:
    for name, time in base.execute("SELECT table_name, last_change FROM gpkg_contents"):
        if not _TIME.fullmatch(str(time)):
            yield str(name)


def _keys(base: sqlite3.Connection) -> Iterator[str]:
    for (name,) in base.execute(_TABLES).fetchall():
        keys = [row[2] for row in base.execute(f'PRAGMA table_info("{name}")') if row[5]]
        if keys != ["INTEGER"]:
            yield str(name)


def _trees(base: sqlite3.Connection, plan: Plan) -> Iterator[str]:
    """Layers whose index lacks features, has others, or bounds that leave some of one out."""
    tables = {row[0] for row in base.execute("SELECT name FROM sqlite_master")}
    columns = dict(base.execute("SELECT table_name, column_name FROM gpkg_geometry_columns"))
    for name in GEOMETRY:
        tree = f"rtree_{name}_{columns[name]}"
        if tree not in tables:
            yield name
            continue
        try:
            rows = base.execute(
                f'SELECT id, minx, maxx, miny, maxy FROM "{tree}" ORDER BY id'  # noqa: S608
            ).fetchall()
        except sqlite3.DatabaseError:
            yield name
            continue
        frame = plan[name].sort_values(plan[name].columns[0])
        shapes = frame["geometry"].to_numpy()
        held = np.array(rows, dtype=float).reshape(-1, 5)
        whole = ~(shapely.is_missing(shapes) | shapely.is_empty(shapes))
        own = shapely.bounds(shapes[whole])
        if not np.array_equal(held[:, 0], frame.iloc[:, 0].to_numpy(float)[whole]):
            yield name
            continue
        # Bounds are kept as 32-bit reals, rounded outwards.
        slack = 1e-6 * np.abs(own).max(initial=1.0)
        east, north = held[:, 1:3], held[:, 3:5]
        off = np.abs(np.column_stack([east[:, 0], north[:, 0], east[:, 1], north[:, 1]]) - own)
        if (off > slack).any():
            yield name


def _geometries(base: sqlite3.Connection, plan: Plan) -> Iterator[str]:
    rows = base.execute(
        "SELECT table_name, column_name, geometry_type_name, srs_id, z FROM gpkg_geometry_columns"
    ).fetchall()
    for name, column, kind, srs_id, z in rows:
        if name not in GEOMETRY:
            continue
        shapes = plan[name]["geometry"].to_numpy()
        types = {str(shape.geom_type).upper() for shape in shapes if shape is not None}
        query = f'SELECT substr("{column}", 1, 8) FROM "{name}" WHERE "{column}" NOT NULL'  # noqa: S608
        heads = {bytes(row[0]) for row in base.execute(query)}
        ids = {struct.unpack("<i" if h[3] & 1 else ">i", h[4:8])[0] for h in heads}
        flat = z == 1 and not shapely.has_z(shapes[~shapely.is_missing(shapes)]).all()
        if types - {kind} or ids - {srs_id} or flat:
            yield name


def check_contract(plan: Plan) -> list[Line]:
    """Lines about layers, columns and ids."""
    uri = f"{plan.path.absolute().as_uri()}?mode=ro"
    with closing(sqlite3.connect(uri, uri=True)) as base:
        found = {
            row[0]: (row[1], row[2])
            for row in base.execute(
                "SELECT table_name, geometry_type_name, z FROM gpkg_geometry_columns"
            )
        }
        srs = {row[0] for row in base.execute(
            "SELECT srs_id FROM gpkg_geometry_columns")}  # fmt: skip
        code = base.execute(
            "SELECT definition FROM gpkg_spatial_ref_sys WHERE srs_id IN "
            "(SELECT srs_id FROM gpkg_geometry_columns)"
        ).fetchall()
    other = [name for name, own in GEOMETRY.items() if found.get(name) != own]
    twice = [
        f"{name} {one}"
        for name, column in IDS.items()
        for one in plan[name][column][plan[name][column].duplicated(keep=False)].unique()
    ]
    empty = [f"{name}.{column}" for name, column in IDS.items() if plan[name][column].isna().any()]
    projected = [] if len(code) == 1 and code[0][0].startswith("PROJCS") else ["not projected"]
    return [
        none_of(_CONTRACT, "columns of every layer and table", "all there", plan.missing),
        none_of(_CONTRACT, "geometry types, heights of lines and pegs", "as the contract", other),
        none_of(_CONTRACT, "one projected reference system", "one",
                projected if len(srs) == 1 else sorted(str(one) for one in srs)),
        none_of(_CONTRACT, "ids stand once each", "all", [*twice, *empty]),
        none_of(_CONTRACT, "swale_id names a swale of the plan", "all", _strangers(plan)),
    ]  # fmt: skip


def _strangers(plan: Plan) -> list[str]:
    known = set(plan["swales"]["swale_id"])
    return [
        f"{name} {one}"
        for name, frame in plan.tables.items()
        if "swale_id" in frame.columns
        for one in sorted({str(one) for one in set(frame["swale_id"]) - known})
    ]
