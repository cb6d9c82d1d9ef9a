"""Pegs and trees are many: what a row of each takes of the file."""

import sqlite3
from contextlib import closing
from itertools import cycle, islice
from pathlib import Path

import pytest

from tests.plans.grounds import PlanGround

pytestmark = pytest.mark.slow

MOST_BYTES = 80
ROWS = 30_000  # pegs of a plan of some 700 swales


@pytest.mark.parametrize("name", ["plane, pears", "cone", "knoll"])
@pytest.mark.parametrize("table", ["pegs", "trees"])
def test_a_row_takes_under_80_bytes_of_the_file_beyond_geometry_and_index(
    plan_ground: PlanGround, tmp_path: Path, name: str, table: str
) -> None:
    """The plan's rows over and over in a file of their own with pages as large as the plan's: what
    SQLite keeps of each row and page, and what is left empty of pages, counts too.
    """
    alone = tmp_path / "rows.sqlite"
    with closing(sqlite3.connect(plan_ground(name).path)) as plan:
        (page,) = plan.execute("PRAGMA page_size").fetchone()
        (made,) = plan.execute("SELECT sql FROM sqlite_master WHERE name = ?", (table,)).fetchone()
        rows = plan.execute(f"SELECT * FROM {table}").fetchall()  # noqa: S608 - of the list above
    many = list(islice(cycle(rows), ROWS))
    with closing(sqlite3.connect(alone)) as database:
        database.execute(f"PRAGMA page_size = {page}")
        database.execute(made)
        database.commit()
        empty = alone.stat().st_size
        places = ", ".join("?" for _ in rows[0])
        database.executemany(
            f"INSERT INTO {table} VALUES ({places})",  # noqa: S608 - of the list above
            [(number, *row[1:]) for number, row in enumerate(many, 1)],
        )
        database.commit()
    geometry = sum(len(shape) for _, shape, *_ in many)
    assert (alone.stat().st_size - empty - geometry) / ROWS < MOST_BYTES
