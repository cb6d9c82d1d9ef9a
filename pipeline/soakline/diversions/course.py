"""A drawn line as water runs along it: whether it leads down, and which swale it comes to."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from soakline.diversions.diversion import NONE, dense, distances_m
from soakline.findings import Finding
from soakline.grid import FloatArray
from soakline.siting.lines import LipLine, part_of
from soakline.terrain.cells import GeometryArray
from soakline.terrain.condition import Terrain
from soakline.terrain.ground import sample

# A drawn line is taken to end on what it ends this near to.
NEAR_CELLS = 2.0
# Lips and drains are drawn on ground that is level with them to about this.
LEVEL_M = 0.1
# A drawn drain's levels are straightened by at most this.
_PROFILE_M = 0.02

_DRAW = "Draw diversions downhill, from where water is caught to the swale that it is meant for."


@dataclass(frozen=True, eq=False, slots=True)
class Course:
    """A drawn line as water runs along it.

    Parameters
    ----------
    name : of the feature
    line : LineString
    along_m, ground_m, level_m : (k,) places along it, the ground there, and the level that water
        has come down to, m
    """

    name: str
    line: shapely.LineString
    along_m: FloatArray
    ground_m: FloatArray
    level_m: FloatArray

    @property
    def end(self) -> shapely.Point:
        return shapely.get_point(self.line, -1)

    def level_at(self, along_m: float) -> float:
        """Level of the water at a distance along the line, m."""
        return float(np.interp(along_m, self.along_m, self.level_m))

    def cut_at(self, along_m: float) -> "Course":
        """The part above a place on it."""
        line = shapely.LineString(part_of(shapely.get_coordinates(self.line), 0.0, along_m))
        kept = self.along_m < along_m
        ground = np.interp(along_m, self.along_m, self.ground_m)
        return Course(
            self.name,
            line,
            np.append(self.along_m[kept], along_m),
            np.append(self.ground_m[kept], ground),
            np.append(self.level_m[kept], self.level_at(along_m)),
        )

    def coordinates(self) -> FloatArray:
        """(n, 3): the line with the water's level, vertices added where its fall changes."""
        places = shapely.get_coordinates(self.line)
        drawn_at = distances_m(places)
        profile = shapely.LineString(np.column_stack([self.along_m, self.level_m]))
        breaks = shapely.get_coordinates(profile.simplify(_PROFILE_M, preserve_topology=False))
        at = np.union1d(drawn_at, breaks[:, 0])
        along = [np.interp(at, drawn_at, axis) for axis in places.T]
        return np.column_stack([*along, np.interp(at, self.along_m, self.level_m)])


def course_of(name: str, line: shapely.LineString, terrain: Terrain) -> Course:
    """A line with the ground along it; water never rises, so its level is the lowest so far."""
    along, places = dense(shapely.get_coordinates(line), terrain.grid.cell_m / 2.0)
    ground = sample(terrain.ground_m, terrain.grid, places[:, 0], places[:, 1])
    return Course(name, line, along, ground, np.fmin.accumulate(ground))


def caution(code: str, name: str, message: str, advice: str) -> Finding:
    """A caution on a given diversion."""
    return Finding(code, "caution", "diversions", name, f"Diversion {name} {message}", advice)


def runs_uphill(name: str, upper_m: float, lower_m: float) -> Finding:
    """Caution on a line that does not lead down."""
    return Finding(
        "diversion_uphill",
        "caution",
        "diversions",
        name,
        f"Diversion {name} runs uphill: it begins at {upper_m:.2f} m and comes to {lower_m:.2f} m, "
        "where it has to come lower. It was left out.",
        _DRAW,
    )


def courses_of(
    shapes: GeometryArray, names: Sequence[str], terrain: Terrain
) -> tuple[list[Course], list[Finding]]:
    """Lines that have a length, lie on the DEM and lead downhill; and findings on the others.

    Parameters
    ----------
    shapes : (n,) lines or None; each part of a broken one is a line of its own
    names : (n,)
    terrain : Terrain
    """
    courses: list[Course] = []
    findings: list[Finding] = []
    for name, shape in zip(names, shapes, strict=True):
        whole = () if shape is None else tuple(shapely.get_parts(shapely.line_merge(shape)))
        parts = [part for part in whole if shapely.length(part) > terrain.grid.cell_m / 10.0]
        if not parts:
            message = "has no length and was left out; a line of two places or more is allowed."
            findings.append(caution("feature_without_geometry", name, message, _DRAW))
        for part in parts:
            course = course_of(name, part, terrain)
            upper, lower = (float(course.ground_m[at]) for at in (0, -1))
            if np.isnan(upper) or np.isnan(lower):
                message = "begins or ends off the DEM's valid cells and was left out."
                advice = "Draw it on ground that the DEM shows."
                findings.append(caution("feature_off_dem", name, message, advice))
            elif upper <= lower:
                findings.append(runs_uphill(name, upper, lower))
            else:
                courses.append(course)
    return courses, findings


def swale_met(
    course: Course, lips: shapely.STRtree, lines: Sequence[LipLine], cell_m: float
) -> tuple[int, float]:
    """Swale that a line meets first and the distance along it, m; `NONE` where it meets none.

    Parameters
    ----------
    course : Course
    lips : tree of the lips
    lines : the lips
    cell_m : side of a cell, m

    Notes
    -----
    A lip counts where the water has not come down below its level: a line that passes under a
    swale, or reaches its lip from below, would drain it.
    """
    length = float(course.along_m[-1])
    found: list[tuple[float, float, int]] = []
    for i in lips.query(course.line, predicate="intersects"):
        crossing = shapely.intersection(course.line, lips.geometries[i])
        places = shapely.points(shapely.get_coordinates(crossing))
        along = np.atleast_1d(shapely.line_locate_point(course.line, places))
        found += [(float(at), 0.0, int(i)) for at in along if at > cell_m]
    for i in lips.query(course.end, predicate="dwithin", distance=NEAR_CELLS * cell_m):
        found.append((length, float(shapely.distance(course.end, lips.geometries[i])), int(i)))
    for at, _, i in sorted(found):
        if course.level_at(at) >= lines[i].level_m - LEVEL_M:
            return i, at
    return NONE, length


def drain_joined(own: int, courses: Sequence[Course], cell_m: float) -> int:
    """Drain that a line ends on, the water no higher there than at its end; `NONE` if on none."""
    end, level = courses[own].end, courses[own].level_m[-1]
    for k, other in enumerate(courses):
        near = shapely.distance(end, other.line) <= NEAR_CELLS * cell_m
        at = float(shapely.line_locate_point(other.line, end))
        if k != own and near and other.level_at(at) <= level + LEVEL_M:
            return k
    return NONE
