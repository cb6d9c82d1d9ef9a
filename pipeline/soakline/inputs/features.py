"""What stands on the land: the layers of the features GeoPackage, checked and on one footing."""

from difflib import get_close_matches
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS

from soakline.findings import Finding
from soakline.inputs.feature_columns import read_columns
from soakline.inputs.feature_layers import (
    FEATURE_LAYERS,
    PROGRAM_TABLES,
    Layer,
)
from soakline.inputs.given_swales import level_of_z, separate_lines
from soakline.inputs.land_words import checked_words
from soakline.inputs.swale_points import checked_points
from soakline.inputs.types import Elevation, Features
from soakline.inputs.vector_files import geometry_kinds, layer_names, mend, read_layer, to_working
from soakline.problems import InputProblem, ProblemCollector

FEATURES_KEY = "property.features"
_DIMENSION = {"polygon": 2, "line": 1, "point": 0}
_NAMED_ROWS = 5


def read_features(
    path: Path | None, working_crs: CRS | None
) -> tuple[Features, tuple[Finding, ...]]:
    """Read the features GeoPackage.

    Parameters
    ----------
    path : the file; None where no features are given
    working_crs : projected, metres; None leaves geometry where it is (nothing else is known)

    Returns
    -------
    The layers, those not given as empty frames; and what was not read, not used or mended.

    Raises
    ------
    InputRefused
        With the problems of all layers: wrong geometry, wrong column type, values out of range.
    """
    frames = {name: _empty(layer, working_crs) for name, layer in FEATURE_LAYERS.items()}
    findings: list[Finding] = []
    if path is None:
        return Features(**frames), ()
    collector = ProblemCollector()
    for name in layer_names(path, FEATURES_KEY):
        if name in FEATURE_LAYERS:
            with collector.collecting():
                frames[name] = _read_one(path, name, working_crs, findings)
        elif name not in PROGRAM_TABLES:
            findings.append(_passed_over(name))
    collector.raise_if_any()
    return Features(**frames), tuple(findings)


def off_the_dem(features: Features, elevation: Elevation) -> tuple[Finding, ...]:
    """Cautions `feature_off_dem` for features that lie wholly off the DEM.

    Parameters
    ----------
    features, elevation : in the working CRS

    Notes
    -----
    A point counts as off the DEM on a cell without height too: a safe point there takes no water.
    """
    grid = elevation.grid
    box = shapely.box(*grid.bounds)
    findings = []
    for name in FEATURE_LAYERS:
        shapes = getattr(features, name).geometry.to_numpy()
        off = ~shapely.intersects(shapes, box)
        points = np.flatnonzero((shapely.get_type_id(shapes) == 0) & ~off)
        if len(points):
            row, column = grid.row_column(
                shapely.get_x(shapes[points]), shapely.get_y(shapes[points])
            )
            at_row = np.clip(np.rint(row).astype(np.int64), 0, grid.rows - 1)
            at_column = np.clip(np.rint(column).astype(np.int64), 0, grid.columns - 1)
            off[points] = ~np.isfinite(elevation.dem_m[at_row, at_column])
        if off.any():
            findings.append(_off(name, np.flatnonzero(off) + 1, len(shapes)))
    return tuple(findings)


def _empty(layer: Layer, crs: CRS | None) -> gpd.GeoDataFrame:
    columns = read_columns(pd.DataFrame(index=pd.Index([], dtype="int64")), layer, "", "", [])
    return gpd.GeoDataFrame(columns, geometry=gpd.GeoSeries([], crs=crs), crs=crs)


def _read_one(
    path: Path, name: str, working_crs: CRS | None, findings: list[Finding]
) -> gpd.GeoDataFrame:
    """Read, check and mend one layer; findings are added to the list."""
    file, key, layer = str(path), f"{FEATURES_KEY}, layer {name}", FEATURE_LAYERS[name]
    frame, crs = read_layer(path, name, key, keep_z=name == "given_swales")
    if name == "given_swales":
        frame = level_of_z(frame)
    collector = ProblemCollector()
    shapes = frame.geometry.to_numpy()
    missing = shapely.is_missing(shapes) | shapely.is_empty(shapes)
    if missing.any():
        findings.append(_without_geometry(name, frame.index[missing]))
        frame, shapes = frame[~missing], shapes[~missing]
    wrong: dict[str, list[int]] = {}
    for row, kind in zip(frame.index, geometry_kinds(shapes), strict=True):
        if kind not in layer.kinds:
            wrong.setdefault(kind, []).append(int(row))
    for kind, rows in wrong.items():
        found = f"{kind} geometry in {_rows(rows)}"
        collector.add(InputProblem(file, key, found, " or ".join(layer.kinds) + " geometry"))
    with collector.collecting():
        columns = read_columns(
            pd.DataFrame(frame.drop(columns="geometry")), layer, file, key, findings
        )
        columns = checked_words(columns, name, file, key)
        columns = checked_points(columns, name, file, key)
    collector.raise_if_any()
    columns["geometry"] = shapes
    read = gpd.GeoDataFrame(columns, geometry="geometry", crs=crs)
    if working_crs is not None:
        with collector.collecting():
            read = to_working(read, working_crs, file, key)
        collector.raise_if_any()
    if name == "given_swales" and working_crs is not None:
        read, split = separate_lines(read, file, key)
        findings += split
    return _mended(read, name, findings).reset_index(drop=True)


def _mended(frame: gpd.GeoDataFrame, name: str, findings: list[Finding]) -> gpd.GeoDataFrame:
    """Mend a layer's geometry; rows of which nothing is left are dropped, and told."""
    shapes = frame.geometry.to_numpy()
    kinds = geometry_kinds(shapes)
    bad = np.flatnonzero(~shapely.is_valid(shapes))
    if len(bad) == 0:
        return frame
    mended = shapes.copy()
    for at in bad:
        mended[at] = mend(shapes[at : at + 1], _DIMENSION[kinds[at]]).shapes[0]
    gone = shapely.is_missing(mended)
    message = f"{len(bad)} features of layer {name} were not valid and were mended"
    message += f" ({_rows(frame.index[bad])})"
    if gone.any():
        message += f"; nothing was left of {int(gone.sum())}, dropped"
    advice = "Look at these features in a GIS: what they were meant to cover is a guess."
    findings.append(Finding("feature_mended", "note", name, "", message + ".", advice))
    frame = frame.copy()
    frame.geometry = mended
    return frame[~gone]


def _rows(rows: object) -> str:
    numbers = [str(int(row)) for row in rows]  # type: ignore[attr-defined]
    more = len(numbers) - _NAMED_ROWS
    text = ", ".join(numbers[:_NAMED_ROWS])
    return f"feature {text} and {more} more" if more > 0 else f"feature {text}"


def _without_geometry(name: str, rows: object) -> Finding:
    message = f"Layer {name}: {_rows(rows)} without geometry, left out."
    return Finding("feature_without_geometry", "caution", name, "", message, "Draw or delete it.")


def _passed_over(name: str) -> Finding:
    near = get_close_matches(name.lower(), FEATURE_LAYERS, n=1, cutoff=0.0)
    if name.lower() == "swales":  # a plan's own layer, not its opposite
        near = ["given_swales"]
    return Finding(
        "layer_not_read",
        "caution",
        name,
        "",
        f'Layer "{name}" of the features file is not known and was not read; the nearest known '
        f'name is "{near[0]}".',
        "Rename the layer if it is one of those in the reference, else take it out.",
    )


def _off(name: str, rows: object, count: int) -> Finding:
    return Finding(
        "feature_off_dem",
        "caution",
        name,
        "",
        f"Layer {name}: {_rows(rows)} of {count} (in the file's order): off the DEM, without "
        "effect.",
        "Check place and CRS"
        + ("; a safe point off the DEM takes no water." if name == "safe_points" else "."),
    )
