"""Pegs and trees are many: what a row of each takes in the file."""

import sqlite3
from contextlib import closing

import pytest

from tests.plans.grounds import PlanGround

pytestmark = pytest.mark.slow

MOST_BYTES = 80


def stored_bytes(value: object) -> int:
    """Of a value in a record: SQLite documentation, "Database File Format", section 2.1."""
    if isinstance(value, float) and value.is_integer() and abs(value) < 2**47:
        value = int(value)
    if value is None or value in (0, 1):
        return 0
    if isinstance(value, float):
        return 8
    if isinstance(value, int):
        return next(n for n in (1, 2, 3, 4, 6, 8) if -(1 << 8 * n - 1) <= value < 1 << 8 * n - 1)
    return len(value.encode() if isinstance(value, str) else bytes(value))


@pytest.mark.parametrize(
    ("value", "size"), [(None, 0), (1.0, 0), (0.1, 8), (300, 2), (-129, 2), (127.0, 1), ("ü", 2)]
)
def test_values_are_counted_as_the_format_says(value: object, size: int) -> None:
    assert stored_bytes(value) == size


@pytest.mark.parametrize("name", ["plane, homestead", "plane, pears"])
@pytest.mark.parametrize("table", ["pegs", "trees"])
def test_a_row_takes_under_80_bytes_beyond_geometry_and_index(
    plan_ground: PlanGround, name: str, table: str
) -> None:
    """A record: a byte for the length of its head, one for each column, then the values."""
    with closing(sqlite3.connect(plan_ground(name).path)) as base:
        columns = [row[1] for row in base.execute(f"PRAGMA table_info({table})")]
        own = [column for column in columns if column not in ("fid", "geom")]
        listed = ", ".join(f'"{column}"' for column in own)
        rows = base.execute(f"SELECT {listed} FROM {table}").fetchall()  # noqa: S608
    assert rows
    total = sum(1 + len(row) + sum(map(stored_bytes, row)) for row in rows)
    assert total / len(rows) < MOST_BYTES
