"""What routes bring to the drainage lines that they enter."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from soakline.grid import FloatArray, Grid, GroundArray
from soakline.overflow.hydraulics import reach_velocities
from soakline.overflow.routes import Route
from soakline.overflow.velocity import SoilResistance, permissible_ms
from soakline.siting.exits import REACH_M
from soakline.terrain.flow import Flow
from soakline.terrain.paths import path_down

_BELOW_M = 50.0
_WIDTH_M = 10.0
_SHARE = 0.25


@dataclass(frozen=True, slots=True)
class LoadedLine:
    """A drainage line that receives more than its cover or its own peak suggests.

    Parameters
    ----------
    line : index of the drainage line
    peak_m3s : sum of the routes' peaks at the entry furthest down
    own_peak_m3s : the line's own bound there
    velocity_ms, permissible_ms : over the next 50 m; permissible is 0 where lining is needed
    """

    line: int
    peak_m3s: float
    own_peak_m3s: float
    velocity_ms: float
    permissible_ms: float


def loaded_lines(
    routes: list[Route],
    flow: Flow,
    ground_m: GroundArray,
    grid: Grid,
    rate_m_s: float,
    manning_n: float,
    cover: str,
    soil: SoilResistance,
) -> list[LoadedLine]:
    """Drainage lines where routes bring over a quarter of the line's own peak, or too fast a flow.

    Parameters
    ----------
    routes : drawn
    flow, ground_m, grid : of the terrain
    rate_m_s : fastest rise of rainfall excess in the check storms, m/s
    manning_n : s/m^(1/3)
    cover, soil : rows of the table of permissible velocities

    Returns
    -------
    one entry a line, by index
    """
    entering: dict[int, list[Route]] = {}
    for route in routes:
        if route.end.kind == "drainage_line":
            entering.setdefault(route.end.index, []).append(route)
    never = np.zeros(grid.shape, dtype=bool)
    loaded = []
    for line in sorted(entering):
        upstream = flow.upstream_cells.ravel()
        own = sorted(entering[line], key=lambda r: int(upstream[r.end_cell]))
        peak = sum(route.spill_m3s for route in own)
        cell = own[-1].end_cell
        line_peak = rate_m_s * float(upstream[cell]) * grid.cell_area_m2
        slope, velocity = _below(
            path_down(flow.direction, cell, never), peak, ground_m, grid, manning_n
        )
        allowed = [permissible_ms(cover, soil, 100.0 * float(s)) for s in slope]
        fast = [
            (float(v), a or 0.0)
            for v, a in zip(velocity, allowed, strict=True)
            if a is None or v > a
        ]
        if fast or peak > _SHARE * line_peak:
            worst = max(fast, default=(float(velocity.max(initial=0.0)), allowed[0] or 0.0))
            loaded.append(LoadedLine(line, peak, line_peak, worst[0], worst[1]))
    return loaded


def _below(
    cells: npt.NDArray[np.int64],
    peak_m3s: float,
    ground_m: GroundArray,
    grid: Grid,
    manning_n: float,
) -> tuple[FloatArray, FloatArray]:
    """Slope and velocity of the reaches over the next 50 m of a line."""
    per_reach = max(1, round(REACH_M / grid.cell_m))
    own = cells[: max(2, round(_BELOW_M / grid.cell_m)) : per_reach]
    if own.size < 2:
        return np.zeros(1), np.zeros(1)
    row, column = np.divmod(own, grid.columns)
    return reach_velocities(
        row.astype(float),
        column.astype(float),
        ground_m,
        grid.cell_m,
        np.full(own.size - 1, peak_m3s),
        _WIDTH_M,
        manning_n,
    )
