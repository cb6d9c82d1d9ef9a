"""The ground as it will lie: trench cut into it, mound heaped on it, cell by cell."""

import numba
import numpy as np

from soakline.grid import FloatArray, Grid, GroundArray
from soakline.section.mound import MoundShape
from soakline.setout.breaklines import section_edges
from soakline.setout.plan import SetOutPlan, Swale


@numba.njit(cache=True)
def _burn(
    finished_m: GroundArray,
    ground_m: GroundArray,
    west_m: float,
    north_m: float,
    cell_m: float,
    lip: FloatArray,
    mounded_m: FloatArray,
    level_m: float,
    base_m: float,
    depth_m: float,
    batter: float,
    berm_m: float,
    mound_batter: float,
    crest_height_m: float,
    crest_m: float,
    fall: float,
    peg_m: FloatArray,
    above_m: FloatArray,
    reach_m: float,
) -> None:
    """Burn one swale into a window; each cell by its nearest point of the lip."""
    rows, columns = finished_m.shape
    near = np.full((rows, columns), np.inf)
    offset = np.zeros((rows, columns))
    along = np.zeros((rows, columns))
    start = 0.0
    segments = lip.shape[0] - 1
    for k in range(segments):
        east, north = lip[k + 1, 0] - lip[k, 0], lip[k + 1, 1] - lip[k, 1]
        length = np.sqrt(east * east + north * north)
        if length == 0.0:
            continue
        low_e = min(lip[k, 0], lip[k + 1, 0]) - reach_m
        high_e = max(lip[k, 0], lip[k + 1, 0]) + reach_m
        low_n = min(lip[k, 1], lip[k + 1, 1]) - reach_m
        high_n = max(lip[k, 1], lip[k + 1, 1]) + reach_m
        top = max(0, int((north_m - high_n) / cell_m) - 1)
        bottom = min(rows, int((north_m - low_n) / cell_m) + 2)
        left = max(0, int((low_e - west_m) / cell_m) - 1)
        right = min(columns, int((high_e - west_m) / cell_m) + 2)
        for row in range(top, bottom):
            y = north_m - (row + 0.5) * cell_m - lip[k, 1]
            for column in range(left, right):
                x = west_m + (column + 0.5) * cell_m - lip[k, 0]
                t = (x * east + y * north) / length
                if (k == 0 and t < 0.0) or (k == segments - 1 and t > length):
                    continue  # beyond the lip's ends nothing is dug
                t = min(max(t, 0.0), length)
                dx, dy = x - t * east / length, y - t * north / length
                distance = np.sqrt(dx * dx + dy * dy)
                side = east * y - north * x
                # On the outer side of a bend both segments end in the same point, and agree.
                if distance < near[row, column] - 1e-9:
                    near[row, column] = distance
                    offset[row, column] = distance if side >= 0.0 else -distance
                    along[row, column] = start + t
        start += length
    for row in range(rows):
        for column in range(columns):
            ground = ground_m[row, column]
            if near[row, column] > reach_m or np.isnan(ground):
                continue
            u, s = offset[row, column], along[row, column]
            if u >= 0.0:
                floor = -min(u, s, start - s) / batter
                floor = max(floor, -depth_m, -depth_m + (u - batter * depth_m - base_m) / batter)
                if level_m + floor < ground:
                    finished_m[row, column] = min(finished_m[row, column], level_m + floor)
            elif -u >= berm_m:
                for k in range(mounded_m.shape[0]):
                    if mounded_m[k, 0] <= s <= mounded_m[k, 1]:
                        foot = np.interp(s, peg_m, above_m) - fall * berm_m
                        crest_end = berm_m + mound_batter * (crest_height_m - foot) + crest_m
                        top = min(
                            crest_height_m,
                            foot + (-u - berm_m) / mound_batter,
                            crest_height_m - (-u - crest_end) / mound_batter,
                        )
                        if level_m + top > ground:
                            finished_m[row, column] = max(finished_m[row, column], level_m + top)


def burn(finished_m: GroundArray, ground_m: GroundArray, grid: Grid, plan: SetOutPlan) -> None:
    """Cut every trench and heap every mound of a plan into a raster of its ground.

    Parameters
    ----------
    finished_m : (rows, columns) float32, m; a copy of `ground_m`, changed
    ground_m : (rows, columns) float32, m; NaN where not valid
    grid : of both
    plan : SetOutPlan

    Notes
    -----
    Each cell takes the section at the nearest point of the lip: in the trench the lower of ground
    and trench, ends battered in from the lip's ends; on the mound the higher of ground and mound,
    with upright ends at sills. Neither reaches past the lip's ends, so the mound's short returns
    round them are not in it. The sections are those of the plan's volumes.
    """
    mound = plan.mound
    for swale in plan.swales:
        trench = swale.trench
        reach = _reach_m(swale, mound)
        west, south = swale.lip.min(axis=0) - reach
        east, north = swale.lip.max(axis=0) + reach
        top, left = (int(np.floor(v)) for v in grid.row_column(west, north))
        bottom, right = (int(np.ceil(v)) + 1 for v in grid.row_column(east, south))
        rows = slice(max(top, 0), max(min(bottom, grid.rows), 0))
        columns = slice(max(left, 0), max(min(right, grid.columns), 0))
        if rows.start >= rows.stop or columns.start >= columns.stop:
            continue
        _burn(
            finished_m[rows, columns],
            ground_m[rows, columns],
            grid.west_m + columns.start * grid.cell_m,
            grid.north_m - rows.start * grid.cell_m,
            grid.cell_m,
            swale.lip,
            np.array(swale.mounded_m, dtype=np.float64).reshape(-1, 2),
            swale.level_m,
            trench.base_width_m,
            trench.depth_m,
            trench.batter,
            mound.berm_m,
            mound.batter,
            swale.crest_height_m,
            swale.crest_width_m,
            min(swale.slope, 0.9 / mound.batter),
            swale.chainage_m,
            swale.ground_m - swale.level_m,
            reach,
        )


def _reach_m(swale: Swale, mound: MoundShape) -> float:
    """How far trench and mound reach at most: half as much again, since ground is uneven."""
    full = np.array([swale.trench.depth_m])
    above = np.array([float(np.max(swale.ground_m)) - swale.level_m])
    low = np.array([float(np.min(swale.ground_m)) - swale.level_m])
    sections = [section_edges(swale, mound, e, full, np.array([True]))[0] for e in (above, low)]
    return 1.5 * float(np.max(np.abs(sections))) + 1.0
