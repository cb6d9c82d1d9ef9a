"""Reads of a finished plan what is set out; the file is opened for reading only."""

import ast
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pydantic import TypeAdapter

from soakline.grid import FloatArray
from soakline.inputs.elevation import VerticalUnit
from soakline.plan_file import A_PLAN, read_tables
from soakline.problems import InputProblem, InputRefused
from soakline.section.earthworks import average_end_area_m3
from soakline.section.mound import MoundShape, crest_width_for_m
from soakline.section.stations import Chainages
from soakline.section.trench import Trench
from soakline.section.works import LEAST_MOUNDED_SHARE
from soakline.setout.plan import Benchmark, Pegs, SetOutPlan, Swale

_COLUMNS: Mapping[str, tuple[str, ...]] = {
    "property": ("name",),
    "swales": (
        "swale_id", "level_m", "length_m", "base_width_m", "depth_m", "batter", "slope_pct",
        "mound_height_m", "face_height_m", "cut_m3", "fill_m3",
    ),
    "spillways": ("spillway_id", "swale_id", "sill_level_m", "sill_length_m"),
    "pegs": (
        "peg_id", "swale_id", "kind", "chainage_m", "ground_m", "level_m", "base_level_m", "cut_m",
    ),
    "run_record": ("key", "value"),
}  # fmt: skip
_TABLES = frozenset({"run_record"})
# What may lie beside a DEM and is recorded with it, but holds no heights.
_NO_HEIGHTS = (".prj", ".hdr", ".tfw", ".wld", ".xml")


def read_setout(path: Path) -> SetOutPlan:
    """Read a plan for setting out.

    Parameters
    ----------
    path : a plan

    Raises
    ------
    InputRefused
        If it is not a plan, lacks layers, columns or keys of its record (all are named), or has no
        swale or no pegs.
    """
    tables, problems = read_tables(path, _COLUMNS, lambda name: name not in _TABLES)
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
    except (ValueError, TypeError, SyntaxError) as error:
        raise _refused(path, "", f"figures that do not fit ({error})", A_PLAN) from None


def _refused(path: Path, key: str, found: str, allowed: str) -> InputRefused:
    return InputRefused([InputProblem(str(path), key, found, allowed)])


def _plan(path: Path, tables: Mapping[str, pd.DataFrame], record: Mapping[str, str]) -> SetOutPlan:
    land, pegs, lips = (gpd.GeoDataFrame(tables[n]) for n in ("property", "pegs", "swales"))
    mound = MoundShape(
        float(record["earthworks.berm_m"]),
        float(record["earthworks.mound_batter"]),
        float(record["earthworks.mound_crest_m"]),
    )
    sills = gpd.GeoDataFrame(tables["spillways"])
    swales = []
    for row, lip in zip(lips.to_dict("records"), lips.geometry, strict=True):
        own = pegs[pegs["swale_id"] == row["swale_id"]].sort_values("chainage_m")
        over = sills[sills["swale_id"] == row["swale_id"]]
        full = min([float(row["level_m"]), *over["sill_level_m"]])
        swales.append(_swale(row, lip, own, (_gaps(lip, own, over), full), mound))
    name = str(land["name"].fillna("").iloc[0]) if len(land) else ""
    marks = ast.literal_eval(record.get("property.benchmark", "{}"))
    rate = float(record["soaking_rate_mm_h"])
    return SetOutPlan(
        path=path,
        name=name or path.stem,
        crs_wkt=record["crs"],
        outline=shapely.union_all(land.geometry.to_numpy()),
        swales=tuple(swales),
        pegs=_pegs(pegs),
        spillways={
            str(i): (float(p.x), float(p.y), float(level))
            for i, p, level in zip(
                sills["spillway_id"], sills.geometry, sills["sill_level_m"], strict=True
            )
        },
        mound=mound,
        soil=f"{record['soil.texture']}, soaking {rate:g} mm/h with clogging; test on site",
        benchmark=Benchmark(**{k: float(v) for k, v in marks.items()}) if marks else None,
        finished=record["finished"],
        dem=_dem_files(tables["run_record"]),
        vertical_unit=TypeAdapter(VerticalUnit).validate_python(record["property.vertical_unit"]),
    )


def _dem_files(record: pd.DataFrame) -> tuple[tuple[str, str], ...]:
    named = [str(v) for v in record.loc[record["key"] == "input:dem", "value"]]
    pairs = [value.rpartition(" sha256=") for value in named]
    return tuple((name, digest) for name, _, digest in pairs if not name.endswith(_NO_HEIGHTS))


def _pegs(pegs: gpd.GeoDataFrame) -> Pegs:
    place = pegs.get_coordinates()

    def words(name: str) -> tuple[str, ...]:
        return tuple(pegs[name].astype(str))

    def figures(name: str) -> FloatArray:
        return np.asarray(pegs[name], dtype=np.float64)

    return Pegs(
        peg_id=words("peg_id"),
        swale_id=words("swale_id"),
        kind=words("kind"),
        easting=place["x"].to_numpy(),
        northing=place["y"].to_numpy(),
        level_m=figures("level_m"),
        chainage_m=figures("chainage_m"),
        ground_m=figures("ground_m"),
        base_level_m=figures("base_level_m"),
        cut_m=figures("cut_m"),
    )


def _gaps(
    lip: shapely.LineString, pegs: gpd.GeoDataFrame, sills: gpd.GeoDataFrame
) -> tuple[tuple[float, float], ...]:
    """Stretches of the lip that sills take; a peg stands at the middle of each."""
    middles = pegs.loc[pegs["kind"] == "sill", "chainage_m"].to_numpy()
    gaps = []
    for point, length in zip(sills.geometry, sills["sill_length_m"], strict=True):
        at = float(lip.project(shapely.Point(point.x, point.y)))
        if middles.size:
            at = float(middles[np.argmin(np.abs(middles - at))])
        start, end = max(0.0, at - length / 2.0), min(lip.length, at + length / 2.0)
        gaps.append((start, end))
    return tuple(sorted(gaps))


def _swale(
    row: Mapping[str, object],
    lip: shapely.LineString,
    pegs: gpd.GeoDataFrame,
    sills: tuple[tuple[tuple[float, float], ...], float],
    mound: MoundShape,
) -> Swale:
    figures = {name: float(str(row[name])) for name in _COLUMNS["swales"] if name != "swale_id"}
    swale = Swale(
        swale_id=str(row["swale_id"]),
        lip=shapely.get_coordinates(lip),
        level_m=figures["level_m"],
        sill_level_m=sills[1],
        trench=Trench(figures["base_width_m"], figures["depth_m"], figures["batter"]),
        slope=figures["slope_pct"] / 100.0,
        crest_height_m=figures["mound_height_m"],
        crest_width_m=0.0,
        gaps_m=sills[0],
        chainage_m=pegs["chainage_m"].to_numpy(np.float64),
        ground_m=pegs["ground_m"].to_numpy(np.float64),
        peg_id=tuple(pegs["peg_id"].astype(str)),
        peg_kind=tuple(pegs["kind"].astype(str)),
        cut_m3=figures["cut_m3"],
        fill_m3=figures["fill_m3"],
        face_height_m=figures["face_height_m"],
    )
    return replace(swale, crest_width_m=crest_width_m(swale, mound))


def crest_width_m(swale: Swale, shape: MoundShape) -> float:
    """Width of the crest that the plan's spoil makes, m; 0 where it is spread.

    The plan holds the spoil's volume, not the crest's width, which follows from it as it did when
    the mound was reckoned: made-up lip taken off, on the mean ground of the pegs.
    """
    mounded = sum(end - start for start, end in swale.mounded_m)
    if mounded <= 0:
        return 0.0
    above = swale.ground_m - swale.level_m
    low = np.maximum(-above, 0.0) * shape.least_crest_m
    at = Chainages(np.array([0, low.size]), swale.chainage_m)
    made_up = float(average_end_area_m3(at, low)[0])
    over = max(mounded, LEAST_MOUNDED_SHARE * swale.length_m)
    height, area, mean, slope = (
        np.asarray(value)
        for value in (
            swale.crest_height_m,
            (swale.fill_m3 - made_up) / over,
            float(above.mean()) if above.size else 0.0,
            min(swale.slope, 0.9 / shape.batter),
        )
    )
    return float(crest_width_for_m(shape, height, area, mean, slope))
