"""Findings on diversion drains: what they cross on their way, and how fast their water runs."""

from collections.abc import Iterator

import geopandas as gpd
import numpy as np
import shapely

from soakline.findings import Finding
from soakline.ids import diversion_id, route_id
from soakline.outputs.designed import Designed
from soakline.outputs.overflow import numbered
from soakline.overflow.routes import in_plan
from soakline.siting.crossings import track_width_m
from soakline.terrain.cells import GeometryArray

_NAMED = 6


def drain_findings(plan: Designed) -> Iterator[Finding]:
    """What is to be said of each drain.

    Notes
    -----
    Drains are laid before rain is known, routes after it: new rain may move a sill, and with it
    what a drain crosses, but never a drain.
    """
    features = plan.inputs.features
    tracks, services = features.tracks, features.services
    on_track = shapely.buffer(tracks.geometry.to_numpy(), track_width_m(tracks) / 2.0)
    on_service = services.geometry.to_numpy()
    routes = in_plan(plan.routes)
    ids = [
        route_id(plan.placed.lines[route.swale].swale_id, number)
        for number, route in numbered(plan.routes)
    ]
    dug = plan.diversions
    for k, (drain, section) in enumerate(zip(dug.drains, dug.sections, strict=True)):
        line = shapely.LineString(drain.coordinates[:, :2])

        def on(code: str, message: str, advice: str, k: int = k) -> Finding:
            return Finding(code, "caution", "diversions", diversion_id(k), message, advice)

        if section.needs_lining:
            held = f"{section.permissible_ms:.2f} m/s" if section.permissible_ms else "no figure"
            yield on(
                "diversion_needs_lining",
                f"{section.velocity_ms:.2f} m/s at {drain.grade_pct:.1f} %, on a base of "
                f"{section.base_width_m:.1f} m: the cover's table gives {held} there",
                "draw it gentler, or line it with rock or matting to an engineer's design",
            )
        crossed = _named(tracks, "track", _met(line, on_track))
        if crossed:
            yield on(
                "diversion_crosses_track",
                f"the drain crosses {crossed}: wheels fill it, and its water then runs down the "
                "track",
                "lay a pipe or build a ford there; follow local codes for tracks",
            )
        crossed = _named(services, "service", _met(line, on_service))
        if crossed:
            yield on(
                "diversion_crosses_service",
                f"the drain is dug over {crossed}, {section.depth_m:.2f} m deep",
                "have it located and its cover measured before any digging, or draw another way",
            )
        met = [ids[i] for i in _met(line, routes)]
        if met:
            more = f" and {len(met) - _NAMED} more" if len(met) > _NAMED else ""
            yield on(
                "diversion_crosses_route",
                f"the drain crosses the way of spilled water, {', '.join(met[:_NAMED])}{more}: it "
                "was not sized for that water",
                "let the spilled water pass over a grassed or stone-lined dip in its lower bank, "
                "or lead the drain in a pipe below it",
            )


def _met(line: shapely.LineString, others: GeometryArray) -> list[int]:
    """Those that a line meets, in their order."""
    return np.flatnonzero(shapely.intersects(others, line)).tolist() if len(others) else []


def _named(features: gpd.GeoDataFrame, kind: str, rows: list[int]) -> str:
    """Features in words, by name or by their number in the file; "" for none."""
    names = features["name"].to_numpy()
    words = [f'{kind} "{names[i]}"' if names[i] else f"{kind} {i + 1}" for i in rows]
    more = f" and {len(words) - _NAMED} more" if len(words) > _NAMED else ""
    return ", ".join(words[:_NAMED]) + more
