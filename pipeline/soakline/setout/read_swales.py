"""Assembles the swales of a plan from its layers, each with all that is set out along it."""

from collections.abc import Mapping
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pydantic import TypeAdapter
from shapely.geometry.base import BaseGeometry

from soakline.grid import FloatArray
from soakline.runfile.swale_point_section import PointKind
from soakline.section.aslant import lean_of
from soakline.section.crossings import LEAST_SINE, met_aslant, track_profiles
from soakline.section.mound import MoundShape
from soakline.section.stations import uphill_of, vertices_of
from soakline.section.trench import Trench, trenches_of
from soakline.setout.hollows import Hollow
from soakline.setout.swale import Beside, Sill, Swale, Track

SWALE_FIGURES = (
    "soaking_mm_h", "level_m", "base_width_m", "depth_m", "batter", "slope_pct", "mound_height_m",
    "mound_crest_m", "berm_m", "face_height_m", "cut_m3", "fill_m3",
)  # fmt: skip
"""Columns of the layer of swales that hold numbers."""


@dataclass(frozen=True, slots=True)
class MoundRules:
    """What every mound of a plan has in common.

    Parameters
    ----------
    batter : horizontal per 1 vertical
    least_crest_m : least width of the crest, m
    sill_head_m : head over sills where no sill has its own, m
    """

    batter: float
    least_crest_m: float
    sill_head_m: float


def figures(table: pd.DataFrame, name: str) -> FloatArray:
    """A column as numbers, (n,)."""
    return np.asarray(table[name], dtype=np.float64)


def words(table: pd.DataFrame, name: str) -> tuple[str, ...]:
    """A column as text, (n,)."""
    return tuple(table[name].astype(str))


def swales_of(frames: Mapping[str, gpd.GeoDataFrame], mounds: MoundRules) -> tuple[Swale, ...]:
    """Swales of a plan, in its order.

    Parameters
    ----------
    frames : layers by name; pegs with what is dug beside them
    mounds : MoundRules
    """
    ground = frames["swale_ground"]
    dug, heaped = (
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
        works = [of.get(row["swale_id"], shapely.Polygon()) for of in (dug, heaped)]
        points = tuple(hollows.get(row["swale_id"], ()))
        found.append(_swale(row, lip, works[0], works[1], own, points, mounds))
    return tuple(found)


def _swale(
    row: Mapping[str, object],
    lip: shapely.LineString,
    dug_ground: BaseGeometry,
    mound_ground: BaseGeometry,
    own: Mapping[str, gpd.GeoDataFrame],
    hollows: tuple[Hollow, ...],
    mounds: MoundRules,
) -> Swale:
    own_figures = {name: float(str(row[name])) for name in SWALE_FIGURES}
    pegs = own["pegs"].sort_values("chainage_m")
    sills = _sills(lip, pegs, own["spillways"])
    trench = Trench(own_figures["base_width_m"], own_figures["depth_m"], own_figures["batter"])
    level = own_figures["level_m"]
    ground = figures(pegs, "ground_m")
    heads = figures(own["spillways"], "check_head_m")
    return Swale(
        swale_id=str(row["swale_id"]),
        lip=shapely.get_coordinates(lip),
        level_m=level,
        sill_level_m=min([level, *(sill.level_m for sill in sills)]),
        trench=trench,
        below_m=float(np.max(figures(pegs, "base_level_m") - figures(pegs, "dig_level_m"))),
        slope=own_figures["slope_pct"] / 100.0,
        mound=MoundShape(own_figures["berm_m"], mounds.batter, mounds.least_crest_m),
        crest_height_m=own_figures["mound_height_m"],
        crest_width_m=own_figures["mound_crest_m"],
        head_m=float(heads.max()) if heads.size else mounds.sill_head_m,
        sills=sills,
        tracks=_tracks(own["crossings"], shapely.get_coordinates(lip), trench, level),
        hollows=hollows,
        dug_ground=dug_ground,
        mound_ground=mound_ground,
        chainage_m=figures(pegs, "chainage_m"),
        ground_m=ground,
        beside=Beside(
            ground - level,
            figures(pegs, "daylight_m"),
            figures(pegs, "daylight_level_m") - level,
            figures(pegs, "rise"),
            figures(pegs, "fall"),
        ),
        peg_id=words(pegs, "peg_id"),
        peg_kind=words(pegs, "kind"),
        cut_m3=own_figures["cut_m3"],
        fill_m3=own_figures["fill_m3"],
        face_height_m=own_figures["face_height_m"],
        texture=str(row["soil_texture"]),
        soaking_mm_h=own_figures["soaking_mm_h"],
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
                face_height_m=float(row.face_height_m),
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
    crown = figures(over, "level_m") - level_m
    sine = np.maximum(np.sin(np.radians(figures(over, "angle_deg"))), LEAST_SINE)
    along = met_aslant(trenches_of([trench] * len(over)), sine)
    profiles = track_profiles(kind, along, crown, figures(over, "slope_pct") / 100.0)
    vertices, corners = vertices_of([lip])
    one = np.zeros(len(over), dtype=np.int64)
    left_east, left_north = uphill_of(vertices, corners, one, figures(over, "chainage_m"))
    lean = lean_of(figures(over, "bearing_deg"), sine, left_east, left_north)
    pipes, diameter = (np.nan_to_num(figures(over, n)) for n in ("pipes", "pipe_diameter_m"))
    return tuple(
        Track(
            str(row.crossing_id), "ford" if row.kind == "ford" else "causeway",
            float(row.start_m), float(row.end_m), float(crown[k]),
            int(pipes[k]), float(diameter[k]), float(lean[k]),
            profiles.at_m[k] * sine[k], profiles.height_m[k],
        )
        for k, row in enumerate(over.itertuples())
    )  # fmt: skip
