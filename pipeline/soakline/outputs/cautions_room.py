"""Findings on what the sections want of the land and do not find: spacing, depth of soil."""

from collections.abc import Iterator

import numpy as np
import shapely

from soakline.findings import Finding
from soakline.outputs.designed import Designed
from soakline.siting.band import AIM_M
from soakline.siting.excluded import ROCK_ROOM_M, WATER_ROOM_M
from soakline.siting.stations import OPEN

# Less of the allowed ground than this is not worth a word.
_SHOWN_SHARE = 0.01


def room_findings(plan: Designed) -> Iterator[Finding]:
    """What keeps swales of this plan's sections from lying where they were wanted."""
    yield from _on_spacing(plan)
    yield from _on_depth(plan)


def _on_spacing(plan: Designed) -> Iterator[Finding]:
    """Ground so steep that the works of two neighbours would meet, or lines asked for too close."""
    reach = plan.design.reach(AIM_M)
    across_m = reach.uphill_m + reach.downhill_m
    interval = _interval_m(plan)
    meets = 100.0 * interval < across_m * reach.slope_pct
    first = int(np.argmax(meets))
    slope = float(reach.slope_pct[first])
    # No allowed ground is steeper than the limit.
    if meets.any() and slope < plan.run.siting.max_slope_pct:
        allowed = plan.site.siteable.state == OPEN
        share = float(np.mean(plan.terrain.slope_pct[allowed] > slope)) if allowed.any() else 0.0
        if share >= _SHOWN_SHARE:
            yield _too_wide(
                f"trench and mound of the largest section are {across_m[first]:.1f} m across on "
                f"ground of {slope:.1f} %, as far as levels {interval:.3g} m apart lie from each "
                f"other there; {100 * share:.0f} % of the allowed ground is steeper",
                "a larger vertical interval (spacing.mature_tree_height_m), or a narrower section",
            )
    most = plan.run.spacing.max_spacing_m
    if 0.0 < most / 2.0 < across_m[0]:
        yield _too_wide(
            f"spacing.max_spacing_m of {most:g} m lays levels {most / 2.0:g} m apart and more, "
            f"where trench and mound of the largest section are {across_m[0]:.1f} m across",
            f"a spacing.max_spacing_m of {2.0 * across_m[0]:.0f} m or more, or a narrower section",
        )


def _too_wide(message: str, advice: str) -> Finding:
    message += ". Where works would meet, the shorter line gives way: swales are cut or left out"
    return Finding("section_wider_than_spacing", "caution", "swales", "", message, advice)


def _interval_m(plan: Designed) -> float:
    """Least vertical interval of a part of the land, intermediate levels aside, m."""
    by_part: dict[int, float] = {}
    for line in plan.placed.lines:
        by_part[line.group] = max(line.interval_m, by_part.get(line.group, 0.0))
    return min(by_part.values(), default=plan.run.spacing.mature_tree_height_m)


def _on_depth(plan: Designed) -> Iterator[Finding]:
    """Soils that are too thin, or too wet, for the deepest section that a swale may have."""
    soils, deepest = plan.inputs.features.soils, plan.design.deepest_m
    for column, what, room in (
        ("rock_m", "rock", ROCK_ROOM_M),
        ("watertable_m", "the water table", WATER_ROOM_M),
    ):
        depth = soils[column].to_numpy(dtype=float, na_value=np.nan)
        shut = depth < deepest + room
        if not shut.any():
            continue
        shapes = np.asarray(soils.geometry.array, dtype=object)[shut]
        own = shapely.intersection(shapely.union_all(shapes), plan.inputs.property.area)
        if shapely.is_empty(own):
            continue
        met = depth[shut][shapely.intersects(shapes, plan.inputs.property.area)]
        bears = max(float(met.min()) - room, 0.0)
        yield Finding(
            "soil_too_shallow",
            "note",
            "excluded_ground",
            "",
            f"on {shapely.area(own) / 1e4:.2f} ha of the property {what} lies less than "
            f"{deepest + room:.2f} m down: the deepest that is dug, {deepest:.2f} m, and {room:g} "
            "m of soil below it. No swale lies there",
            f"a depth of {bears:.2f} m would do everywhere (section.depth_m); test the soil in "
            "pits on site",
        )
