"""Overflow routes as they are drawn and judged: line, fall, velocity, what the cover bears."""

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry.base import BaseGeometry

from soakline.grid import FloatArray
from soakline.overflow.hydraulics import reach_velocities
from soakline.overflow.ranking import SillRules, Ways
from soakline.overflow.sills import Outlets, Sill
from soakline.overflow.velocity import SoilResistance, permissible_ms
from soakline.siting.ends import End
from soakline.siting.exits import REACH_M
from soakline.terrain.cells import GeometryArray
from soakline.terrain.ground import sample
from soakline.terrain.paths import path_down

# A way along cell centres is drawn straighter by at most this many cells.
_STRAIGHTEN_CELLS = 0.75


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


def _drawn(
    sill: Sill,
    cells: npt.NDArray[np.int64],
    sill_level_m: float,
    end_shape: BaseGeometry,
    ways: Ways,
) -> FloatArray:
    """Line from the sill along the cells to the end, heights from the ground, never rising."""
    grid = ways.grid
    line = ways.lines[sill.way.swale]
    lip = shapely.linestrings(line.coordinates)
    start = shapely.get_coordinates(shapely.line_interpolate_point(lip, sill.way.along_m))[0]
    row, column = np.divmod(cells, grid.columns)
    centres = np.column_stack(grid.easting_northing(row.astype(float), column.astype(float)))
    last = shapely.get_coordinates(shapely.shortest_line(end_shape, shapely.points(centres[-1])))[0]
    points = (
        np.vstack([start, centres[:-1], last]) if len(centres) > 1 else np.vstack([start, last])
    )
    straight = shapely.simplify(
        shapely.linestrings(points), _STRAIGHTEN_CELLS * grid.cell_m, preserve_topology=False
    )
    xy = shapely.get_coordinates(straight)
    height = sample(ways.ground_m, grid, xy[:, 0], xy[:, 1])
    height[0] = sill_level_m
    height[np.isnan(height)] = np.inf
    return np.column_stack([xy, np.minimum.accumulate(height)])


def _judged(
    velocity_ms: float, max_slope_pct: float, cover: str, soil: SoilResistance
) -> tuple[float, str]:
    """Permissible velocity on the steepest reach, 0 where the table does not go so far; lining."""
    allowed = permissible_ms(cover, soil, max_slope_pct) or 0.0
    return allowed, "grass" if velocity_ms <= allowed else "lining needed"


def _stations_of(coordinates: FloatArray) -> FloatArray:
    """Points every 5 m along a line, both ends included; (n, 2)."""
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(coordinates[:, :2], axis=0).T))])
    count = max(2, round(along[-1] / REACH_M) + 1)
    at = np.linspace(0.0, along[-1], count)
    return np.column_stack([np.interp(at, along, coordinates[:, i]) for i in (0, 1)])


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
    grid = ways.grid
    stop = ways.end_map.goal != 0
    sills = [sill for own in outlets.sills for sill in sorted(own, key=lambda s: s.start_m)]
    paths = [path_down(ways.direction, sill.way.start_cell, stop) for sill in sills]
    if not paths:
        return []
    every = np.concatenate(paths)
    cells, where = np.unique(every, return_inverse=True)
    spilled = [sill.share * float(peak_m3s[sill.way.swale]) for sill in sills]
    carried = np.bincount(where, weights=np.repeat(spilled, [p.size for p in paths]))
    routes = []
    for sill, path, spill in zip(sills, paths, spilled, strict=True):
        end = ways.end_map.ends[sill.way.goal - 1] if sill.way.goal > 0 else End("property_edge", 0)
        coordinates = _drawn(sill, path, float(sill_level_m[sill.way.swale]), shapes.of(end), ways)
        points = _stations_of(coordinates)
        row, column = grid.row_column(points[:, 0], points[:, 1])
        # Flow of a reach: that of the path's cell at the same share of the way.
        at = np.rint(np.linspace(0, path.size - 1, len(points))[1:]).astype(int)
        flow = carried[np.searchsorted(cells, path[at])]
        slope, velocity = reach_velocities(
            row, column, ways.ground_m, grid.cell_m, flow, sill.length_m, rules.manning_n
        )
        steepest_pct, fastest = float(100.0 * slope.max()), float(velocity.max())
        permissible, lining = _judged(fastest, steepest_pct, cover, soil)
        routes.append(
            Route(
                swale=sill.way.swale,
                sill=sill,
                end=end,
                end_cell=int(path[-1]),
                coordinates=coordinates,
                spill_m3s=spill,
                peak_m3s=float(flow.max()),
                velocity_ms=fastest,
                max_slope_pct=steepest_pct,
                permissible_ms=permissible,
                lining=lining,
            )
        )
    return routes
