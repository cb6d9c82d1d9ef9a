"""Many rows put into a table of SQLite, some at a time: half the time of one by one."""

import sqlite3
from collections.abc import Sequence
from itertools import chain
from typing import Any

# Any SQLite takes this many values in one statement.
_MOST_VALUES = 999


def insert(
    database: sqlite3.Connection,
    table: str,
    names: Sequence[str],
    columns: Sequence[Sequence[Any]],
) -> None:
    """Append rows to a table in their order.

    Parameters
    ----------
    database : the open file; the caller commits
    table, names : of the table and its columns, never from a user
    columns : values of each, as SQLite takes them
    """
    together = _MOST_VALUES // len(names)
    quoted = ", ".join(f'"{name}"' for name in names)
    row = f"({', '.join('?' * len(names))})"
    into = f'INSERT INTO "{table}" ({quoted}) VALUES '  # noqa: S608
    values = list(chain.from_iterable(zip(*columns, strict=True)))
    size = together * len(names)
    whole = len(values) // size * size
    database.executemany(
        into + ", ".join([row] * together), (values[i : i + size] for i in range(0, whole, size))
    )
    database.executemany(
        into + row, (values[i : i + len(names)] for i in range(whole, len(values), len(names)))
    )
