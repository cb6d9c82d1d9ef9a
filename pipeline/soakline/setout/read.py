"""Reads of a finished plan what is set out; the file is opened for reading only."""

import ast
from collections.abc import Mapping
from pathlib import Path

import geopandas as gpd
import pandas as pd
import shapely
from pydantic import TypeAdapter

from soakline.inputs.elevation import VerticalUnit
from soakline.plan_file import (
    A_PLAN,
    file_and_digest,
    layer_names,
    read_tables,
    refuse_other_versions,
)
from soakline.problems import InputProblem, InputRefused
from soakline.setout import drains
from soakline.setout.plan import Benchmark, Pegs, SetOutPlan, Sight
from soakline.setout.read_swales import SWALE_FIGURES, MoundRules, figures, swales_of, words

_COLUMNS: Mapping[str, tuple[str, ...]] = {
    "property": ("name",),
    "swales": ("swale_id", "soil_texture", *SWALE_FIGURES),
    "swale_ground": ("swale_id", "part"),
    "spillways": (
        "spillway_id", "swale_id", "sill_level_m", "sill_length_m", "check_head_m", "sill_width_m",
        "apron_length_m", "lining",
    ),
    "pegs": (
        "peg_id", "swale_id", "kind", "chainage_m", "ground_m", "level_m", "base_level_m", "cut_m",
    ),
    "peg_cuts": (
        "dig_below_mm", "daylight_mm", "daylight_above_mm", "rise_permille", "fall_permille",
    ),
    "crossings": (
        "crossing_id", "swale_id", "kind", "start_m", "end_m", "level_m", "slope_pct", "pipes",
        "pipe_diameter_m", "bearing_deg", "angle_deg", "chainage_m",
    ),
    "diversions": drains.COLUMNS,
    "run_record": ("key", "value"),
}  # fmt: skip
# Not in plans of versions that had no ponds, basins and pits.
_POINT_COLUMNS: Mapping[str, tuple[str, ...]] = {
    "swale_points": (
        "point_id", "swale_id", "kind", "chainage_m", "length_m", "width_m", "depth_m",
        "floor_level_m", "face_height_m",
    ),
    "swale_point_ground": ("point_id",),
}  # fmt: skip
# Nor in plans of versions that drew no sight lines.
_SIGHTS: Mapping[str, tuple[str, ...]] = {
    "tree_projection": ("swale_id", "below_id", "distance_m", "drop_m", "tree_height_m"),
}
_AREAS = ("Polygon", "MultiPolygon")
_KINDS: Mapping[str, tuple[str, ...]] = {
    "property": _AREAS,
    "swales": ("LineString",),
    "swale_ground": _AREAS,
    "spillways": ("Point",),
    "pegs": ("Point",),
    "crossings": ("Point",),
    "swale_points": ("Point",),
    "swale_point_ground": _AREAS,
    "tree_projection": ("LineString",),
    "diversions": ("LineString",),
}
_TABLES = frozenset({"run_record", "peg_cuts"})
# What may lie beside a DEM and is recorded with it, but holds no heights.
_NO_HEIGHTS = (".prj", ".hdr", ".tfw", ".wld", ".xml")


def read_setout(path: Path) -> SetOutPlan:
    """Read a plan for setting out.

    Parameters
    ----------
    path : a plan; one without both layers of points has no ponds, basins and pits

    Raises
    ------
    InputRefused
        If it is not a plan of this version, lacks layers, columns or keys of its record (all are
        named), or has no swale or no pegs.
    """
    refuse_other_versions(path)
    asked = dict(_COLUMNS)
    names = layer_names(path)
    for added in (_POINT_COLUMNS, _SIGHTS):
        if added.keys() & names:
            asked.update(added)
    tables, problems = read_tables(path, asked, lambda name: name not in _TABLES)
    if not problems:
        problems += _wrong_geometry(path, tables)
    if problems:
        raise InputRefused(problems)
    if not len(tables["pegs"]):
        found = "no pegs" if len(tables["swales"]) else "no swales, so no pegs"
        raise _refused(
            path, "table pegs", found, "a plan with pegs: swales on a DEM with cells up to 10 m"
        )
    record = dict(zip(tables["run_record"]["key"], tables["run_record"]["value"], strict=True))
    try:
        return _plan(path, tables, record)
    except KeyError as error:
        raise _refused(path, "table run_record", f"no key {error}", A_PLAN) from None
    except (ValueError, TypeError, SyntaxError, RecursionError, MemoryError) as error:
        raise _refused(path, "", f"figures that do not fit ({error})", A_PLAN) from None


def _wrong_geometry(path: Path, tables: Mapping[str, pd.DataFrame]) -> list[InputProblem]:
    """Features of another kind than their layer has, or of none."""
    problems = []
    for name, kinds in _KINDS.items():
        if name in tables:
            shapes = gpd.GeoDataFrame(tables[name]).geometry
            wrong = int((~shapes.geom_type.isin(kinds) | shapes.is_empty).sum())
            if wrong:
                found = f"{wrong} features that are no {kinds[0]}, or empty"
                problems.append(InputProblem(str(path), f"table {name}", found, A_PLAN))
    return problems


def _refused(path: Path, key: str, found: str, allowed: str) -> InputRefused:
    return InputRefused([InputProblem(str(path), key, found, allowed)])


def _plan(path: Path, tables: Mapping[str, pd.DataFrame], record: Mapping[str, str]) -> SetOutPlan:
    frames = {name: gpd.GeoDataFrame(tables[name]) for name in tables if name not in _TABLES}
    frames["pegs"] = _with_cuts(frames["pegs"], tables["peg_cuts"])
    land, pegs, sills = (frames[name] for name in ("property", "pegs", "spillways"))
    mounds = MoundRules(
        float(record["earthworks.mound_batter"]),
        float(record["earthworks.mound_crest_m"]),
        float(record["overflow.sill_head_m"]),
    )
    name = str(land["name"].fillna("").iloc[0]) if len(land) else ""
    marks = ast.literal_eval(record.get("property.benchmark", "{}"))
    if not isinstance(marks, dict):
        raise TypeError("property.benchmark is no table")
    amendment = record["soil.amendment"]
    return SetOutPlan(
        path=path,
        name=name or path.stem,
        crs_wkt=record["crs"],
        outline=shapely.union_all(land.geometry.to_numpy()),
        swales=swales_of(frames, mounds),
        drains=drains.drains_of(frames["diversions"]),
        pegs=_pegs(pegs),
        spillways={
            str(i): (float(p.x), float(p.y), float(level))
            for i, p, level in zip(
                sills["spillway_id"], sills.geometry, sills["sill_level_m"], strict=True
            )
        },
        amendment="" if amendment == "none" else amendment,
        benchmark=Benchmark(**{k: float(v) for k, v in marks.items()}) if marks else None,
        finished=record["finished"],
        dem=_dem_files(tables["run_record"]),
        vertical_unit=TypeAdapter(VerticalUnit).validate_python(record["property.vertical_unit"]),
        sights=_sights(tables),
    )


def _sights(tables: Mapping[str, pd.DataFrame]) -> tuple[Sight, ...]:
    (name, columns), *_ = _SIGHTS.items()
    if name not in tables:
        return ()
    rows = zip(*(tables[name][own].tolist() for own in columns), strict=True)
    return tuple(Sight(str(a), str(b), float(x), float(z), float(h)) for a, b, x, z, h in rows)


def _dem_files(record: pd.DataFrame) -> tuple[tuple[str, str], ...]:
    named = record["value"][record["key"] == "input:dem"]
    pairs = [file_and_digest(value) for value in named]
    return tuple(pair for pair in pairs if not pair[0].endswith(_NO_HEIGHTS))


def _with_cuts(pegs: gpd.GeoDataFrame, cuts: pd.DataFrame) -> gpd.GeoDataFrame:
    """Pegs with what is dug beside each, in metres; rows of both are in one order."""
    if len(pegs) != len(cuts):
        raise ValueError(f"{len(cuts)} rows of peg_cuts for {len(pegs)} pegs")
    own = {name: figures(cuts, name) / 1000.0 for name in _COLUMNS["peg_cuts"]}
    level = figures(pegs, "level_m")
    return pegs.assign(
        dig_level_m=figures(pegs, "base_level_m") - own["dig_below_mm"],
        daylight_m=own["daylight_mm"],
        daylight_level_m=level + own["daylight_above_mm"],
        rise=own["rise_permille"],
        fall=own["fall_permille"],
    )


def _pegs(pegs: gpd.GeoDataFrame) -> Pegs:
    place = pegs.get_coordinates()
    return Pegs(
        peg_id=words(pegs, "peg_id"),
        swale_id=words(pegs, "swale_id"),
        kind=words(pegs, "kind"),
        easting=place["x"].to_numpy(),
        northing=place["y"].to_numpy(),
        level_m=figures(pegs, "level_m"),
        chainage_m=figures(pegs, "chainage_m"),
        ground_m=figures(pegs, "ground_m"),
        base_level_m=figures(pegs, "base_level_m"),
        cut_m=figures(pegs, "cut_m"),
        dig_level_m=figures(pegs, "dig_level_m"),
        daylight_m=figures(pegs, "daylight_m"),
        daylight_level_m=figures(pegs, "daylight_level_m"),
    )
