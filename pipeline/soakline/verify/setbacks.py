"""Setbacks from the features that the plan was made with, where their file lies beside it."""

import hashlib
import sqlite3
from collections.abc import Mapping
from contextlib import closing
from pathlib import Path

import numpy as np
import pandas as pd
import pyproj
import shapely

from soakline.problems import InputRefused
from soakline.verify.line import Line, within
from soakline.verify.reading import Plan, read_layer

_GROUP = "land"
_SHORT_M = 0.05
# Layer of the features file, and the setback's key and its default, m. Tracks may be crossed.
_LAYERS: Mapping[str, tuple[str, float]] = {
    "buildings": ("building", 10.0),
    "septic": ("septic", 30.0),
    "wells": ("well", 30.0),
    "watercourses": ("watercourse", 10.0),
    "dams": ("dam", 10.0),
    "services": ("service", 3.0),
    "landslip": ("landslip", 30.0),
}


def check_setbacks(plan: Plan) -> list[Line]:
    """A line for each kind of feature that swales keep away from."""
    path, why = _features_file(plan)
    shapes: dict[str, np.ndarray] = {}
    if path is not None:
        try:
            shapes = _shapes(path, plan)
        except (sqlite3.Error, InputRefused, pyproj.exceptions.ProjError):
            why = f"{path.name} cannot be read"
    ground = plan["swale_ground"]
    state = plan["swales"].drop_duplicates("swale_id").set_index("swale_id")
    given = state.get("state", pd.Series(dtype=object))
    own = ground[~ground["swale_id"].isin(set(given.index[given.isin(["built", "fixed"])]))]
    lines = []
    for layer, (key, default) in _LAYERS.items():
        far = plan.setting(f"siting.setback_m.{key}", default)
        what = f"setback from {layer} of the features file"
        allowed = f"{far:g} m, short by at most 5 cm"
        kept = shapes.get(layer, np.empty(0, dtype=object))
        if why or not len(kept):
            lines.append(Line(_GROUP, what, allowed, why or "none given", None))
            continue
        footprint = own["geometry"].to_numpy()
        near, of = shapely.STRtree(kept).query(footprint, predicate="dwithin", distance=far)
        short = np.zeros(len(own))
        np.maximum.at(short, near, far - shapely.distance(footprint[near], kept[of]))
        lines.append(
            within(_GROUP, what, allowed, short, own["swale_id"].to_numpy(), _SHORT_M, "m")
        )
    return lines


def _features_file(plan: Plan) -> tuple[Path | None, str]:
    """The file, or why it cannot be measured against."""
    named = [value.rsplit(" sha256=", 1) for value in plan.record.get("input:features", ())]
    if not named or len(named[0]) != 2:
        return None, "no features file on record"
    name, digest = named[0]
    path = plan.path.parent / name
    if not path.is_file():
        return None, f"{name} is not beside the plan"
    with path.open("rb") as stream:
        if hashlib.file_digest(stream, "sha256").hexdigest() != digest:
            return None, f"{name} is not the file on record (other SHA-256)"
    return path, ""


def _shapes(path: Path, plan: Plan) -> dict[str, np.ndarray]:
    """Features by layer, in the plan's CRS; lines as wide as they are told to be."""
    wanted = pyproj.CRS.from_wkt(plan.record["crs"][0])
    found = {}
    with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)) as base:
        names = {row[0] for row in base.execute("SELECT table_name FROM gpkg_contents")}
        for layer in _LAYERS.keys() & names:
            frame = read_layer(base, path, layer)
            shapes = frame["geometry"].to_numpy()
            shapes = shapely.force_2d(shapes[~shapely.is_missing(shapes)])
            (wkt,) = base.execute(
                "SELECT definition FROM gpkg_spatial_ref_sys JOIN gpkg_geometry_columns "
                "USING (srs_id) WHERE table_name = ?",
                (layer,),
            ).fetchone()
            crs = pyproj.CRS.from_wkt(wkt)
            if crs != wanted:
                shapes = _moved(shapes, pyproj.Transformer.from_crs(crs, wanted, always_xy=True))
            if layer in ("watercourses", "services") and "width_m" in frame:
                wide = pd.to_numeric(frame["width_m"]).fillna(0.0).to_numpy()
                shapes = shapely.buffer(shapes, wide / 2.0)
            found[layer] = shapes
    return found


def _moved(shapes: np.ndarray, to: pyproj.Transformer) -> np.ndarray:
    at = shapely.get_coordinates(shapes)
    moved = shapely.set_coordinates(shapes.copy(), np.column_stack(to.transform(*at.T)))
    return np.asarray(moved, dtype=object)
