"""Findings on swales that are given, and on lips that were measured after digging."""

from collections.abc import Iterator

import numpy as np
import shapely

from soakline.findings import Finding, Severity
from soakline.outputs.designed import Designed
from soakline.section.stations import IntArray
from soakline.siting.excluded import LIP_REASONS
from soakline.siting.lines import END_GAP_M, LipLine, evenly
from soakline.siting.stations import MOST_BRIDGED, quads, stations_along
from soakline.terrain.cells import GeometryArray, cells_of
from soakline.terrain.ground import sample

_SAMPLE_M = 1.0
# The contract of every lip: low spots down to this are made up when it is trimmed.
_LOWEST_M = -0.03
# What holds water this far over the ground is a dam.
_DAM_M = 0.5
# Less than this is a rounding of levels, m, or of stations that lie elsewhere, m².
_ROUNDING_M, _ROUNDING_M2 = 0.005, 1.0
# Where a swale on such ground can harm people at once.
_DANGER = ("building", "septic", "well", "landslip")
_NAMED = 6


def given_findings(plan: Designed) -> Iterator[Finding]:
    """What is to be said of each given swale, of those that meet, and of measured lips."""
    given = [i for i, line in enumerate(plan.placed.lines) if line.given]
    if given:
        works = _works(plan)
        excluded = shapely.STRtree(plan.site.excluded.polygons)
        drawn = plan.inputs.features.watercourses.geometry.to_numpy()
        water = shapely.STRtree(np.concatenate([plan.terrain.drainage_line, drawn]))
        for i in given:
            line = plan.placed.lines[i]
            yield from _on_level(plan, line)
            yield from _on_excluded(plan, line, _with_room(plan, line, works[i]), excluded)
            yield from _on_watercourses(plan, line, water)
            yield from _on_catchment(plan, i)
        yield from _on_meeting(plan, np.array(given), works)
        yield from _on_quantities(plan)
    yield from _on_survey(plan)


def _of(line: LipLine, code: str, severity: Severity, message: str, advice: str) -> Finding:
    return Finding(code, severity, "swales", line.swale_id, message, advice)


def _works(plan: Designed) -> GeometryArray:
    """Whole footprint of each swale."""
    parts = plan.works.footprint.parts
    return np.asarray(shapely.union_all(parts, axis=0), dtype=np.object_)


def _with_room(plan: Designed, line: LipLine, works: shapely.Geometry) -> shapely.Geometry:
    """Footprint with the ground that its mound takes: as drawn it is kept off excluded ground."""
    stations = stations_along(line.coordinates)
    _, downhill = plan.site.siteable.reach_at(stations.easting_m, stations.northing_m)
    strips = shapely.make_valid(quads(stations, np.zeros_like(downhill), downhill))
    return shapely.union_all([works, *strips])


def _on_level(plan: Designed, line: LipLine) -> Iterator[Finding]:
    places = evenly(line.coordinates, _SAMPLE_M)
    ground = sample(plan.terrain.ground_m, plan.terrain.grid, places[:, 0], places[:, 1])
    above = ground - line.level_m
    highest_m = plan.run.siting.ground_tolerance_m
    off = (above < _LOWEST_M - _ROUNDING_M) | (above > highest_m + _ROUNDING_M)
    if not off.any():
        return
    step_m = line.length_m / (len(places) - 1)
    low, high = int(np.nanargmin(above)), int(np.nanargmax(above))
    advice = (
        "measure the lip with an instrument and give its levels (earthworks.as_built)"
        if line.state == "built"
        else "move the line to its level, or leave level_m empty: it then has that of the lowest "
        "ground along it"
    )
    spill = above[low] < _LOWEST_M
    yield _of(
        line,
        "given_swale_off_level",
        "stop" if above[low] < -_DAM_M else "caution",
        f"about {np.mean(off) * line.length_m:.0f} of {line.length_m:.0f} m lie on ground off "
        f"its level of {line.level_m:.2f} m: from {above[low]:+.2f} m at chainage "
        f"{low * step_m:.0f} m to {above[high]:+.2f} m at {high * step_m:.0f} m, where "
        f"{_LOWEST_M:g} to +{highest_m:g} m is borne; its level is kept"
        + ("; water would leave over the low ground first" if spill else "")
        + ("; made up to its level it would be a dam" if above[low] < -_DAM_M else ""),
        f"{advice}; never fill up low ground with loose spoil to hold water",
    )


def _on_excluded(
    plan: Designed, line: LipLine, works: shapely.Geometry, excluded: shapely.STRtree
) -> Iterator[Finding]:
    ground = plan.site.excluded
    by_reason: dict[str, list[shapely.Geometry]] = {}
    for k in np.sort(excluded.query(works, predicate="intersects")).tolist():
        by_reason.setdefault(ground.polygon_reason[k], []).append(ground.polygons[k])
    taken = {
        reason: float(shapely.area(shapely.intersection(works, shapely.union_all(own))))
        for reason, own in by_reason.items()
    }
    taken["boundary"] = float(shapely.area(shapely.difference(works, ground.inner)))
    told = [
        f"{area:.0f} m² of {reason}" for reason, area in taken.items() if area > _ROUNDING_M2
    ] + _under_lip(plan, line)
    if not told:
        return
    outside = float(shapely.area(shapely.difference(works, plan.inputs.property.area)))
    beyond = outside > _ROUNDING_M2
    # Who digs is in danger where services lie; what is dug has missed them.
    dangers = _DANGER if line.state == "built" else (*_DANGER, "service")
    danger = [reason for reason in dangers if taken.get(reason, 0.0) > _ROUNDING_M2]
    edge = f"; {outside:.0f} m² of them lie beyond the property's edge" if beyond else ""
    have = "have it judged there by a licensed engineer" if danger else "weigh it on site"
    yield _of(
        line,
        "given_swale_on_excluded_ground",
        "stop" if danger or beyond else "caution",
        f"its ground works take excluded ground: {', '.join(told)}{edge}",
        f"move the line off it, or {have}; local codes and neighbours' rights come first",
    )


def _under_lip(plan: Designed, line: LipLine) -> list[str]:
    """Length of lip on ground that excludes the lip alone; short steep gaps are borne."""
    places = evenly(line.coordinates, _SAMPLE_M)
    cell = cells_of(plan.terrain.grid, places[:, 0], places[:, 1])
    ground, keys = plan.site.excluded, plan.run.siting
    bridged = plan.terrain.slope_pct.ravel()[cell] <= MOST_BRIDGED * keys.max_slope_pct
    found = []
    for reason, mask in zip(LIP_REASONS, (ground.too_steep, ground.wet), strict=True):
        under = mask.ravel()[cell]
        length = float(np.count_nonzero(under)) / len(places) * line.length_m
        borne = reason == "too_steep" and bridged[under].all() and length <= keys.gap_limit_m
        if length > 0.0 and not borne:
            found.append(f"{length:.0f} m of lip on {reason}")
    return found


def _on_watercourses(plan: Designed, line: LipLine, water: shapely.STRtree) -> Iterator[Finding]:
    lip = shapely.linestrings(line.coordinates)
    for k in np.sort(water.query(lip, predicate="intersects")).tolist():
        met = shapely.get_coordinates(shapely.intersection(lip, water.geometries[k]))
        at = float(shapely.line_locate_point(lip, shapely.points(met)).min())
        what = "drainage line" if k < plan.terrain.drainage_line.size else "watercourse"
        yield _of(
            line,
            "given_swale_across_drainage_line",
            "stop",
            f"it lies across a {what} at chainage {at:.0f} m: there it is a dam, which floods go "
            "over, and neither its mound nor its sill is made for them",
            "leave a gap of 10 m to either side of the line, or have a dam with its spillway "
            "designed by a licensed engineer; works on watercourses need permits",
        )


def _on_catchment(plan: Designed, i: int) -> Iterator[Finding]:
    area, least = float(plan.catchments.area_m2[i]), plan.run.siting.min_catchment_m2
    if area < least:
        yield _of(
            plan.placed.lines[i],
            "given_swale_little_catchment",
            "note",
            f"{area:.0f} m² drain to it, under the {least:g} m² of siting.min_catchment_m2",
            "lead water to it by a diversion, or leave it out",
        )


def _on_meeting(plan: Designed, which: IntArray, works: GeometryArray) -> Iterator[Finding]:
    """Pairs of given swales whose works meet, or whose lips come too near; told at the lower."""
    lines = plan.placed.lines
    lips = np.array([shapely.linestrings(lines[i].coordinates) for i in which], dtype=object)
    meets = shapely.STRtree(works[which]).query(works[which], predicate="intersects").T
    near = shapely.STRtree(lips).query(lips, predicate="dwithin", distance=END_GAP_M - 0.5).T
    pairs = np.unique(np.vstack([meets, near]), axis=0)
    for first, second in pairs[pairs[:, 0] < pairs[:, 1]].tolist():
        one, other = lines[which[first]], lines[which[second]]
        apart = float(shapely.distance(lips[first], lips[second]))
        shared = shapely.area(shapely.intersection(works[which[first]], works[which[second]]))
        cross = bool(shapely.crosses(lips[first], lips[second]))
        how = (
            "their lips cross"
            if cross
            else f"their lips are {apart:.1f} m apart, their ground works share {shared:.0f} m²"
        )
        yield _of(
            other,
            "given_swales_meet",
            "stop" if cross else "caution",
            f"it meets {one.swale_id} ({one.level_m:.2f} m): {how}",
            "keep 5 m between the ends of lips and 1 m between ground works: shorten or move one, "
            "or draw both as one line of one level",
        )


def _on_quantities(plan: Designed) -> Iterator[Finding]:
    built = np.array([line.state == "built" for line in plan.placed.lines], dtype=bool)
    if not built.any():
        return
    cut = float(plan.works.volumes.cut_m3[built].sum())
    yield Finding(
        "built_not_counted",
        "note",
        "quantities",
        "",
        f"{np.count_nonzero(built)} of {built.size} swales are built: nothing of them but the "
        f"water that they hold is in quantities, hours and costs (they took about {cut:.0f} m³ of "
        "cut)",
        "count repairs of built swales by hand",
    )


def _on_survey(plan: Designed) -> Iterator[Finding]:
    figures = plan.figures
    low = figures.lip_low_m <= figures.sill_level_m + 1e-9
    low &= figures.capacity_lost_m3 > 0.0
    for i in np.flatnonzero(low).tolist():
        lost, held = float(figures.capacity_lost_m3[i]), float(figures.capacity_m3[i])
        yield _of(
            plan.placed.lines[i],
            "as_built_low",
            "caution",
            f"the lip lies lowest at chainage {figures.first_spill_m[i]:.1f} m, "
            f"{figures.lip_low_m[i]:.2f} m, {figures.level_m[i] - figures.lip_low_m[i]:.2f} m "
            f"under its level of {figures.level_m[i]:.2f} m: water spills there first, and of "
            f"{held + lost:.0f} m³ {lost:.0f} m³ are lost",
            "make the low place up with soil compacted in layers and measure again, or build the "
            "sill there, level and protected, with the way down from it as drawn; never heap loose "
            "spoil against water",
        )
    holds = ~np.isnan(figures.lip_low_m) & ~low
    if holds.any():
        ids = [plan.placed.lines[i].swale_id for i in np.flatnonzero(holds).tolist()]
        more = f" and {len(ids) - _NAMED} more" if len(ids) > _NAMED else ""
        yield Finding(
            "as_built_holds",
            "note",
            "swales",
            "",
            f"where they were measured, lips are nowhere lower than their sills: "
            f"{', '.join(ids[:_NAMED])}{more}",
            "places between those that were measured may be lower; measure every 5 m and at every "
            "dip",
        )
