"""Drains traced on the ground, gently falling, from an outlet to the nearest swale."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from soakline.diversions.catchments import window_of
from soakline.diversions.diversion import NONE, Diversion, distances_m, ground_beside
from soakline.diversions.walk import (
    CAME_ROUND,
    CUT_TOO_DEEP,
    DRAINAGE_LINE,
    FORBIDDEN,
    FREE,
    GROUND_TOO_LOW,
    NOT_WANTED,
    OFF_DEM,
    OFF_PROPERTY,
    REACHED,
    TOO_LONG,
    TOO_LOW,
    walk_at_grade,
)
from soakline.grid import BoolArray, FloatArray
from soakline.siting.catchments import burn_lines
from soakline.siting.lines import LipLine
from soakline.terrain.cells import GeometryArray, burn
from soakline.terrain.condition import Terrain
from soakline.terrain.flow import Uint8Array

DEFAULT_GRADE = 1.0 / 300.0
LONGEST_M = 1000.0
LONGEST_STEP_M = 2.0
# A traced line is drawn straighter by at most this.
STRAIGHTEN_M = 0.1

REASONS = {
    OFF_PROPERTY: "leaves the property",
    FORBIDDEN: "comes to ground that water is kept off",
    DRAINAGE_LINE: "comes to a drainage line",
    TOO_LOW: "has come down below the swale that it meets",
    NOT_WANTED: "meets another swale than the one named",
    TOO_LONG: f"meets no swale within {LONGEST_M:,.0f} m",
    CAME_ROUND: "comes round to where it began",
    CUT_TOO_DEEP: "comes to rising ground",
    GROUND_TOO_LOW: "comes to ground that falls away below it",
    OFF_DEM: "leaves the DEM",
}
"""Why a trace that reached no swale ended, to be read after "it"."""


@dataclass(frozen=True, eq=False, slots=True)
class Trace:
    """One way from an outlet along the ground.

    Parameters
    ----------
    coordinates : (n, 3) easting, northing and level, m; one place where it could not begin
    how : REACHED, or a key of `REASONS`
    target : index of the line that it met, −1 where none
    """

    coordinates: FloatArray
    how: int
    target: int

    @property
    def length_m(self) -> float:
        return float(distances_m(self.coordinates)[-1])


def drain_ways(terrain: Terrain, on_property: BoolArray, forbidden: BoolArray) -> Uint8Array:
    """Ground that drains may be traced over.

    Parameters
    ----------
    terrain : Terrain
    on_property, forbidden : (rows, columns) bool

    Returns
    -------
    (rows, columns) uint8 codes of `walk`; drainage lines are burnt 4-connected, so that no drain
    slips through between two cells
    """
    ways = np.full(forbidden.shape, FREE, np.uint8)
    ways[forbidden] = FORBIDDEN
    axes = [np.column_stack([line.easting_m, line.northing_m]) for line in terrain.drainage]
    if axes:
        ways[burn_lines(axes, terrain.grid) > 0] = DRAINAGE_LINE
    for line in terrain.drainage:
        ways.ravel()[line.beside] = DRAINAGE_LINE
    ways[~on_property] = OFF_PROPERTY
    return ways


@dataclass(frozen=True, eq=False, slots=True)
class Targets:
    """Lines that a drain may end on: the lips, then the drains that there are.

    Parameters
    ----------
    lines : (k, 3) of each, easting, northing and level, m
    reach_m : (lines,) a drain has come to a line this near to it, m
    swale : (lines,) index of the swale that takes the water
    shapes : (lines,) the same lines, in plan
    """

    lines: list[FloatArray]
    reach_m: FloatArray
    swale: FloatArray
    shapes: GeometryArray


def targets_of(
    lips: Sequence[LipLine], diversions: Sequence[Diversion], reach_m: float, cell_m: float
) -> Targets:
    """Lips and drains as ends of a drain.

    Parameters
    ----------
    lips : the swales' lips
    diversions : drains that are there already
    reach_m : how far a swale's trench reaches uphill of its lip, m; at least a cell counts
    cell_m : side of a cell, m
    """
    lines = [
        np.column_stack([lip.coordinates, np.full(len(lip.coordinates), lip.level_m)])
        for lip in lips
    ]
    lines += [diversion.coordinates for diversion in diversions]
    reach = [max(reach_m, cell_m)] * len(lips) + [cell_m] * len(diversions)
    swale = [*range(len(lips)), *(diversion.swale for diversion in diversions)]
    shapes = np.empty(len(lines), dtype=object)
    shapes[:] = [shapely.LineString(line[:, :2]) for line in lines]
    return Targets(lines, np.array(reach, dtype=float), np.array(swale, dtype=float), shapes)


def trace_both_ways(
    outlet: FloatArray,
    targets: Targets,
    wanted: int,
    ways: Uint8Array,
    obstacles: GeometryArray,
    terrain: Terrain,
    grade: float = DEFAULT_GRADE,
) -> tuple[Trace, Trace]:
    """Follow the ground from an outlet at a constant grade, to the left and to the right.

    Parameters
    ----------
    outlet : easting, northing and the level to begin at, m
    targets : Targets
    wanted : index of the only swale that may take the water; `NONE` for any
    ways : (rows, columns) uint8 of `drain_ways`
    obstacles : (n,) polygons that no drain is dug through either, such as other roofs
    terrain : Terrain
    grade : fall along the drain, m/m

    Returns
    -------
    traces with the higher ground on the left, and on the right; every level is exactly
    outlet − grade × length so far

    Raises
    ------
    ValueError
        If the grade is not positive.
    """
    if not grade > 0.0:
        raise ValueError(f"a drain's grade must be positive, not {grade}")
    cell_m = terrain.grid.cell_m
    room = LONGEST_M + 2.0 * cell_m
    part, window = window_of(terrain.grid, [*outlet[:2], *outlet[:2]], room)
    inside = np.flatnonzero(shapely.intersects(targets.shapes, shapely.box(*part.bounds)))
    lines = [targets.lines[i] for i in inside]
    together = np.vstack([np.empty((0, 3)), *lines])
    start = np.array([*part.row_column(*outlet[:2, None]), outlet[2:]])[:, 0]
    step_m = min(cell_m, LONGEST_STEP_M)
    passable = ways[window].copy()
    passable[burn(obstacles, part) & (passable == FREE)] = FORBIDDEN
    widths = targets.reach_m[inside] + cell_m
    arguments = (
        terrain.ground_m[window].copy(),
        passable,
        burn(shapely.buffer(targets.shapes[inside], widths), part, all_touched=True),
        np.column_stack([*part.row_column(together[:, 0], together[:, 1]), together[:, 2]]),
        np.cumsum([0, *(len(line) for line in lines)]),
        targets.reach_m[inside] / cell_m,
        (targets.swale[inside] == wanted) | (wanted == NONE),
        start,
        grade * cell_m,
    )
    traces = []
    for side in (1.0, -1.0):
        places, how, met = walk_at_grade(*arguments, side, step_m / cell_m, LONGEST_M / cell_m)
        easting, northing = part.easting_northing(places[:, 0], places[:, 1])
        level = outlet[2] - grade * step_m * np.arange(len(places))
        target = int(inside[met]) if met != NONE else NONE
        traces.append(Trace(np.column_stack([easting, northing, level]), how, target))
    return traces[0], traces[1]


def shortest_of(traces: Sequence[Trace]) -> Trace | None:
    """The shortest trace that came to a swale; of two alike the first."""
    reached = [trace for trace in traces if trace.how == REACHED]
    return min(reached, key=lambda trace: trace.length_m, default=None)


def as_diversion(
    trace: Trace, name: str, targets: Targets, swales: int, grade: float, terrain: Terrain
) -> Diversion:
    """A trace as it is drawn: straightened by under 0.1 m, its levels exactly on grade.

    Parameters
    ----------
    trace : one that reached its target
    name : of the hard surface
    targets : Targets that it was traced with
    swales : how many of them are swales
    grade : fall along the drain, m/m
    terrain : Terrain
    """
    raw = shapely.LineString(trace.coordinates[:, :2])
    places = shapely.get_coordinates(raw.simplify(STRAIGHTEN_M, preserve_topology=False))
    level = trace.coordinates[0, 2] - grade * distances_m(places)
    coordinates = np.column_stack([places, level])
    low, high = ground_beside(coordinates, terrain.ground_m, terrain.grid)
    return Diversion(
        name=name,
        source="traced",
        coordinates=coordinates,
        swale=int(targets.swale[trace.target]),
        into=trace.target - swales if trace.target >= swales else NONE,
        ground_min_m=low,
        ground_max_m=high,
    )
