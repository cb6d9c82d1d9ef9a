"""Trees, crossings and diversions, where a plan has any."""

from typing import Any

import numpy as np
import pandas as pd
import shapely

from soakline.verify.line import Line, none_of, within
from soakline.verify.reading import Plan, shapes_of

_BEYOND_M = 2.0


def check_plants(plan: Plan) -> list[Line]:
    """Lines about trees, crossings and drains."""
    return [*_trees(plan), *_crossings(plan), *_diversions(plan)]


def _trees(plan: Plan) -> list[Line]:
    trees = plan["trees"]
    points, crown = trees["geometry"].to_numpy(), trees["crown_m"].to_numpy(float)
    owner, band = trees["swale_id"].to_numpy(), trees["band"].to_numpy()
    names = np.array([f"tree {i} of {one}" for i, one in enumerate(owner, 1)], dtype=object)
    ground = plan["swale_ground"]
    away = np.full(len(trees), np.inf)
    # Bands: on the mound; below it or, without one, below the lip; above the cut; in the trench.
    parts = {"mound": ("mound",), "trench": ("ponded",), "below": ("mound", "ponded", "berm"),
             "uphill": ("cut_slope", "ponded")}  # fmt: skip
    for kind, of_part in parts.items():
        own = ground[ground["part"].isin(of_part)]
        shape = own.groupby("swale_id")["geometry"].agg(_together)
        rows = np.flatnonzero(band == kind)
        shapes = shapes_of(shape, owner[rows])
        away[rows] = shapely.distance(points[rows], shapes)
        if kind in {"below", "uphill"}:
            away[rows] = np.maximum(away[rows] - _BEYOND_M, 0.0)
    # Between swales they belong to the one that their ground drains to, by whole cells.
    rows = np.flatnonzero(band == "between")
    drained = plan["swale_catchments"].set_index("swale_id")["geometry"]
    away[rows] = shapely.distance(points[rows], shapes_of(drained, owner[rows]))
    one, other = shapely.STRtree(points).query(
        points, predicate="dwithin", distance=np.full(len(points), crown.max(initial=0.0))
    )
    pair = one < other
    one, other = one[pair], other[pair]
    near = (crown[one] + crown[other]) / 2.0 - shapely.distance(points[one], points[other])
    crowded = np.zeros(len(trees))
    np.maximum.at(crowded, one, near)
    edge = shapely.union_all(plan["property"]["geometry"].to_numpy())
    shapely.prepare(edge)
    outside = names[~np.asarray(shapely.covers(edge, points), dtype=bool)]
    return [
        within("trees", "tree in its band", "within 0.5 m of it", away, names, 0.5, "m"),
        within("trees", "full crowns side by side", "overlap 5 cm", crowded, names, 0.05, "m"),
        none_of("trees", "trees within the property", "all", outside, len(trees)),
    ]


def _together(shapes: pd.Series) -> Any:
    return shapely.union_all(shapes.to_numpy())


def _crossings(plan: Plan) -> list[Line]:
    crossings = plan["crossings"]
    lip = shapes_of(plan["swales"].set_index("swale_id")["geometry"], crossings["swale_id"])
    away = shapely.distance(crossings["geometry"].to_numpy(), lip)
    gap = (crossings["kind"] == "gap").to_numpy()
    ids = crossings["crossing_id"].to_numpy()
    return [within("crossings", "crossing on its lip", "1 cm (not a gap)", away[~gap], ids[~gap],
                   0.01, "m")]  # fmt: skip


def _diversions(plan: Plan) -> list[Line]:
    drains = plan["diversions"]
    ids, lines = drains["diversion_id"].to_numpy(), drains["geometry"].to_numpy()
    vertex, of = shapely.get_coordinates(lines, include_z=True, return_index=True)
    same = np.diff(of, prepend=-1) == 0
    rise = np.where(same, np.diff(vertex[:, 2], prepend=np.inf), 0.0)
    start = np.flatnonzero(~same)
    up = np.maximum.reduceat(rise, start) if len(start) else np.empty(0)
    known = set(plan["swales"]["swale_id"])
    lost = [one for one, to in zip(ids, drains["swale_id"], strict=True) if to not in known]
    return [
        within("diversions", "drain never rises", "0 m", up, ids, 1e-9, "m"),
        none_of("diversions", "drain leads to a swale of the plan", "all", lost, len(ids)),
    ]
