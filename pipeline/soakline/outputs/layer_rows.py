"""Rows of a layer as SQLite takes them: plain values, and geometry as of OGC 12-128, 2.1.3."""

import sqlite3
import struct
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from soakline.grid import FloatArray
from soakline.outputs.columns import GEOMETRY_COLUMN, LayerSchema
from soakline.outputs.inserting import insert
from soakline.outputs.spatial_index import fill_index

# Bits of the flags: little-endian, and which envelope stands before the geometry.
_LITTLE_ENDIAN, _ENVELOPE_XY = 1, 1 << 1


@dataclass(frozen=True, eq=False, slots=True)
class Shapes:
    """Geometry of a layer, of n rows.

    Parameters
    ----------
    bodies : (n,) as ISO WKB
    points : (n,) bool
    bounds : (n, 4)
    """

    bodies: list[bytes]
    points: list[bool]
    bounds: FloatArray


@dataclass(frozen=True, eq=False, slots=True)
class LayerRows:
    """Rows of a layer, made ready before the file is there to take them.

    Parameters
    ----------
    columns : of each name the values, as SQLite takes them
    shapes : Shapes; None in a table without geometry
    """

    columns: dict[str, list[Any]]
    shapes: Shapes | None


def rows_of(schema: LayerSchema, layer: gpd.GeoDataFrame | pd.DataFrame) -> LayerRows:
    """Make the rows of a layer.

    Parameters
    ----------
    schema : of the layer
    layer : built by `columns.frame`; NaN becomes null, no geometry is missing or empty
    """
    columns = {name: _plain(layer[name]) for name in schema.column_names}
    if not isinstance(layer, gpd.GeoDataFrame):
        return LayerRows(columns, None)
    shapes = np.asarray(layer.geometry.array)
    bodies = shapely.to_wkb(shapes, byte_order=1, flavor="iso").tolist()
    points = (shapely.get_type_id(shapes) == shapely.GeometryType.POINT).tolist()
    return LayerRows(columns, Shapes(bodies, points, shapely.bounds(shapes)))


def fill_layer(database: sqlite3.Connection, schema: LayerSchema, rows: LayerRows) -> None:
    """Put the rows of a layer into its table, which stands empty, and index their geometry.

    Parameters
    ----------
    database : the open file, its triggers not at work; the caller commits
    schema, rows : of the layer
    """
    columns, shapes = rows.columns, rows.shapes
    if shapes is not None:
        bounds = shapes.bounds
        sql = "SELECT srs_id FROM gpkg_geometry_columns WHERE table_name = ?"
        (srs_id,) = database.execute(sql, (schema.name,)).fetchone()
        columns = {GEOMETRY_COLUMN: _blobs(shapes, srs_id), **columns}
        fill_index(database, f"rtree_{schema.name}_{GEOMETRY_COLUMN}", bounds)
        if len(bounds):
            database.execute(
                "UPDATE gpkg_contents SET min_x = ?, min_y = ?, max_x = ?, max_y = ? "
                "WHERE table_name = ?",
                (*bounds[:, :2].min(axis=0), *bounds[:, 2:].max(axis=0), schema.name),
            )
    insert(database, schema.name, list(columns), list(columns.values()))


def _blobs(shapes: Shapes, srs_id: int) -> list[bytes]:
    """Geometry in the GeoPackage's own form: header, envelope but for points, and ISO WKB.

    Parameters
    ----------
    shapes : Shapes
    srs_id : number of their reference system in the file
    """
    of_point = _header(_LITTLE_ENDIAN, srs_id)
    of_other = _header(_LITTLE_ENDIAN | _ENVELOPE_XY, srs_id)
    # The envelope is least and greatest x, then y.
    envelopes = np.ascontiguousarray(shapes.bounds[:, [0, 2, 1, 3]], dtype="<f8")
    return [
        of_point + body if point else of_other + envelope.tobytes() + body
        for point, envelope, body in zip(shapes.points, envelopes, shapes.bodies, strict=True)
    ]


def _header(flags: int, srs_id: int) -> bytes:
    return b"GP\0" + struct.pack("<Bi", flags, srs_id)


def _plain(column: "pd.Series[Any]") -> list[Any]:
    """Values as Python's own, None where there is none; SQLite itself takes NaN for null."""
    if column.dtype == np.float64:
        return list(column.tolist())
    # Text, whole numbers and truth stand in pandas' own arrays.
    return list(column.array.to_numpy(dtype=object, na_value=None).tolist())
