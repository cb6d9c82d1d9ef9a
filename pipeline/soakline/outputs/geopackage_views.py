"""What belongs to each swale, by the related tables extension, and views for everyday questions."""

import sqlite3
from dataclasses import dataclass

from soakline.outputs.columns import GEOMETRY_COLUMN, SCHEMAS
from soakline.outputs.schema import Column

_EXTENSION = ("gpkg_related_tables", "http://docs.opengeospatial.org/is/18-000/18-000.html")

# OGC 18-000, table 2.
_RELATIONS_TABLE = """
CREATE TABLE gpkgext_relations (
  id INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, base_table_name TEXT NOT NULL,
  base_primary_column TEXT NOT NULL DEFAULT 'id', related_table_name TEXT NOT NULL,
  related_primary_column TEXT NOT NULL DEFAULT 'id', relation_name TEXT NOT NULL,
  mapping_table_name TEXT NOT NULL UNIQUE)
"""

RELATED = ("pegs", "spillways", "overflow_routes", "swale_storms")
"""Layers and tables whose rows each belong to the swale that `swale_id` names.

So do others; but each pair of tables stands in the list of layers that some GIS show.
"""


@dataclass(frozen=True, slots=True)
class View:
    """A view of the plan that open GIS show like a layer.

    Parameters
    ----------
    name, title, description : as of a layer
    base : layer whose geometry it shows; empty for a table
    columns : as they are described; `fid` and the geometry come first in the file
    sql : the SELECT
    """

    name: str
    title: str
    description: str
    base: str
    columns: tuple[Column, ...]
    sql: str


def _columns_of(layer: str, *names: str) -> tuple[Column, ...]:
    known = {column.name: column for column in SCHEMAS[layer].columns}
    return tuple(known[name] for name in names)


_DIG = (
    "swale_id", "state", "build_order", "phase", "level_m", "length_m", "base_width_m", "depth_m",
    "batter", "mound_top_level_m", "cut_m3", "machine_h",
)  # fmt: skip
_PEG = ("peg_id", "swale_id", "kind", "chainage_m", "level_m", "base_level_m", "cut_m")
_CUT = ("dig_below_mm", "daylight_mm", "daylight_above_mm", "rise_permille", "fall_permille")
_STOPS = ("code", "layer", "feature_id", "message", "advice")
_TOLD = ("code", "severity", "message", "advice")

# Columns as they stand in their tables, nothing reckoned: some readers refuse a column of a view
# for which SQLite tells no type.
VIEWS = (
    View(
        "swales_with_findings",
        "Swales with findings",
        "Swales that a finding at caution or stop is told of, a row for each finding, stops first. "
        "A swale at stop is not to be built as it stands.",
        "swales",
        (*_columns_of("swales", "swale_id"), *_columns_of("findings", *_TOLD)),
        f"""SELECT f.fid AS fid, s.{GEOMETRY_COLUMN} AS {GEOMETRY_COLUMN}, s.swale_id AS swale_id,
        f.code AS code, f.severity AS severity, f.message AS message, f.advice AS advice
        FROM findings f JOIN swales s ON s.swale_id = f.feature_id
        WHERE f.layer = 'swales' AND f.severity IN ('caution', 'stop')
        ORDER BY f.severity DESC, f.fid""",  # noqa: S608 - of a name of ours
    ),
    View(
        "swales_to_dig_next",
        "Swales to dig next",
        "Swales of the first phase that are not dug yet, in build order; all of them where there "
        "are no phases. Level from an instrument on site; have services located before digging.",
        "swales",
        _columns_of("swales", *_DIG),
        f"""SELECT fid, {GEOMETRY_COLUMN}, {", ".join(_DIG)} FROM swales
        WHERE state <> 'built' AND phase IS (SELECT min(phase) FROM swales WHERE state <> 'built')
        ORDER BY build_order""",  # noqa: S608 - of the list above
    ),
    View(
        "pegs_to_dig",
        "Pegs to dig",
        "Pegs with what is dug beside each. Position from this plan, level from an instrument on "
        "site; have services located before digging.",
        "pegs",
        (*_columns_of("pegs", *_PEG), *_columns_of("peg_cuts", *_CUT)),
        f"""SELECT p.fid AS fid, p.{GEOMETRY_COLUMN} AS {GEOMETRY_COLUMN},
        {", ".join(f"p.{name} AS {name}" for name in _PEG)},
        {", ".join(f"c.{name} AS {name}" for name in _CUT)}
        FROM pegs p JOIN peg_cuts c ON c.fid = p.fid""",  # noqa: S608 - of the lists above
    ),
    View(
        "findings_at_stop",
        "Findings at stop",
        "What must not be built as it stands. An empty list is no proof that the ground is safe.",
        "",
        _columns_of("findings", *_STOPS),
        f"SELECT fid, {', '.join(_STOPS)} FROM findings WHERE severity = 'stop'",  # noqa: S608
    ),
)


def relate_tables(database: sqlite3.Connection) -> None:
    """Tell what belongs to each swale: a view for each pair of tables, which takes no room.

    Parameters
    ----------
    database : the open file, its layers written; the caller commits
    """
    database.execute(_RELATIONS_TABLE)
    mappings = []
    for related in RELATED:
        mapping = f"swales_{related}"
        # Names come from the list above, never from a user.
        database.execute(
            f"CREATE VIEW {mapping} AS SELECT s.fid AS base_id, r.fid AS related_id "  # noqa: S608
            f"FROM swales s JOIN {related} r ON r.swale_id = s.swale_id"
        )
        relation = "features" if SCHEMAS[related].geometry else "attributes"
        mappings.append(("swales", "fid", related, "fid", relation, mapping))
    database.executemany(
        "INSERT INTO gpkgext_relations (base_table_name, base_primary_column, related_table_name, "
        "related_primary_column, relation_name, mapping_table_name) VALUES (?, ?, ?, ?, ?, ?)",
        mappings,
    )
    database.executemany(
        "INSERT INTO gpkg_extensions VALUES (?, NULL, ?, ?, 'read-write')",
        [
            (table, *_EXTENSION)
            for table in ("gpkgext_relations", *(mapping[-1] for mapping in mappings))
        ],
    )


def create_views(database: sqlite3.Connection) -> None:
    """Create the views and enter each among the file's contents.

    Parameters
    ----------
    database : the open file, its layers written; the caller commits
    """
    for view in VIEWS:
        database.execute(f"CREATE VIEW {view.name} AS {view.sql}")
        if view.base:
            database.execute(
                "INSERT INTO gpkg_contents SELECT ?, data_type, ?, ?, last_change, min_x, min_y, "
                "max_x, max_y, srs_id FROM gpkg_contents WHERE table_name = ?",
                (view.name, view.title, view.description, view.base),
            )
            database.execute(
                "INSERT INTO gpkg_geometry_columns SELECT ?, column_name, geometry_type_name, "
                "srs_id, z, m FROM gpkg_geometry_columns WHERE table_name = ?",
                (view.name, view.base),
            )
        else:
            database.execute(
                "INSERT INTO gpkg_contents (table_name, data_type, identifier, description, srs_id)"
                " VALUES (?, 'attributes', ?, ?, 0)",
                (view.name, view.title, view.description),
            )
