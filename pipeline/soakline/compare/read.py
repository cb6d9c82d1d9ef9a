"""Reads of a finished plan what is compared; the file is opened for reading only."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
import pyogrio
import shapely
from pyogrio.errors import DataLayerError, DataSourceError

from soakline.outputs.columns import SCHEMAS
from soakline.problems import InputProblem, InputRefused

_COLUMNS: Mapping[str, tuple[str, ...]] = {
    "property": ("name",),
    "swales": (
        "swale_id", "level_m", "length_m", "base_width_m", "depth_m", "capacity_m3",
        "catchment_m2", "governing_storm_id", "design_inflow_m3", "design_overflow_m3",
        "design_peak_m3s", "freeboard_m", "drain_down_h", "cut_m3", "fill_m3",
    ),
    "spillways": ("spillway_id", "swale_id", "sill_length_m", "check_head_m", "peak_m3s"),
    "overflow_routes": ("route_id", "swale_id", "spillway_id", "to_kind", "to_id"),
    "safe_points": ("safe_id",),
    "drainage_lines": ("line_id",),
    "hollows": ("hollow_id",),
    "storms": ("storm_id", "purpose"),
    "swale_storms": ("swale_id", "storm_id", "received_m3", "overflow_m3"),
    "quantities": ("item", "unit", "amount", "rate", "cost"),
    "findings": ("code", "severity", "layer", "feature_id"),
    "run_record": ("key", "value"),
}  # fmt: skip
_IDS = {
    "swales": "swale_id",
    "spillways": "spillway_id",
    "overflow_routes": "route_id",
    "safe_points": "safe_id",
    "drainage_lines": "line_id",
    "hollows": "hollow_id",
}
_A_PLAN = "a plan that soakline wrote"


@dataclass(frozen=True, eq=False, slots=True)
class PlanTables:
    """Layers and tables of one plan, as stored; rows in the file's order.

    Parameters
    ----------
    path : the GeoPackage
    property : MultiPolygon; name
    swales : LineStringZ; ids are unique
    spillways, safe_points : Point; ids are unique
    overflow_routes, drainage_lines : LineString; ids are unique
    hollows : Polygon; ids are unique
    storms, swale_storms, quantities, findings : tables
    run_record : key to value; the values of a key that stands more than once are joined by "; "
    """

    path: Path
    property: gpd.GeoDataFrame
    swales: gpd.GeoDataFrame
    spillways: gpd.GeoDataFrame
    overflow_routes: gpd.GeoDataFrame
    safe_points: gpd.GeoDataFrame
    drainage_lines: gpd.GeoDataFrame
    hollows: gpd.GeoDataFrame
    storms: pd.DataFrame
    swale_storms: pd.DataFrame
    quantities: pd.DataFrame
    findings: pd.DataFrame
    run_record: Mapping[str, str]


def read_plan(path: Path) -> PlanTables:
    """Read the layers and tables of a plan that a comparison needs.

    Parameters
    ----------
    path : a plan

    Raises
    ------
    InputRefused
        If the file is not there or not a GeoPackage, if tables or columns are missing (all are
        named), if ids are missing or stand twice, or if the land has no outline or no CRS.
    """
    layers = _layers(path)
    missing = [name for name in _COLUMNS if name not in layers]
    if missing:
        found = f"no table {', '.join(missing)}"
        raise InputRefused([InputProblem(str(path), "", found, _A_PLAN)])
    problems: list[InputProblem] = []
    tables = {name: _table(path, name, problems) for name in _COLUMNS}
    if not problems:
        problems += _unfit(path, tables)
    if problems:
        raise InputRefused(problems)
    record = tables.pop("run_record").fillna("").astype(str)
    joined: dict[str, str] = {}
    for key, value in zip(record["key"].to_list(), record["value"].to_list(), strict=True):
        joined[key] = f"{joined[key]}; {value}" if key in joined else value
    return PlanTables(path=path, run_record=joined, **tables)


def in_crs(plan: PlanTables, crs: Any) -> PlanTables:
    """The same plan with all its layers in another CRS."""
    moved = {name: getattr(plan, name).to_crs(crs) for name in ("property", *_IDS)}
    return replace(plan, **moved)


def _layers(path: Path) -> set[str]:
    if not path.is_file():
        found = "a folder" if path.is_dir() else "no such file"
        raise InputRefused([InputProblem(str(path), "", found, _A_PLAN)])
    with path.open("rb") as stream:
        start = stream.read(16)
    unreadable = InputProblem(str(path), "", "not a readable GeoPackage, or one in use", _A_PLAN)
    if not start.startswith(b"SQLite format 3\0"):
        raise InputRefused([unreadable])
    try:
        return {str(name) for name, _ in pyogrio.list_layers(path.absolute())}
    except (DataSourceError, DataLayerError):
        raise InputRefused([unreadable]) from None


def _table(path: Path, name: str, problems: list[InputProblem]) -> pd.DataFrame:
    """One table with its columns; problems are added to, and the frame is empty then."""
    key = f"table {name}"
    spatial = SCHEMAS[name].geometry is not None
    frame: pd.DataFrame
    try:
        frame = pyogrio.read_dataframe(
            path.absolute(), layer=name, columns=list(_COLUMNS[name]), read_geometry=spatial
        )
    except (DataSourceError, DataLayerError, ValueError, UnicodeDecodeError, shapely.GEOSException):
        problems.append(InputProblem(str(path), key, "damaged or cut short", _A_PLAN))
        return pd.DataFrame()
    missing = sorted(set(_COLUMNS[name]) - set(frame.columns))
    if missing:
        found = f"no column {', '.join(missing)}"
        problems.append(InputProblem(str(path), key, found, _A_PLAN))
    elif spatial and (not isinstance(frame, gpd.GeoDataFrame) or frame.crs is None):
        problems.append(InputProblem(str(path), key, "no geometry or no CRS", _A_PLAN))
    return frame


def _unfit(path: Path, tables: Mapping[str, pd.DataFrame]) -> list[InputProblem]:
    """What would make a comparison wrong though all columns are there."""
    problems = []
    for name, column in _IDS.items():
        ids = tables[name][column]
        twice = sorted(str(i) for i, count in Counter(ids.dropna()).items() if count > 1)
        if ids.isna().any():
            found = "a feature without an id"
        elif twice:
            found = f"{', '.join(twice[:5])} more than once"
        else:
            continue
        problem = InputProblem(str(path), f"{name}.{column}", found, "ids that stand once each")
        problems.append(problem)
    outline = tables["property"].geometry
    if not len(outline) or (outline.isna() | outline.is_empty).any():
        problems.append(InputProblem(str(path), "table property", "no outline", _A_PLAN))
    return problems
