"""Reads of a finished plan what is set out; the file is opened for reading only."""

import ast
from collections.abc import Mapping
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pydantic import TypeAdapter
from shapely.geometry.base import BaseGeometry

from soakline.grid import FloatArray
from soakline.inputs.elevation import VerticalUnit
from soakline.plan_file import (
    A_PLAN,
    file_and_digest,
    layer_names,
    read_tables,
    refuse_other_versions,
)
from soakline.problems import InputProblem, InputRefused
from soakline.runfile.swale_point_section import PointKind
from soakline.section.crossings import LEAST_SINE, met_aslant, track_profiles
from soakline.section.mound import MoundShape
from soakline.section.stations import uphill_of, vertices_of
from soakline.section.trench import Trench, trenches_of
from soakline.setout import drains
from soakline.setout.hollows import Hollow
from soakline.setout.plan import Benchmark, Beside, Pegs, SetOutPlan, Sight, Sill, Swale, Track

_COLUMNS: Mapping[str, tuple[str, ...]] = {
    "property": ("name",),
    "swales": (  # two words, then figures
        "swale_id", "soil_texture", "soaking_mm_h", "level_m", "base_width_m", "depth_m", "batter",
        "slope_pct", "mound_height_m", "mound_crest_m", "face_height_m", "cut_m3", "fill_m3",
    ),
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
        "floor_level_m",
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
    mound = MoundShape(
        float(record["earthworks.berm_m"]),
        float(record["earthworks.mound_batter"]),
        float(record["earthworks.mound_crest_m"]),
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
        swales=_swales(frames, float(record["overflow.sill_head_m"])),
        drains=drains.drains_of(frames["diversions"]),
        pegs=_pegs(pegs),
        spillways={
            str(i): (float(p.x), float(p.y), float(level))
            for i, p, level in zip(
                sills["spillway_id"], sills.geometry, sills["sill_level_m"], strict=True
            )
        },
        mound=mound,
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


def _figures(table: pd.DataFrame, name: str) -> FloatArray:
    return np.asarray(table[name], dtype=np.float64)


def _with_cuts(pegs: gpd.GeoDataFrame, cuts: pd.DataFrame) -> gpd.GeoDataFrame:
    """Pegs with what is dug beside each, in metres; rows of both are in one order."""
    if len(pegs) != len(cuts):
        raise ValueError(f"{len(cuts)} rows of peg_cuts for {len(pegs)} pegs")
    own = {name: _figures(cuts, name) / 1000.0 for name in _COLUMNS["peg_cuts"]}
    level = _figures(pegs, "level_m")
    return pegs.assign(
        dig_level_m=_figures(pegs, "base_level_m") - own["dig_below_mm"],
        daylight_m=own["daylight_mm"],
        daylight_level_m=level + own["daylight_above_mm"],
        rise=own["rise_permille"],
        fall=own["fall_permille"],
    )


def _words(table: pd.DataFrame, name: str) -> tuple[str, ...]:
    return tuple(table[name].astype(str))


def _pegs(pegs: gpd.GeoDataFrame) -> Pegs:
    place = pegs.get_coordinates()
    return Pegs(
        peg_id=_words(pegs, "peg_id"),
        swale_id=_words(pegs, "swale_id"),
        kind=_words(pegs, "kind"),
        easting=place["x"].to_numpy(),
        northing=place["y"].to_numpy(),
        level_m=_figures(pegs, "level_m"),
        chainage_m=_figures(pegs, "chainage_m"),
        ground_m=_figures(pegs, "ground_m"),
        base_level_m=_figures(pegs, "base_level_m"),
        cut_m=_figures(pegs, "cut_m"),
        dig_level_m=_figures(pegs, "dig_level_m"),
        daylight_m=_figures(pegs, "daylight_m"),
        daylight_level_m=_figures(pegs, "daylight_level_m"),
    )


def _swales(frames: Mapping[str, gpd.GeoDataFrame], sill_head_m: float) -> tuple[Swale, ...]:
    ground = frames["swale_ground"]
    dug, mounds = (
        ground[ground["part"].isin(parts)].dissolve("swale_id").geometry
        for parts in (["ponded", "cut_slope"], ["mound"])
    )
    split = ("pegs", "spillways", "crossings")
    grouped = {name: dict(list(frames[name].groupby("swale_id"))) for name in split}
    nothing = {name: frames[name].iloc[:0] for name in grouped}
    hollows = _hollows(frames) if "swale_points" in frames else {}
    lips = frames["swales"]
    found = []
    for row, lip in zip(lips.to_dict("records"), lips.geometry, strict=True):
        own = {n: of.get(row["swale_id"], nothing[n]) for n, of in grouped.items()}
        works = [of.get(row["swale_id"], shapely.Polygon()) for of in (dug, mounds)]
        points = tuple(hollows.get(row["swale_id"], ()))
        found.append(_swale(row, lip, works[0], works[1], own, points, sill_head_m))
    return tuple(found)


def _swale(
    row: Mapping[str, object],
    lip: shapely.LineString,
    dug_ground: BaseGeometry,
    mound_ground: BaseGeometry,
    own: Mapping[str, gpd.GeoDataFrame],
    hollows: tuple[Hollow, ...],
    sill_head_m: float,
) -> Swale:
    figures = {name: float(str(row[name])) for name in _COLUMNS["swales"][2:]}
    pegs = own["pegs"].sort_values("chainage_m")
    sills = _sills(lip, pegs, own["spillways"])
    trench = Trench(figures["base_width_m"], figures["depth_m"], figures["batter"])
    level = figures["level_m"]
    ground = _figures(pegs, "ground_m")
    heads = _figures(own["spillways"], "check_head_m")
    return Swale(
        swale_id=str(row["swale_id"]),
        lip=shapely.get_coordinates(lip),
        level_m=level,
        sill_level_m=min([level, *(sill.level_m for sill in sills)]),
        trench=trench,
        below_m=float(np.max(_figures(pegs, "base_level_m") - _figures(pegs, "dig_level_m"))),
        slope=figures["slope_pct"] / 100.0,
        crest_height_m=figures["mound_height_m"],
        crest_width_m=figures["mound_crest_m"],
        head_m=float(heads.max()) if heads.size else sill_head_m,
        sills=sills,
        tracks=_tracks(own["crossings"], shapely.get_coordinates(lip), trench, level),
        hollows=hollows,
        dug_ground=dug_ground,
        mound_ground=mound_ground,
        chainage_m=_figures(pegs, "chainage_m"),
        ground_m=ground,
        beside=Beside(
            ground - level,
            _figures(pegs, "daylight_m"),
            _figures(pegs, "daylight_level_m") - level,
            _figures(pegs, "rise"),
            _figures(pegs, "fall"),
        ),
        peg_id=_words(pegs, "peg_id"),
        peg_kind=_words(pegs, "kind"),
        cut_m3=figures["cut_m3"],
        fill_m3=figures["fill_m3"],
        face_height_m=figures["face_height_m"],
        texture=str(row["soil_texture"]),
        soaking_mm_h=figures["soaking_mm_h"],
    )


def _hollows(frames: Mapping[str, gpd.GeoDataFrame]) -> dict[str, list[Hollow]]:
    """Ponds, basins and pits by their swale, along it."""
    ground = frames["swale_point_ground"].set_index("point_id").geometry
    found: dict[str, list[Hollow]] = {}
    for row in frames["swale_points"].sort_values(["swale_id", "chainage_m"]).itertuples():
        found.setdefault(str(row.swale_id), []).append(
            Hollow(
                point_id=str(row.point_id),
                kind=TypeAdapter(PointKind).validate_python(row.kind),
                easting=float(row.geometry.x),
                northing=float(row.geometry.y),
                chainage_m=float(row.chainage_m),
                length_m=float(row.length_m),
                width_m=float(row.width_m),
                depth_m=float(np.nan_to_num(row.depth_m)),
                floor_level_m=float(row.floor_level_m),
                ground=ground[row.point_id],
            )
        )
    return found


def _sills(
    lip: shapely.LineString, pegs: gpd.GeoDataFrame, spillways: gpd.GeoDataFrame
) -> tuple[Sill, ...]:
    """Sills along a lip; a peg stands at the middle of each."""
    middles = pegs.loc[pegs["kind"] == "sill", "chainage_m"].to_numpy()
    found = []
    for row in spillways.itertuples():
        at = float(lip.project(shapely.Point(row.geometry.x, row.geometry.y)))
        if middles.size:
            at = float(middles[np.argmin(np.abs(middles - at))])
        half = float(row.sill_length_m) / 2.0
        found.append(
            Sill(
                max(0.0, at - half),
                min(lip.length, at + half),
                float(row.sill_level_m),
                float(row.sill_width_m),
                float(row.apron_length_m),
                str(row.lining),
            )
        )
    return tuple(sorted(found, key=lambda sill: sill.start_m))


def _tracks(
    crossings: gpd.GeoDataFrame, lip: FloatArray, trench: Trench, level_m: float
) -> tuple[Track, ...]:
    """Fords and causeways along a lip; at a gap the ground stays as it is."""
    over = crossings[crossings["kind"] != "gap"].sort_values("start_m")
    kind = np.array(over["kind"], dtype=np.str_)
    crown = _figures(over, "level_m") - level_m
    sine = np.maximum(np.sin(np.radians(_figures(over, "angle_deg"))), LEAST_SINE)
    along = met_aslant(trenches_of([trench] * len(over)), sine)
    profiles = track_profiles(kind, along, crown, _figures(over, "slope_pct") / 100.0)
    vertices, corners = vertices_of([lip])
    one = np.zeros(len(over), dtype=np.int64)
    left_east, left_north = uphill_of(vertices, corners, one, _figures(over, "chainage_m"))
    bearing = np.radians(_figures(over, "bearing_deg"))
    ahead = np.sin(bearing) * left_north - np.cos(bearing) * left_east
    lean = np.sign(ahead) * np.sqrt(1.0 / sine**2 - 1.0)
    pipes, diameter = (np.nan_to_num(_figures(over, n)) for n in ("pipes", "pipe_diameter_m"))
    return tuple(
        Track(
            str(row.crossing_id), "ford" if row.kind == "ford" else "causeway",
            float(row.start_m), float(row.end_m), float(crown[k]),
            int(pipes[k]), float(diameter[k]), float(lean[k]),
            profiles.at_m[k] * sine[k], profiles.height_m[k],
        )
        for k, row in enumerate(over.itertuples())
    )  # fmt: skip
