"""The GeoPackage's tables about tables: titles and descriptions of layers and columns, metadata.

Written with SQLite alone once the layers stand. Definitions of the tables are those of OGC 12-128,
annexes of the schema and the metadata extension. Nothing here depends on the clock.
"""

import sqlite3
from collections.abc import Iterable, Sequence

from soakline.outputs.columns import GEOMETRY_COLUMN, LayerSchema
from soakline.outputs.geopackage_styles import NO_TIME, write_styles
from soakline.outputs.geopackage_views import VIEWS, create_views, relate_tables
from soakline.outputs.iso_metadata import GMD, PlanDescription, iso_record
from soakline.outputs.schema import Column

CAUTIONS = (
    (
        "Position from this plan, level from an instrument on site; dig the sill last, to the "
        "lowest lip found."
    ),
    (
        "Steep or slipping ground, dispersive or saline soil, water near buildings, septic fields "
        "and wells, and neighbours below call for a licensed engineer before anything is dug."
    ),
    "Dams and drainage works may need a permit. Have buried services located first.",
    "Trenches over 1.2 m can collapse on those in them: follow local rules.",
    "Ponded water breeds mosquitoes and can drown children and stock.",
    "Local codes and a licensed engineer come before this plan.",
)

_FID = Column("fid", "integer", "Row number", "Number of the row in this file, not an id.")
_SHAPE = Column(
    GEOMETRY_COLUMN, "text", "Geometry", "In the plan's CRS. Z, where there is one, is elevation."
)

# Of each layer terms of the Dublin Core, as plain lines: read by people first.
_METADATA_STANDARD = "http://purl.org/dc/terms/"

_TABLES = """
CREATE TABLE gpkg_data_columns (
  table_name TEXT NOT NULL, column_name TEXT NOT NULL, name TEXT, title TEXT, description TEXT,
  mime_type TEXT, constraint_name TEXT,
  CONSTRAINT pk_gdc PRIMARY KEY (table_name, column_name),
  CONSTRAINT gdc_tn UNIQUE (table_name, name));
CREATE TABLE gpkg_data_column_constraints (
  constraint_name TEXT NOT NULL, constraint_type TEXT NOT NULL, value TEXT, min NUMERIC,
  min_is_inclusive BOOLEAN, max NUMERIC, max_is_inclusive BOOLEAN, description TEXT,
  CONSTRAINT gdcc_ntv UNIQUE (constraint_name, constraint_type, value));
CREATE TABLE gpkg_metadata (
  id INTEGER CONSTRAINT m_pk PRIMARY KEY ASC NOT NULL, md_scope TEXT NOT NULL DEFAULT 'dataset',
  md_standard_uri TEXT NOT NULL, mime_type TEXT NOT NULL DEFAULT 'text/xml',
  metadata TEXT NOT NULL DEFAULT '');
CREATE TABLE gpkg_metadata_reference (
  reference_scope TEXT NOT NULL, table_name TEXT, column_name TEXT, row_id_value INTEGER,
  timestamp DATETIME NOT NULL DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ','now')),
  md_file_id INTEGER NOT NULL, md_parent_id INTEGER,
  CONSTRAINT crmr_mfi_fk FOREIGN KEY (md_file_id) REFERENCES gpkg_metadata(id),
  CONSTRAINT crmr_mpi_fk FOREIGN KEY (md_parent_id) REFERENCES gpkg_metadata(id));
"""

_EXTENSIONS = {
    "gpkg_schema": (
        "http://www.geopackage.org/spec130/#extension_schema",
        ("gpkg_data_columns", "gpkg_data_column_constraints"),
    ),
    "gpkg_metadata": (
        "http://www.geopackage.org/spec130/#extension_metadata",
        ("gpkg_metadata", "gpkg_metadata_reference"),
    ),
}


def write_descriptions(
    database: sqlite3.Connection, schemas: Sequence[LayerSchema], describe: PlanDescription
) -> None:
    """Describe layers and columns in a GeoPackage whose layers are written.

    Parameters
    ----------
    database : the open file; the caller commits
    schemas : the layers that it holds
    describe : texts for the file as a whole
    """
    for statement in filter(str.strip, _TABLES.split(";")):
        database.execute(statement)
    for extension, (definition, tables) in _EXTENSIONS.items():
        database.executemany(
            "INSERT INTO gpkg_extensions VALUES (?, NULL, ?, ?, 'read-write')",
            [(table, extension, definition) for table in tables],
        )
    database.executemany(
        "UPDATE gpkg_contents SET identifier = ?, description = ? WHERE table_name = ?",
        [(schema.title, schema.description, schema.name) for schema in schemas],
    )
    _describe_columns(database, schemas)
    create_views(database)
    for view in VIEWS:
        shape = (_SHAPE,) if view.base else ()
        _describe(database, view.name, (_FID, *shape, *view.columns))
    relate_tables(database)
    write_styles(database)
    _write_metadata(database, schemas, describe)


def _describe_columns(database: sqlite3.Connection, schemas: Iterable[LayerSchema]) -> None:
    for schema in schemas:
        shape = () if schema.geometry is None else (_SHAPE,)
        _describe(database, schema.name, (_FID, *shape, *schema.columns))


def _describe(database: sqlite3.Connection, table: str, columns: Iterable[Column]) -> None:
    for column in columns:
        constraint = f"{table}_{column.name}" if column.allowed else None
        title = f"{column.title} ({column.unit})" if column.unit else column.title
        unit = f" Unit: {column.unit}." if column.unit else ""
        # `name` is what open GIS show as a column's heading, so it gets the title too.
        database.execute(
            "INSERT INTO gpkg_data_columns VALUES (?, ?, ?, ?, ?, NULL, ?)",
            (table, column.name, title, title, column.description + unit, constraint),
        )
        database.executemany(
            "INSERT INTO gpkg_data_column_constraints "
            "VALUES (?, 'enum', ?, NULL, NULL, NULL, NULL, NULL)",
            [(constraint, value) for value in column.allowed],
        )


def _write_metadata(
    database: sqlite3.Connection, schemas: Iterable[LayerSchema], describe: PlanDescription
) -> None:
    file_id = _insert_metadata(database, GMD, "text/xml", iso_record(describe, CAUTIONS))
    database.execute(
        "INSERT INTO gpkg_metadata_reference VALUES ('geopackage', NULL, NULL, NULL, ?, ?, NULL)",
        (NO_TIME, file_id),
    )
    for schema in schemas:
        title = f"{schema.title}: {describe.title}"
        text = _metadata_text(title, schema.description, describe.lineage)
        layer_id = _insert_metadata(database, _METADATA_STANDARD, "text/plain", text)
        database.execute(
            "INSERT INTO gpkg_metadata_reference VALUES ('table', ?, NULL, NULL, ?, ?, ?)",
            (schema.name, NO_TIME, layer_id, file_id),
        )


def _insert_metadata(
    database: sqlite3.Connection, standard: str, mime_type: str, metadata: str
) -> int | None:
    return database.execute(
        "INSERT INTO gpkg_metadata (md_scope, md_standard_uri, mime_type, metadata) "
        "VALUES ('dataset', ?, ?, ?)",
        (standard, mime_type, metadata),
    ).lastrowid


def _metadata_text(title: str, description: str, lineage: str) -> str:
    lines = [f"title: {title}", f"description: {description}", f"provenance: {lineage}"]
    return "\n".join([*lines, "cautions:", *(f"- {caution}" for caution in CAUTIONS)])
