"""Findings on the ways that spilled water takes: routes, what receives them, drainage lines."""

from collections.abc import Iterator

import numpy as np
import pandas as pd
import shapely

from soakline.findings import Finding
from soakline.grid import BoolArray
from soakline.ids import line_id, route_id
from soakline.outputs.designed import Designed
from soakline.outputs.overflow import numbered
from soakline.overflow.loading import loaded_lines
from soakline.overflow.routes import in_plan
from soakline.overflow.velocity import bare_earth_permissible_ms
from soakline.siting.crossings import track_width_m
from soakline.terrain.cells import GeometryArray

# Less of a way on a mound is but the width of its outline.
_ON_MOUND_M = 0.3


def route_findings(plan: Designed) -> Iterator[Finding]:
    """What is to be said of each route, then of the drainage lines that routes enter."""
    consent = plan.run.overflow.neighbour_consent
    bare = bare_earth_permissible_ms(plan.run.soil.texture)
    drawn = in_plan(plan.routes)
    tracks = _tracks_crossed(plan, drawn)
    mounds = _mounds_crossed(plan, drawn)
    for k, (number, route) in enumerate(numbered(plan.routes)):
        feature = route_id(plan.placed.lines[route.swale].swale_id, number)

        def on(code: str, message: str, advice: str, feature: str = feature) -> Finding:
            return Finding(code, "caution", "overflow_routes", feature, message, advice)

        if route.lining != "grass":
            held = f"{route.permissible_ms:.2f} m/s" if route.permissible_ms else "no figure"
            yield on(
                "route_needs_lining",
                f"{route.velocity_ms:.2f} m/s on up to {route.max_slope_pct:.0f} %: the cover's "
                f"table gives {held} there",
                "line the route with rock or matting to an engineer's design, or choose a wider "
                "sill",
            )
        elif route.velocity_ms > bare:
            yield on(
                "protect_until_grass_stands",
                f"{route.velocity_ms:.2f} m/s, over the {bare:.2f} m/s that bare earth bears",
                "protect until grass stands: turf, matting or a dry season",
            )
        if tracks[k]:
            yield on("route_crosses_track", "the route crosses a track", "build a ford or a pipe")
        for swale, length in mounds.get(k, ()):
            yield on(
                "route_over_mound",
                f"the route runs {length:.1f} m over the mound of {swale}: loose spoil is no dam",
                "end that mound short of the way, or turf and armour it there; look at it on site",
            )
        if route.max_slope_pct > plan.run.siting.max_slope_pct:
            yield on(
                "route_over_steep_ground",
                f"the route runs over ground of {route.max_slope_pct:.0f} %, steeper than swales "
                f"may stand on ({plan.run.siting.max_slope_pct:g} %)",
                "have its stability judged on site",
            )
        if route.end.kind == "property_edge" and plan.run.overflow.allow_property_edge and consent:
            yield on(
                "leaves_property",
                f"the water leaves over the property's edge with consent: {consent}",
                "keep the consent in writing; drainage law differs from place to place",
            )
        if route.end.kind in ("dam", "safe_point"):
            yield from _on_receiver(plan, route.end.kind, route.end.index, feature)


def _tracks_crossed(plan: Designed, drawn: GeometryArray) -> BoolArray:
    """Routes that run over a track, as drawn and by the cells of their ways; (routes,)."""
    tracks = plan.inputs.features.tracks
    ground = shapely.union_all(
        shapely.buffer(tracks.geometry.to_numpy(), track_width_m(tracks) / 2)
    )
    crossed = [route.sill.way.crosses_track for route in plan.routes]
    return np.asarray(crossed, dtype=bool) | shapely.intersects(drawn, ground)


def _mounds_crossed(plan: Designed, drawn: GeometryArray) -> dict[int, list[tuple[str, float]]]:
    """Mounds of other swales that each route runs over, and how far, m."""
    mounds = plan.works.footprint.mound
    route, mound = shapely.STRtree(mounds).query(drawn, predicate="intersects")
    other = np.array([own.swale for own in plan.routes], dtype=np.int64)[route] != mound
    route, mound = route[other], mound[other]
    length = shapely.length(shapely.intersection(drawn[route], mounds[mound]))
    found: dict[int, list[tuple[str, float]]] = {}
    for k, swale, over_m in zip(route.tolist(), mound.tolist(), length.tolist(), strict=True):
        if over_m > _ON_MOUND_M:
            found.setdefault(k, []).append((plan.placed.ids[swale], over_m))
    return found


def _on_receiver(plan: Designed, kind: str, index: int, feature: str) -> Iterator[Finding]:
    """A dam or given point that may not take what reaches it."""
    features = plan.inputs.features
    layer = features.dams if kind == "dam" else features.safe_points
    row = layer.iloc[index]
    accepts = row["accepts_m3"]
    check = plan.event.of("check")
    most = max(
        sum(
            r.sill.share * plan.results.routing.overflow_m3[r.swale, s]
            for r in plan.routes
            if r.end.kind == kind and r.end.index == index
        )
        for s in check
    )
    enough = bool(np.isfinite(accepts)) and accepts >= most
    known = bool(np.isfinite(accepts))
    # Null, or a truth value of whichever library read the file.
    spills = kind == "dam" and bool(pd.notna(row["spillway"]) and row["spillway"])
    if spills or enough or (kind == "safe_point" and not known):
        return
    has = f"accepts {accepts:.0f} m³" if known else "has no spillway and no volume given"
    yield Finding(
        f"{kind}_may_overflow",
        "caution",
        "overflow_routes",
        feature,
        f"up to {most:.0f} m³ reach a {kind.replace('_', ' ')} that {has}",
        "have its spillway and its bank judged by a licensed engineer; works on dams need permits",
    )


def drainage_findings(plan: Designed) -> Iterator[Finding]:
    """Drainage lines that routes load with much water."""
    keys = plan.run.overflow
    rise = plan.event.rise_m_s[plan.event.land.commonest, plan.event.of("check")]
    loaded = loaded_lines(
        plan.routes,
        plan.terrain.flow,
        plan.terrain.ground_m,
        plan.terrain.grid,
        float(rise.max()),
        keys.manning_n,
        keys.cover,
        keys.soil,
    )
    for line in loaded:
        held = f"{line.permissible_ms:.2f} m/s" if line.permissible_ms else "no figure so steep"
        yield Finding(
            "drainage_line_loaded",
            "caution",
            "drainage_lines",
            line_id(line.line),
            f"routes bring {line.peak_m3s:.2f} m³/s in the check storm, beside the line's own "
            f"{line.own_peak_m3s:.2f} m³/s; they run {line.velocity_ms:.2f} m/s over the next "
            f"50 m, where the cover's table gives {held}",
            "look at the line's bed on site; whether it is stable today was not checked",
        )
