"""Looks through a stranger's GeoPackage before the library that reads it runs what is in it.

A view is a program: the library runs each once to learn its columns, and an endless one never
returns. Here every view runs first, with a bound on steps and on sizes.
"""

import sqlite3
from collections.abc import Collection
from contextlib import closing
from pathlib import Path

SQLITE_HEAD = b"SQLite format 3\0"
"""How every SQLite file begins, and so every GeoPackage."""
MOST_STEPS = 5_000_000
"""Of SQLite's machine for all views together: about a second."""
_STEPS_AT_ONCE = 10_000
_MOST_TABLES = 2000
_GREATEST_BYTES = 200_000_000
"""Of one value, and so of one geometry."""
_VIRTUAL_ALLOWED = "using rtree"
_SPATIAL = ("ST_MinX", "ST_MaxX", "ST_MinY", "ST_MaxY", "ST_IsEmpty", "ST_GeometryType", "ST_SRID")


def is_sqlite(path: Path) -> bool:
    """Whether a file begins as SQLite files do; False where it cannot be read."""
    try:
        with path.open("rb") as file:
            return file.read(len(SQLITE_HEAD)) == SQLITE_HEAD
    except OSError:
        return False


def odd_in(path: Path, read: Collection[str] = ()) -> str:
    """What in a GeoPackage makes it unfit to be opened, in words; empty if nothing does.

    Parameters
    ----------
    path : a file that starts as SQLite files do
    read : names of layers and tables that are to be read

    Notes
    -----
    Triggers need no look: they run when something is written, and nothing is.
    """
    try:
        with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)) as database:
            return _odd(database, {name.lower() for name in read})
    except (sqlite3.Error, UnicodeDecodeError, OverflowError):
        # Damaged or held by another program: whoever reads it says so.
        return ""


def _odd(database: sqlite3.Connection, read: Collection[str]) -> str:
    database.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, _GREATEST_BYTES)
    held = database.execute("SELECT name, type, sql FROM sqlite_master").fetchmany(5 * _MOST_TABLES)
    tables = [row for row in held if row[1] in ("table", "view")]
    if len(tables) > _MOST_TABLES:
        return f"over {_MOST_TABLES} tables"
    views = []
    for name, kind, sql in ((str(n), k, " ".join(str(s).lower().split())) for n, k, s in tables):
        used = name.lower() in read or name.lower().startswith(("gpkg_", "rtree_"))
        if kind == "view":
            views.append(name)
        if used and kind == "view":
            return f'the view "{name}" in the place of a table'
        if sql.startswith("create virtual") and _VIRTUAL_ALLOWED not in sql:
            return f'the virtual table "{name}"'
        if used and any(row[6] in (2, 3) for row in _columns(database, name)):
            return f'reckoned columns in the table "{name}"'
    return _endless(database, views)


def _columns(database: sqlite3.Connection, table: str) -> list[tuple[object, ...]]:
    # The name is bound, never written into the statement.
    return database.execute("SELECT * FROM pragma_table_xinfo(?)", (table,)).fetchall()


def _endless(database: sqlite3.Connection, views: Collection[str]) -> str:
    """Run each view to its first row; which one does not get there."""
    steps = 0

    def too_many() -> bool:
        nonlocal steps
        steps += _STEPS_AT_ONCE
        return steps > MOST_STEPS

    for name in _SPATIAL:
        # What GeoPackage libraries add to SQLite; here only their names are needed.
        database.create_function(name, -1, lambda *_: None, deterministic=True)
    database.set_progress_handler(too_many, _STEPS_AT_ONCE)
    for view in views:
        quoted = '"' + view.replace('"', '""') + '"'
        try:
            database.execute(f"SELECT * FROM {quoted} LIMIT 1").fetchall()  # noqa: S608 - quoted above; SQLite binds no names
        except (sqlite3.Error, MemoryError) as error:
            if str(error).startswith(("no such table", "no such column")):
                continue  # it runs nowhere; that a table is missing is told of the table
            return f'the view "{view}", which cannot be run safely ({str(error) or "too large"})'
    return ""
