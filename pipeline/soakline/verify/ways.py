"""Spilled water: sills, routes, and the graph of swales down to safe ends."""

from collections.abc import Mapping
from graphlib import CycleError, TopologicalSorter

import numpy as np
import pandas as pd
import shapely

from soakline.verify.line import FloatArray, Line, none_of, within
from soakline.verify.lips import of_swale
from soakline.verify.reading import Plan, shapes_of

_GROUP = "overflow"
_ON_LIP_M = 0.01


def check_sills(plan: Plan) -> list[Line]:
    """Lines about spillways: on the lip, at its level, long enough."""
    sills = plan["spillways"]
    ids = sills["spillway_id"].to_numpy()
    lip = shapes_of(plan["swales"].set_index("swale_id")["geometry"], sills["swale_id"])
    points = sills["geometry"].to_numpy()
    z, told = shapely.get_z(points), sills["sill_level_m"].to_numpy(float)
    level = of_swale(plan, "spillways", "level_m")
    mound = of_swale(plan, "spillways", "mound_height_m")
    head, length = sills["check_head_m"].to_numpy(float), sills["sill_length_m"].to_numpy(float)
    limit = plan.setting("overflow.sill_head_m", 0.10)
    # Where spoil is spread, the sill is cut by the head that may stand over it; a lip that was
    # measured spills at its lowest place.
    drop = np.where(mound == 0.0, limit, 0.0)
    aside = np.minimum(np.abs(level - drop - told), np.abs(level - told))
    if "lip_low_m" in plan["swales"].columns:
        aside = np.fmin(aside, np.abs(of_swale(plan, "spillways", "lip_low_m") - told))
    peak = sills["peak_m3s"].to_numpy(float)
    weir = plan.setting("overflow.weir_coefficient", 1.45) * length * head**1.5
    off = np.abs(weir - peak) / np.maximum(peak, 1e-6)
    without = sorted(set(plan["swales"]["swale_id"]) - set(sills["swale_id"]))
    findings = plan["findings"]
    told_short = sills["swale_id"].isin(findings["feature_id"][findings["code"] == "sill_short"])
    free = ~told_short.to_numpy()
    return [
        none_of(_GROUP, "every swale has a spillway", "all of them",
                [one for one in without if one not in _stopped(plan)], len(plan["swales"])),
        within(_GROUP, "spillway on its swale's lip", "1 cm", shapely.distance(points, lip), ids,
               _ON_LIP_M, "m"),
        within(_GROUP, "spillway's height is sill_level_m", "1 mm", np.abs(z - told), ids, 0.001,
               "m"),
        within(_GROUP, "sill at the lip's level", "1 mm; cut by the head where spoil is spread",
               aside, ids, 0.001, "m"),
        within(_GROUP, "peak over the sill, Q = C L h^1.5", "0.1 %", 100.0 * off, ids, 0.1, "%"),
        within(_GROUP, "head over the sill in the check storm", f"{limit:g} m, or told",
               head[free], ids[free], limit + 1e-6, "m"),
        within(_GROUP, "sill at least 1 m long", "1 m", 1.0 / np.maximum(length, 1e-9), ids,
               1.0 + 1e-6),
    ]  # fmt: skip


def check_routes(plan: Plan, cell_m: float) -> list[Line]:
    """Lines about routes: downhill, from their sill to what they name."""
    routes = plan["overflow_routes"]
    ids, lines = routes["route_id"].to_numpy(), routes["geometry"].to_numpy()
    vertex, of = shapely.get_coordinates(lines, include_z=True, return_index=True)
    same = np.diff(of, prepend=-1) == 0
    rise = np.where(same, np.diff(vertex[:, 2], prepend=np.inf), 0.0)
    start = np.flatnonzero(~same)
    end = np.append(start[1:], len(of))[: len(start)] - 1
    up = np.maximum.reduceat(rise, start) if len(start) else np.empty(0)
    sills = plan["spillways"].drop_duplicates("spillway_id").set_index("spillway_id")
    sill = shapes_of(sills["geometry"], routes["spillway_id"])
    at = np.column_stack([shapely.get_x(sill), shapely.get_y(sill), shapely.get_z(sill)])
    away = np.abs(vertex[start] - at).max(axis=1, initial=0.0)
    owner = sills["swale_id"].reindex(routes["spillway_id"]).to_numpy()
    strange = ids[owner != routes["swale_id"].to_numpy()]
    drop = np.abs(vertex[start, 2] - vertex[end, 2] - routes["drop_m"].to_numpy(float))
    length = np.abs(shapely.length(lines) - routes["length_m"].to_numpy(float))
    idle = sorted(set(plan["spillways"]["spillway_id"]) - set(routes["spillway_id"]))
    stopped = _stopped(plan)
    idle = [one for one in idle if sills["swale_id"][one] not in stopped]
    fast = routes["velocity_ms"].to_numpy(float) > routes["permissible_ms"].to_numpy(float)
    grassed = (routes["lining"].isna() | (routes["lining"] == "grass")).to_numpy()
    unlined = ids[fast & grassed]
    return [
        within(_GROUP, "route never rises", "0 m", up, ids, 1e-9, "m"),
        within(_GROUP, "route starts on its spillway", "exact", away, ids, 1e-6, "m"),
        none_of(_GROUP, "route and its spillway name one swale", "all", strange, len(ids)),
        none_of(_GROUP, "every spillway has a route", "all", idle, len(sills)),
        within(_GROUP, "route ends on what to_id names", "1.5 cells",
               _to_end(plan, routes, vertex[end, :2]), ids, 1.5 * cell_m, "m"),
        within(_GROUP, "drop_m is that of the line", "1 mm", drop, ids, 0.001, "m"),
        within(_GROUP, "route's length_m is that of the line", "1 mm", length, ids, 0.001, "m"),
        none_of(_GROUP, "lining where velocity exceeds permissible", "all", unlined, len(ids)),
    ]  # fmt: skip


def _to_end(plan: Plan, routes: pd.DataFrame, last: FloatArray) -> FloatArray:
    """Distance from the last vertex of each route to what it names, m; infinite if unknown."""
    edge = shapely.boundary(shapely.union_all(plan["property"]["geometry"].to_numpy()))
    hollow = plan["hollows"].drop_duplicates("hollow_id").set_index("hollow_id")["geometry"]
    ends: Mapping[str, pd.Series] = {
        "swale": plan["swales"].drop_duplicates("swale_id").set_index("swale_id")["geometry"],
        "drainage_line": plan["drainage_lines"]
        .drop_duplicates("line_id")
        .set_index("line_id")["geometry"],
        "hollow": hollow.map(shapely.boundary),
    }
    safe = plan["safe_points"].drop_duplicates("safe_id").set_index("safe_id")["geometry"]
    found = np.full(len(routes), np.inf)
    kinds, ids = routes["to_kind"].tolist(), routes["to_id"].tolist()
    for i, (kind, name) in enumerate(zip(kinds, ids, strict=True)):
        if kind == "property_edge":
            found[i] = shapely.distance(edge, shapely.points(last[i]))
            continue
        # The rim of a dam or of an area is met where the route comes in, which for the first of
        # them is its point.
        own = ends.get(kind, safe)
        if name in own.index:
            away = shapely.distance(own[name], shapely.points(last[i]))
            found[i] = 0.0 if kind == "dam" else away
    for name in {name for kind, name in zip(kinds, ids, strict=True) if kind == "safe_point"}:
        into = np.array([own == (name, "safe_point") for own in zip(ids, kinds, strict=True)])
        found[into] = found[into].min()
    return found


def check_graph(plan: Plan) -> list[Line]:
    """Lines about the chain of swales: no circle, levels fall, every swale ends safely or is told.

    A hollow's own judgement, whether its volume takes what comes, is left to the plan.
    """
    routes = plan["overflow_routes"]
    down: dict[str, set[str]] = {one: set() for one in plan["swales"]["swale_id"]}
    unsafe = set(plan["swales"]["swale_id"]) - set(routes["swale_id"])
    doubtful: set[str] = set()
    for one, kind, other in routes[["swale_id", "to_kind", "to_id"]].itertuples(index=False):
        if kind == "swale":
            down.setdefault(one, set()).add(other)
        elif kind == "property_edge":
            unsafe.add(one)
        elif kind in {"hollow", "dam"}:
            doubtful.add(one)
    try:
        order = list(TopologicalSorter(down).static_order())
    except CycleError as ring:
        circle = [str(one) for one in ring.args[1]]
        return [none_of(_GROUP, "no circle of swales", "none", [" > ".join(circle)])]
    level = plan["swales"].drop_duplicates("swale_id").set_index("swale_id")["level_m"]
    level = level[level.notna()]
    upward = [
        f"{one} to {other}"
        for one, others in down.items()
        for other in others
        if one in level.index and other in level.index and not level[one] > level[other]
    ]
    for one in order:
        if down.get(one, set()) & unsafe:
            unsafe.add(one)
        if down.get(one, set()) & doubtful:
            doubtful.add(one)
    consent = plan.record.get("overflow.allow_property_edge", ("False",))[0] == "True"
    findings = plan["findings"]
    told = set(findings["feature_id"][findings["code"].isin(["no_safe_end"])])
    edges = set(routes["swale_id"][routes["to_kind"] == "property_edge"])
    leaving = set() if consent else edges
    lacking = sorted((unsafe - told) if not consent else (unsafe - told - _above(down, edges)))
    spare = sorted(told - unsafe - doubtful)
    return [
        none_of(_GROUP, "no circle of swales", "none", []),
        none_of(_GROUP, "routes lead to lower swales", "all", upward),
        none_of(_GROUP, "finding no_safe_end for every swale without a safe end", "all",
                lacking + [f"{one} needlessly" for one in spare]),
        none_of(_GROUP, "no route over the edge without consent", "none or at stop",
                sorted(leaving - told)),
    ]  # fmt: skip


def _above(down: Mapping[str, set[str]], ends: set[str]) -> set[str]:
    """Swales of a set, and all whose water comes to one of them."""
    reached, grew = set(ends), True
    while grew:
        more = {one for one, others in down.items() if others & reached} - reached
        reached |= more
        grew = bool(more)
    return reached


def _stopped(plan: Plan) -> set[str]:
    findings = plan["findings"]
    return set(findings["feature_id"][findings["severity"] == "stop"])
