"""Drains that the owner has drawn: checked on the ground, and followed to the swale they feed."""

from collections.abc import Sequence

import numpy as np
import shapely

from soakline.diversions.catchments import burn_all
from soakline.diversions.course import (
    NEAR_CELLS,
    Course,
    caution,
    courses_of,
    drain_joined,
    runs_uphill,
    swale_met,
)
from soakline.diversions.diversion import NONE, Diversion, ground_beside
from soakline.diversions.receivers import receivers_of
from soakline.findings import Finding
from soakline.grid import FloatArray
from soakline.siting.catchments import Catchments
from soakline.siting.lines import LipLine
from soakline.terrain.cells import GeometryArray, cells_of
from soakline.terrain.condition import Terrain
from soakline.terrain.paths import CellArray

# Ground that rises further over a lower place before it has to be cut through: worth a look.
UNEVEN_M = 0.3


def given_diversions(
    shapes: GeometryArray,
    names: Sequence[str],
    lines: Sequence[LipLine],
    lips: Catchments,
    terrain: Terrain,
) -> tuple[tuple[Diversion, ...], tuple[Finding, ...]]:
    """Drawn drains that lead to a swale, cut where they meet it.

    Parameters
    ----------
    shapes : (n,) lines, drawn downhill, or None; each part of a broken one is a drain of its own
    names : (n,)
    lines : the lips
    lips : Catchments of the lips
    terrain : Terrain

    Returns
    -------
    the drains in the order of their features, and what was found

    Notes
    -----
    A drain comes to the first lip that it crosses or ends by; else to the drain that it ends on;
    else its water runs over the ground to the first lip or drain on its way. Drawn lines that
    cross pass each other.
    """
    grid = terrain.grid
    drawn, findings = courses_of(shapes, names, terrain)
    courses, direct = _cut_at_swales(drawn, lines, grid.cell_m, findings)
    if not courses:
        return (), tuple(findings)
    ends = np.array([shapely.get_coordinates(course.end)[0] for course in courses])
    label, way = receivers_of(
        direct,
        np.array([drain_joined(k, courses, grid.cell_m) for k in range(len(courses))]),
        cells_of(grid, ends[:, 0], ends[:, 1]),
        np.hypot(*(ends[:, None] - ends).T) <= NEAR_CELLS * grid.cell_m,
        burn_all(lips.burnt, len(lines), [course.coordinates() for course in courses], grid),
        terrain.flow.direction,
        len(lines),
    )
    diversions = _counted(courses, label, len(lines), terrain)
    findings += [_missed(courses[k].name) for k in np.flatnonzero(label == 0).tolist()]
    kept = np.flatnonzero(label > 0).tolist()
    for k, diversion in zip(kept, diversions, strict=True):
        findings += _told(courses[k], lines[diversion.swale].swale_id, float(way[k]) * grid.cell_m)
    return diversions, tuple(findings)


def _cut_at_swales(
    drawn: Sequence[Course], lines: Sequence[LipLine], cell_m: float, findings: list[Finding]
) -> tuple[list[Course], CellArray]:
    """Lines cut where they meet a swale, and its index; findings on others are added."""
    lips = shapely.STRtree([shapely.LineString(line.coordinates) for line in lines])
    courses, direct = [], []
    for course in drawn:
        swale, along_m = swale_met(course, lips, lines, cell_m)
        kept = course if swale == NONE else course.cut_at(along_m)
        if kept.level_m[0] > kept.level_m[-1]:
            courses.append(kept)
            direct.append(swale)
        else:
            ground = kept.ground_m[[0, -1]]
            findings.append(runs_uphill(course.name, float(ground[0]), float(ground[1])))
    return courses, np.array(direct, dtype=np.int64)


def _counted(
    courses: Sequence[Course], label: CellArray, swales: int, terrain: Terrain
) -> tuple[Diversion, ...]:
    """Drains that come to a swale, counted anew."""
    number = np.cumsum(label > 0) - 1
    diversions = []
    for k in np.flatnonzero(label > 0).tolist():
        last = k
        while label[last] > swales:
            last = int(label[last]) - swales - 1
        into = int(label[k]) - swales - 1
        coordinates: FloatArray = courses[k].coordinates()
        low, high = ground_beside(coordinates, terrain.ground_m, terrain.grid)
        diversions.append(
            Diversion(
                name=courses[k].name,
                source="given",
                coordinates=coordinates,
                swale=int(label[last]) - 1,
                into=int(number[into]) if into >= 0 else NONE,
                ground_min_m=low,
                ground_max_m=high,
            )
        )
    return tuple(diversions)


def _missed(name: str) -> Finding:
    message = "leads to no swale, and neither does the ground below it. It was left out."
    advice = "End it on the swale that is to take its water."
    return caution("diversion_misses", name, message, advice)


def _told(course: Course, swale: str, way_m: float) -> list[Finding]:
    """What there is to say on a drain that is kept."""
    found = []
    rise = course.ground_m - course.level_m
    highest = int(np.nanargmax(rise))
    if rise[highest] > UNEVEN_M:
        message = (
            f"is crossed by ground {rise[highest]:.2f} m above a lower place before it, "
            f"{course.along_m[highest]:.0f} m from its upper end; up to {UNEVEN_M:g} m is usual."
        )
        advice = "Move the line there along the level of the ground, or cut through the rise."
        found.append(caution("diversion_uneven", course.name, message, advice))
    if way_m > 0.0:
        found.append(
            Finding(
                "diversion_ends_short",
                "note",
                "diversions",
                course.name,
                f"Diversion {course.name} ends above swale {swale}: its water runs "
                f"{way_m:.0f} m over the ground from there.",
                "Draw it on to the swale, or spread and protect its outlet.",
            )
        )
    return found
