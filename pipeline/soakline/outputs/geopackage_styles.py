"""The plan's styles in its file, in the table that open GIS look for."""

import sqlite3
from math import ceil, floor

from soakline.outputs.columns import GEOMETRY_COLUMN
from soakline.styles.plan_styles import STYLES
from soakline.styles.raster_styles import raster_styles
from soakline.styles.sld import style_document
from soakline.styles.symbols import Style

STYLE_TABLE = "layer_styles"
STYLE_FILE = "styles.sld"
"""End of the name of the file with all of them, beside the plan."""

# By its name and columns open GIS find a style in a file of layers; it is no part of the standard.
_TABLE = f"""
CREATE TABLE {STYLE_TABLE} (
  id INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, f_table_catalog TEXT, f_table_schema TEXT,
  f_table_name TEXT, f_geometry_column TEXT, styleName TEXT, styleQML TEXT, styleSLD TEXT,
  useAsDefault BOOLEAN, description TEXT, owner TEXT, ui TEXT, update_time DATETIME)
"""
# Fixed, so that two runs of the same inputs are the same to the byte.
NO_TIME = "1970-01-01T00:00:00.000Z"


def write_styles(database: sqlite3.Connection) -> None:
    """Write a style for each layer and view that has geometry, and for each raster.

    Parameters
    ----------
    database : the open file; the caller commits
    """
    database.execute(_TABLE)
    database.execute(
        "INSERT INTO gpkg_contents (table_name, data_type, identifier, description, srs_id) "
        "VALUES (?, 'attributes', 'Styles', 'Styled Layer Descriptors 1.1 of the layers.', 0)",
        (STYLE_TABLE,),
    )
    rasters = _raster_styles(database)
    database.executemany(
        f"INSERT INTO {STYLE_TABLE} (f_table_catalog, f_table_schema, f_table_name, "  # noqa: S608
        "f_geometry_column, styleName, styleSLD, useAsDefault, description, update_time) "
        "VALUES ('', '', ?, ?, ?, ?, 1, ?, ?)",
        [
            (
                style.layer,
                "" if style in rasters else GEOMETRY_COLUMN,
                style.layer,
                style_document([style]),
                style.title,
                NO_TIME,
            )
            for style in (*STYLES.values(), *rasters)
        ],
    )


def _raster_styles(database: sqlite3.Connection) -> tuple[Style, ...]:
    """Styles of the coverages that the file holds, by the range that its tiles have on record."""
    tables = "SELECT count(*) FROM sqlite_master WHERE name = 'gpkg_2d_gridded_tile_ancillary'"
    if database.execute(tables).fetchone() == (0,):
        return ()
    lowest, highest = database.execute(
        "SELECT min(min), max(max) FROM gpkg_2d_gridded_tile_ancillary "
        "WHERE tpudt_name = 'elevation'"
    ).fetchone()
    return () if lowest is None else raster_styles(floor(lowest), ceil(highest))
