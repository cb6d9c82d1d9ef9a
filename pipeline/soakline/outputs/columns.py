"""The one list of the plan's layers and tables, and the only way to build a frame for one.

The GeoPackage's schema extension, the reference page and the contract test all read `LAYERS`, so
that they cannot drift apart.
"""

from collections.abc import Mapping, Sequence
from typing import Any

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely
from pandas.api.extensions import ExtensionDtype

from soakline.grid import FloatArray
from soakline.outputs.columns_crossings import CROSSINGS
from soakline.outputs.columns_earthworks import EARTHWORKS
from soakline.outputs.columns_land import (
    DRAINAGE_LINES,
    EXCLUDED_GROUND,
    HOLLOWS,
    PROPERTY,
    SAFE_POINTS,
    SLOPE_CLASSES,
)
from soakline.outputs.columns_pegs import PEG_CUTS, PEGS
from soakline.outputs.columns_points import SWALE_POINT_GROUND, SWALE_POINTS
from soakline.outputs.columns_swales import SWALE_CATCHMENTS, SWALE_GROUND, SWALES
from soakline.outputs.columns_trees import TREE_GROWTH, TREE_PROJECTION, TREES
from soakline.outputs.columns_water import (
    DIVERSIONS,
    FINDINGS,
    OVERFLOW_ROUTES,
    QUANTITIES,
    RUN_RECORD,
    SPILLWAYS,
    STORM_COURSES,
    STORMS,
    SWALE_STORMS,
)
from soakline.outputs.columns_years import CALENDAR, WATER_YEARS
from soakline.outputs.schema import Column, LayerSchema

__all__ = [
    "GEOMETRY_COLUMN",
    "LAYERS",
    "SCHEMAS",
    "Column",
    "Columns",
    "LayerSchema",
    "Values",
    "frame",
]

GEOMETRY_COLUMN = "geom"

_NULLABLE: Mapping[str, ExtensionDtype] = {
    "text": pd.StringDtype("python"),
    "integer": pd.Int64Dtype(),
    "boolean": pd.BooleanDtype(),
}

LAYERS: tuple[LayerSchema, ...] = (
    PROPERTY,
    SWALES,
    SWALE_GROUND,
    SWALE_CATCHMENTS,
    SPILLWAYS,
    OVERFLOW_ROUTES,
    SAFE_POINTS,
    DRAINAGE_LINES,
    SLOPE_CLASSES,
    EXCLUDED_GROUND,
    HOLLOWS,
    PEGS,
    TREES,
    TREE_PROJECTION,
    DIVERSIONS,
    CROSSINGS,
    SWALE_POINTS,
    SWALE_POINT_GROUND,
    STORMS,
    SWALE_STORMS,
    STORM_COURSES,
    PEG_CUTS,
    EARTHWORKS,
    TREE_GROWTH,
    WATER_YEARS,
    CALENDAR,
    QUANTITIES,
    FINDINGS,
    RUN_RECORD,
)

SCHEMAS: Mapping[str, LayerSchema] = {schema.name: schema for schema in LAYERS}

Values = Sequence[Any] | npt.NDArray[Any] | pd.Series
Columns = Mapping[str, Values]
Rows = Sequence[Mapping[str, Any]]


def frame(
    schema: LayerSchema,
    rows: Rows | Columns,
    geometry: Sequence[Any] | npt.NDArray[Any] | None = None,
    crs: str | None = None,
) -> gpd.GeoDataFrame | pd.DataFrame:
    """Build a layer with exactly the columns of its schema, in order.

    Parameters
    ----------
    schema : one of `LAYERS`
    rows : a list of one mapping per feature, or a mapping of (n,) columns; no rows is allowed, a
        missing or unknown column is not. None and NaN are null
    geometry : (n,) shapely geometries in `crs`, none missing or empty; single polygons are promoted
        where the layer holds multi-polygons. None for a table
    crs : the working CRS as WKT or "EPSG:n"; None for a table

    Returns
    -------
    (n, columns) frame with a plain index: text as nullable strings, integers as Int64, booleans as
    nullable booleans, reals as float64 with NaN for null

    Raises
    ------
    ValueError
        If columns are missing or unknown, of the wrong kind or length, hold a value that the schema
        does not allow, or if a geometry is not of the layer's type.

    Examples
    --------
    >>> frame(RUN_RECORD, [{"key": "version", "value": "0.1.0"}])
           key  value
    0  version  0.1.0
    """
    columns = _as_columns(schema, rows)
    table = pd.DataFrame({c.name: _typed(schema, c, columns[c.name]) for c in schema.columns})
    if schema.geometry is None:
        if geometry is not None:
            raise ValueError(f"{schema.name} is a table and takes no geometry")
        return table
    if geometry is None or crs is None:
        raise ValueError(f"{schema.name} needs a geometry for each row and a CRS")
    shapes = _typed_geometry(schema, schema.geometry, np.asarray(geometry, dtype=object))
    if len(shapes) != len(table):
        raise ValueError(f"{schema.name}: {len(shapes)} geometries for {len(table)} rows")
    layer = gpd.GeoDataFrame(table, geometry=gpd.GeoSeries(shapes, crs=crs))
    return layer.rename_geometry(GEOMETRY_COLUMN)


def _as_columns(schema: LayerSchema, rows: Rows | Columns) -> Columns:
    wanted = set(schema.column_names)
    if isinstance(rows, Mapping):
        _refuse_other_columns(schema, wanted, set(rows))
        return rows
    for row in rows:
        _refuse_other_columns(schema, wanted, set(row))
    return {name: [row[name] for row in rows] for name in schema.column_names}


def _refuse_other_columns(schema: LayerSchema, wanted: set[str], given: set[str]) -> None:
    if wanted != given:
        missing, unknown = sorted(wanted - given), sorted(given - wanted)
        raise ValueError(f"{schema.name}: columns missing {missing}, unknown {unknown}")


def _typed(schema: LayerSchema, column: Column, values: Values) -> "pd.Series[Any]":
    """One column in its own dtype; refuses what would only be made to fit by force."""
    where = f"{schema.name}.{column.name}"
    typed: pd.Series[Any]
    try:
        if column.kind == "real":
            typed = pd.Series(_reals(values))
        else:
            given = _as_objects(values)
            if column.kind == "text":
                _refuse_all_but_text(given)
            typed = given.where(given.notna(), None).astype(_NULLABLE[column.kind])
    except (TypeError, ValueError) as error:
        raise ValueError(f"{where} must be {column.kind}: {error}") from error
    if column.allowed:
        strange = set(typed.dropna().unique()) - set(column.allowed)
        if strange:
            raise ValueError(f"{where}: {sorted(strange)} not among {list(column.allowed)}")
    return typed


def _as_objects(values: Values) -> "pd.Series[Any]":
    # NumPy's own scalars become Python's, so that every writer and reader knows them.
    plain = values.tolist() if isinstance(values, np.ndarray) else list(values)
    return pd.Series(plain, dtype=object)


def _refuse_all_but_text(given: "pd.Series[Any]") -> None:
    found = pd.api.types.infer_dtype(given, skipna=True)
    if found not in ("string", "empty"):
        raise ValueError(f"{found} where text belongs")


def _reals(values: Values) -> FloatArray:
    numbers = np.asarray(values)
    if numbers.dtype.kind not in "fiu":
        # Missing values come as None, NaN or the nullable dtypes' own mark; words stay refused.
        given = _as_objects(values)
        words = [value for value in given if isinstance(value, (str, bool))]
        if words:
            raise ValueError(f"{words[0]!r} where a number belongs")
        numbers = given.where(given.notna(), np.nan).to_numpy()
    reals = numbers.astype(np.float64)
    if np.isinf(reals).any():
        raise ValueError("an infinite figure")
    return reals


def _typed_geometry(schema: LayerSchema, wanted: str, shapes: npt.NDArray[Any]) -> npt.NDArray[Any]:
    if (shapely.is_missing(shapes) | shapely.is_empty(shapes)).any():
        raise ValueError(f"{schema.name}: a geometry is missing or empty")
    flat_type = wanted.removesuffix("Z")
    kinds = shapely.get_type_id(shapes)
    if flat_type == "MultiPolygon":
        single = kinds == shapely.GeometryType.POLYGON
        shapes = shapes.copy()
        shapes[single] = [shapely.MultiPolygon([polygon]) for polygon in shapes[single]]
        kinds = shapely.get_type_id(shapes)
    if (kinds != shapely.GeometryType[flat_type.upper()]).any():
        found = sorted({shape.geom_type for shape in shapes})
        raise ValueError(f"{schema.name} holds {wanted}, not {found}")
    if (shapely.has_z(shapes) != schema.has_z).any():
        raise ValueError(f"{schema.name} holds {wanted}: Z is missing or not wanted")
    return shapes
