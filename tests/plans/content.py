"""All that a plan holds but when and where it was made: what two runs are compared by."""

import sqlite3
from contextlib import closing
from pathlib import Path

CHANGES = ("started", "finished", "timing_", "host_")


def content(path: Path) -> dict[str, list[tuple[object, ...]]]:
    """Every row of every table but what tells when and where the run was."""
    with closing(sqlite3.connect(path)) as opened:
        names = [
            row[0]
            for row in opened.execute(
                "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'rtree_%'"
            )
        ]
        rows = {name: list(opened.execute(f'SELECT * FROM "{name}"')) for name in names}  # noqa: S608
    rows["run_record"] = [r for r in rows["run_record"] if not str(r[1]).startswith(CHANGES)]
    rows["gpkg_contents"] = [
        tuple(value for i, value in enumerate(r) if i != 4)  # last_change
        for r in rows["gpkg_contents"]
    ]
    return rows
