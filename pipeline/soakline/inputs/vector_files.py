"""Vector files: opened safely, geometry made valid and brought to the working CRS."""

import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import numpy as np
import pyogrio
import shapely
from pyogrio.errors import DataLayerError, DataSourceError
from pyproj import CRS

from soakline.geopackage_guard import odd_in
from soakline.inputs.local_files import require_local_file
from soakline.inputs.vector_formats import GREATEST_BYTES, MOST_VERTICES, looks_as_named
from soakline.inputs.working_crs import crs_from_file, crs_name, same_crs
from soakline.problems import InputProblem, InputRefused

VECTOR_ALLOWED = "a local GeoPackage, Shapefile, GeoJSON, FlatGeobuf, KML or GML file"


@dataclass(frozen=True, slots=True)
class Mended:
    """Geometry after mending, and what that changed.

    Parameters
    ----------
    shapes : (n,) array of geometries; None where nothing was left
    mended : (n,) bool
    """

    shapes: np.ndarray
    mended: np.ndarray


def layer_names(path: Path, key: str) -> dict[str, str | None]:
    """Names of a file's layers with their geometry type; None for a table without geometry.

    Raises
    ------
    InputRefused
        If it is not a readable local vector file.
    """
    require_local_file(path, key, VECTOR_ALLOWED)
    unreadable = InputProblem(str(path), key, "not a readable vector file", VECTOR_ALLOWED)
    # A virtual file may carry any ending and sends the library to places nobody gave.
    if not looks_as_named(path):
        raise InputRefused([unreadable])
    if path.stat().st_size > GREATEST_BYTES:
        found = f"a file of {path.stat().st_size / 1e6:,.0f} MB"
        allowed = f"a vector file of at most {GREATEST_BYTES / 1e6:,.0f} MB"
        raise InputRefused([InputProblem(str(path), key, found, allowed)])
    _refuse_odd(path, key, "")
    try:
        with warnings.catch_warnings():
            # Tables that the library cannot make sense of: those that are read are checked.
            warnings.simplefilter("ignore", RuntimeWarning)
            layers = pyogrio.list_layers(path.absolute())
    except (DataSourceError, DataLayerError):
        raise InputRefused([unreadable]) from None
    return {str(name): (None if kind is None else str(kind)) for name, kind in layers}


def _refuse_odd(path: Path, key: str, layer: str) -> None:
    """Refuse a GeoPackage that would make the library run what a stranger wrote."""
    if path.suffix.lower() == ".gpkg":
        odd = odd_in(path, (layer,) if layer else ())
        if odd:
            mend = "Save what is needed as plain layers of a new file with a GIS."
            allowed = "plain tables, and views that end"
            raise InputRefused([InputProblem(str(path), key, odd, allowed, mend)])


def read_layer(
    path: Path, layer: str, key: str, keep_z: bool = False
) -> tuple[gpd.GeoDataFrame, CRS]:
    """Read one layer, rows in the file's order, indexed by feature id, without Z unless asked for.

    Raises
    ------
    InputRefused
        If it cannot be read to its end or has no CRS.
    """
    _refuse_odd(path, key, layer)
    try:
        with warnings.catch_warnings():
            # Measured or curved geometry is flattened with a warning; that is what is wanted.
            warnings.simplefilter("ignore", UserWarning)
            warnings.simplefilter("ignore", RuntimeWarning)  # a field of a kind not known
            frame = pyogrio.read_dataframe(path.absolute(), layer=layer, fid_as_index=True)
    except (DataSourceError, DataLayerError, ValueError, UnicodeDecodeError, shapely.GEOSException):
        found = f'layer "{layer}", damaged or cut short'
        raise InputRefused([InputProblem(str(path), key, found, VECTOR_ALLOWED)]) from None
    if not isinstance(frame, gpd.GeoDataFrame):
        found = f'layer "{layer}", a table without geometry'
        raise InputRefused([InputProblem(str(path), key, found, "a layer with geometry")])
    vertices = int(shapely.get_num_coordinates(frame.geometry.to_numpy()).sum())
    if vertices > MOST_VERTICES:
        found, mend = f'layer "{layer}" with {vertices:,} vertices', "Simplify it with a GIS."
        allowed = f"at most {MOST_VERTICES:,} vertices a layer"
        raise InputRefused([InputProblem(str(path), key, found, allowed, mend)])
    crs = crs_from_file(frame.crs.to_wkt() if frame.crs else None, str(path), key)
    if not keep_z:
        frame.geometry = shapely.force_2d(frame.geometry.to_numpy())
    return frame.set_crs(crs, allow_override=True), crs


def to_working(frame: gpd.GeoDataFrame, working_crs: CRS, file: str, key: str) -> gpd.GeoDataFrame:
    """Bring a frame to the working CRS; one that is there already keeps its figures.

    Raises
    ------
    InputRefused
        If a vertex has no place in the working CRS.
    """
    crs = CRS.from_user_input(frame.crs)
    if same_crs(crs, working_crs):
        return frame.set_crs(working_crs, allow_override=True)
    moved = frame.to_crs(working_crs)
    bounds = moved.total_bounds
    if len(moved) and not np.isfinite(bounds).all():
        found = f"coordinates in {crs_name(crs)} with no place in {crs_name(working_crs)}"
        mend = "Check that the file's CRS is the one it was made in."
        allowed = "geometry inside the area of the working CRS"
        raise InputRefused([InputProblem(file, key, found, allowed, mend)])
    return moved


def mend(shapes: np.ndarray, dimension: int | None = None) -> Mended:
    """Make geometry valid.

    Parameters
    ----------
    shapes : (n,) array of geometries, none of them None
    dimension : keep parts of this dimension only (2 polygons, 1 lines); None keeps all

    Notes
    -----
    The structure of rings is kept: a ring that crosses itself leaves the ground on both sides of
    the crossing inside, and overlapping parts of one feature are united.
    """
    invalid = ~shapely.is_valid(shapes)
    mended = shapes.copy()
    if invalid.any():
        mended[invalid] = shapely.make_valid(
            shapes[invalid], method="structure", keep_collapsed=False
        )
        for at in np.flatnonzero(invalid):
            mended[at] = _of_dimension(mended[at], dimension)
    return Mended(mended, invalid)


def _of_dimension(shape: shapely.Geometry, dimension: int | None) -> shapely.Geometry | None:
    parts = [
        part
        for part in shapely.get_parts(shape)
        if not part.is_empty and dimension in (None, shapely.get_dimensions(part))
    ]
    if not parts:
        return None
    return parts[0] if len(parts) == 1 else shapely.union_all(parts)


def geometry_kinds(shapes: np.ndarray) -> list[str]:
    """`point`, `line`, `polygon` or the type's own name, a geometry each; Multi counts as its part.

    Examples
    --------
    >>> geometry_kinds(shapely.from_wkt(["MULTIPOINT (1 1)", "GEOMETRYCOLLECTION EMPTY"]))
    ['point', 'GeometryCollection']
    """
    plain = {
        "Point": "point",
        "MultiPoint": "point",
        "LineString": "line",
        "MultiLineString": "line",
        "LinearRing": "line",
        "Polygon": "polygon",
        "MultiPolygon": "polygon",
    }
    return [plain.get(shape.geom_type, shape.geom_type) for shape in shapes]


def extent(bounds: Sequence[float], unit: str = "m") -> str:
    """West to east and south to north, as a person compares them."""
    west, south, east, north = bounds
    return f"{west:.1f} to {east:.1f} {unit} east, {south:.1f} to {north:.1f} {unit} north"
