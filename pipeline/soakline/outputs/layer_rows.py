"""Rows of a layer as SQLite takes them: plain values, and geometry as of OGC 12-128, 2.1.3."""

import sqlite3
import struct
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from soakline.grid import FloatArray
from soakline.outputs.columns import GEOMETRY_COLUMN, LayerSchema
from soakline.outputs.inserting import insert
from soakline.outputs.spatial_index import fill_index
from soakline.terrain.cells import GeometryArray

# Bits of the flags: little-endian, and which envelope stands before the geometry.
_LITTLE_ENDIAN, _ENVELOPE_XY = 1, 1 << 1


def fill_layer(
    database: sqlite3.Connection, schema: LayerSchema, layer: gpd.GeoDataFrame | pd.DataFrame
) -> None:
    """Put the rows of a layer into its table, which stands empty, and index their geometry.

    Parameters
    ----------
    database : the open file, its triggers not at work; the caller commits
    schema : of the layer
    layer : built by `columns.frame`; NaN becomes null
    """
    names = [*schema.column_names]
    columns: list[list[Any]] = [_plain(layer[name]) for name in names]
    if isinstance(layer, gpd.GeoDataFrame):
        shapes = np.asarray(layer.geometry.array)
        bounds = shapely.bounds(shapes)
        sql = "SELECT srs_id FROM gpkg_geometry_columns WHERE table_name = ?"
        (srs_id,) = database.execute(sql, (schema.name,)).fetchone()
        names.insert(0, GEOMETRY_COLUMN)
        columns.insert(0, blobs(shapes, bounds, srs_id))
        fill_index(database, f"rtree_{schema.name}_{GEOMETRY_COLUMN}", bounds)
        if len(bounds):
            database.execute(
                "UPDATE gpkg_contents SET min_x = ?, min_y = ?, max_x = ?, max_y = ? "
                "WHERE table_name = ?",
                (*bounds[:, :2].min(axis=0), *bounds[:, 2:].max(axis=0), schema.name),
            )
    insert(database, schema.name, names, columns)


def blobs(shapes: GeometryArray, bounds: FloatArray, srs_id: int) -> list[bytes]:
    """Geometry in the GeoPackage's own form: header, envelope but for points, and ISO WKB.

    Parameters
    ----------
    shapes : (n,) shapely geometries, none missing or empty
    bounds : (n, 4) of them
    srs_id : number of their reference system in the file
    """
    points = shapely.get_type_id(shapes) == shapely.GeometryType.POINT
    bodies = shapely.to_wkb(shapes, byte_order=1, flavor="iso").tolist()
    of_point = _header(_LITTLE_ENDIAN, srs_id)
    of_other = _header(_LITTLE_ENDIAN | _ENVELOPE_XY, srs_id)
    # The envelope is least and greatest x, then y.
    envelopes = np.ascontiguousarray(bounds[:, [0, 2, 1, 3]], dtype="<f8")
    return [
        of_point + body if point else of_other + envelope.tobytes() + body
        for point, envelope, body in zip(points.tolist(), envelopes, bodies, strict=True)
    ]


def _header(flags: int, srs_id: int) -> bytes:
    return b"GP\0" + struct.pack("<Bi", flags, srs_id)


def _plain(column: "pd.Series[Any]") -> list[Any]:
    """Values as Python's own, None where there is none; SQLite itself takes NaN for null."""
    if column.dtype == np.float64:
        return list(column.tolist())
    # Text, whole numbers and truth stand in pandas' own arrays.
    return list(column.array.to_numpy(dtype=object, na_value=None).tolist())
