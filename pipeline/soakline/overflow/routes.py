"""Overflow routes as they are drawn and judged: line, fall, velocity, what the cover bears."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from soakline.grid import FloatArray
from soakline.overflow.drawing import drawn_lines, stations_every
from soakline.overflow.hydraulics import way_maxima
from soakline.overflow.ranking import SillRules, Ways
from soakline.overflow.sills import Outlets, Sill
from soakline.overflow.velocity import SoilResistance, permissible_ms
from soakline.section.stations import IntArray, starts_of
from soakline.siting.ends import End
from soakline.siting.exits import REACH_M
from soakline.terrain.cells import GeometryArray
from soakline.terrain.paths import path_down


@dataclass(frozen=True, eq=False, slots=True)
class EndShapes:
    """Geometry of every kind of end, on which routes finish.

    Parameters
    ----------
    swales, drainage_lines, dams, hollows, safe_points : by index of their kind
    area : the property
    """

    swales: GeometryArray
    drainage_lines: GeometryArray
    dams: GeometryArray
    hollows: dict[int, BaseGeometry]
    safe_points: GeometryArray
    area: BaseGeometry
    _known: dict[End, BaseGeometry] = field(default_factory=dict)

    def of(self, end: End) -> BaseGeometry:
        """Line, point or rim that a route to this end finishes on."""
        if end not in self._known:
            self._known[end] = self._rim(end)
        return self._known[end]

    def _rim(self, end: End) -> BaseGeometry:
        if end.kind == "property_edge":
            return self.area.boundary
        by_kind: dict[str, GeometryArray | dict[int, BaseGeometry]] = {
            "swale": self.swales,
            "drainage_line": self.drainage_lines,
            "dam": self.dams,
            "hollow": self.hollows,
            "safe_point": self.safe_points,
        }
        shape: BaseGeometry = by_kind[end.kind][end.index]
        return shape.boundary if shapely.area(shape) > 0 else shape


@dataclass(frozen=True, eq=False, slots=True)
class Route:
    """The way from one sill to its end.

    Parameters
    ----------
    swale : index of the swale that spills
    sill : Sill
    end : where it arrives
    end_cell : flat index of the last cell
    coordinates : (n, 3) easting, northing and a height that never rises, m
    spill_m3s : peak over its own sill
    peak_m3s : greatest flow on the way, routes that join it included
    velocity_ms, max_slope_pct : greatest over reaches of 5 m
    permissible_ms : what the cover bears on the steepest reach; 0 where the ground is steeper than
        the table goes
    lining : `grass` where the cover holds, else `lining needed`
    """

    swale: int
    sill: Sill
    end: End
    end_cell: int
    coordinates: FloatArray
    spill_m3s: float
    peak_m3s: float
    velocity_ms: float
    max_slope_pct: float
    permissible_ms: float
    lining: str

    @property
    def length_m(self) -> float:
        return float(np.hypot(*np.diff(self.coordinates[:, :2], axis=0).T).sum())

    @property
    def drop_m(self) -> float:
        return float(self.coordinates[0, 2] - self.coordinates[-1, 2])


def in_plan(routes: Sequence[Route]) -> GeometryArray:
    """Routes as lines without height, (routes,)."""
    place = np.concatenate([np.empty((0, 2)), *(route.coordinates[:, :2] for route in routes)])
    of = np.repeat(np.arange(len(routes)), [len(route.coordinates) for route in routes])
    return np.asarray(shapely.linestrings(place, indices=of), dtype=np.object_)


def _judged(
    velocity_ms: float, max_slope_pct: float, cover: str, soil: SoilResistance
) -> tuple[float, str]:
    """Permissible velocity on the steepest reach, 0 where the table does not go so far; lining."""
    allowed = permissible_ms(cover, soil, max_slope_pct) or 0.0
    return allowed, "grass" if velocity_ms <= allowed else "lining needed"


def draw_routes(
    outlets: Outlets,
    peak_m3s: FloatArray,
    ways: Ways,
    sill_level_m: FloatArray,
    shapes: EndShapes,
    rules: SillRules,
    cover: str,
    soil: SoilResistance,
) -> list[Route]:
    """Every route of the chain, drawn downhill and judged at the peaks that it carries.

    Parameters
    ----------
    outlets : Outlets
    peak_m3s : (swales,) that each spills over all its sills
    ways : Ways
    sill_level_m : (swales,) m
    shapes : EndShapes
    rules : SillRules
    cover, soil : rows of the table of permissible velocities

    Returns
    -------
    routes by swale, then along the lip

    Notes
    -----
    Where two routes meet their peaks add from there on.
    """
    stop = ways.end_map.goal != 0
    sills = [sill for own in outlets.sills for sill in sorted(own, key=lambda s: s.start_m)]
    paths = [path_down(ways.direction, sill.way.start_cell, stop) for sill in sills]
    if not paths:
        return []
    ends = [
        ways.end_map.ends[sill.way.goal - 1] if sill.way.goal > 0 else End("property_edge", 0)
        for sill in sills
    ]
    swale = np.array([sill.way.swale for sill in sills])
    lines = drawn_lines(
        sills,
        paths,
        sill_level_m[swale],
        np.array([shapes.of(end) for end in ends], dtype=np.object_),
        shapes.swales,
        ways,
    )
    first_point = starts_of(np.array([len(line) for line in lines]))
    points, first = stations_every(np.concatenate(lines)[:, :2].copy(), first_point, REACH_M)
    spilled = np.array([sill.share for sill in sills]) * peak_m3s[swale]
    flow, first_reach = _flows(paths, spilled, first)
    steepest, fastest = way_maxima(
        first,
        *ways.grid.row_column(points[:, 0], points[:, 1]),
        ways.ground_m,
        ways.grid.cell_m,
        flow,
        np.array([sill.length_m for sill in sills]),
        rules.manning_n,
    )
    carried = np.maximum.reduceat(flow, first_reach)
    routes = []
    for i, sill in enumerate(sills):
        steepest_pct, velocity = float(100.0 * steepest[i]), float(fastest[i])
        permissible, lining = _judged(velocity, steepest_pct, cover, soil)
        routes.append(
            Route(
                swale=sill.way.swale,
                sill=sill,
                end=ends[i],
                end_cell=int(paths[i][-1]),
                coordinates=lines[i],
                spill_m3s=float(spilled[i]),
                peak_m3s=float(carried[i]),
                velocity_ms=velocity,
                max_slope_pct=steepest_pct,
                permissible_ms=permissible,
                lining=lining,
            )
        )
    return routes


def _flows(
    paths: list[IntArray], spilled_m3s: FloatArray, first: IntArray
) -> tuple[FloatArray, IntArray]:
    """Flow in each reach of every route, m³/s, and the place of each route's first reach.

    A reach carries what the path's cell at the same share of the way does.
    """
    sizes = np.array([path.size for path in paths])
    cells, cell = np.unique(np.concatenate(paths), return_inverse=True)
    carried = np.bincount(cell, weights=np.repeat(spilled_m3s, sizes), minlength=cells.size)
    reaches = np.diff(first) - 1
    first_reach = starts_of(reaches)[:-1]
    number = np.arange(reaches.sum()) - np.repeat(first_reach, reaches) + 1
    at = np.rint(number * np.repeat((sizes - 1) / reaches, reaches)).astype(np.int64)
    return carried[cell[np.repeat(starts_of(sizes)[:-1], reaches) + at]], first_reach
