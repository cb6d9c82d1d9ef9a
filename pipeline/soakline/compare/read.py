"""Reads of a finished plan what is compared; the file is opened for reading only."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd

from soakline.outputs.columns import SCHEMAS
from soakline.plan_file import A_PLAN, read_tables
from soakline.problems import InputProblem, InputRefused

_COLUMNS: Mapping[str, tuple[str, ...]] = {
    "property": ("name",),
    "swales": (
        "swale_id", "state", "level_m", "length_m", "base_width_m", "depth_m", "capacity_m3",
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
    tables, problems = read_tables(path, _COLUMNS, lambda name: SCHEMAS[name].geometry is not None)
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
        problems.append(InputProblem(str(path), "table property", "no outline", A_PLAN))
    return problems
