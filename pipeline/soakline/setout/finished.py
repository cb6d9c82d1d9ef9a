"""The ground as it will lie: trench cut into it, mound heaped on it, cell by cell."""

from collections.abc import Sequence
from dataclasses import replace

import numba
import numpy as np
import shapely
from rasterio.features import geometry_mask
from shapely.geometry.base import BaseGeometry

from soakline.grid import BoolArray, FloatArray, Grid, GroundArray
from soakline.section.earthworks import LEAST_FALL
from soakline.section.returns import top_m
from soakline.setout.breaklines import section_edges
from soakline.setout.hollows import hollow_rows, hollowed
from soakline.setout.plan import SetOutPlan
from soakline.setout.swale import Swale


@numba.njit(cache=True)
def _nearest(
    shape: tuple[int, int],
    west_m: float,
    north_m: float,
    cell_m: float,
    lip: FloatArray,
    reach_m: float,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Of each cell the distance to the lip, that uphill of it, and the chainage.

    Beyond the lip's ends its first and last pieces go on: chainages below 0 and over its length.
    """
    rows, columns = shape
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
                within = min(max(t, 0.0), length)
                dx, dy = x - within * east / length, y - within * north / length
                distance = np.sqrt(dx * dx + dy * dy)
                # On the outer side of a bend both segments end in the same point, and agree.
                if distance >= near[row, column] - 1e-9:
                    continue
                side = (east * y - north * x) / length
                near[row, column] = distance
                if (k == 0 and t < 0.0) or (k == segments - 1 and t > length):
                    offset[row, column], along[row, column] = side, start + t
                else:
                    offset[row, column] = distance if side >= 0.0 else -distance
                    along[row, column] = start + within
        start += length
    return near, offset, along


@numba.njit(cache=True)
def _laid(
    u: float,
    s: float,
    ground: float,
    length: float,
    trench: FloatArray,
    mound: FloatArray,
    pegs: FloatArray,
    mounded: FloatArray,
    may_dig: bool,
    may_heap: bool,
    sills: FloatArray,
    tracks: FloatArray,
    ends: FloatArray,
    hollows: FloatArray,
) -> float:
    """Height over the level at an offset and a chainage, which may lie beyond the lip's ends."""
    base, depth, batter = trench
    berm, mound_batter, crest_height, crest, least_crest = mound
    z = ground
    above = np.interp(s, pegs[0], pegs[1])
    if s < 0.0 or s > length:
        if may_heap:
            ahead = -s if s < 0.0 else s - length
            z = max(z, top_m(ends[0 if s < 0.0 else 1], ahead, u, ground))
    elif u >= 0.0:
        floor = -min(u, s, length - s) / batter
        floor = max(floor, -depth, -depth + (u - batter * depth - base) / batter)
        if may_dig:
            z = hollowed(u, s, min(z, floor), trench, hollows)
    else:
        if above < 0.0 and -u <= least_crest:
            z = max(z, 0.0)
        if -u >= berm and may_heap:
            for k in range(mounded.shape[0]):
                start = mounded[k, 0] + mounded[k, 2] * u
                if start <= s <= mounded[k, 1] + mounded[k, 3] * u:
                    foot = above - np.interp(s, pegs[0], pegs[2]) * berm
                    crest_end = berm + mound_batter * (crest_height - foot) + crest
                    up = foot + (-u - berm) / mound_batter
                    down = crest_height - (-u - crest_end) / mound_batter
                    z = max(z, min(crest_height, up, down))
    for k in range(sills.shape[0]):
        start, end, level, downhill, uphill = sills[k]
        if start <= s <= end and -downhill <= u <= uphill:
            z = min(z, level)
    for k in range(tracks.shape[0]):
        # Where the track is aslant, its edges move along the lip with the distance from it.
        start, end = tracks[k, 0] + tracks[k, 3] * u, tracks[k, 1] + tracks[k, 3] * u
        at, height = tracks[k, 5:10], tracks[k, 10:15]
        if not at[0] <= u <= at[4]:
            continue
        surface = np.interp(u, at, height)
        beyond = tracks[k, 4] * max(start - s, s - end, 0.0)
        if beyond == 0.0:
            return surface
        if tracks[k, 2] > 0.0 and z <= ground:  # a ford, in ground that nothing is heaped on
            z = min(z, surface + beyond / batter)
        z = max(z, surface - beyond / mound_batter)
    return z


@numba.njit(cache=True)
def _burn(
    finished_m: GroundArray,
    ground_m: GroundArray,
    near: FloatArray,
    offset: FloatArray,
    along: FloatArray,
    reach_m: float,
    level_m: float,
    length: float,
    trench: FloatArray,
    mound: FloatArray,
    pegs: FloatArray,
    mounded: FloatArray,
    may_dig: BoolArray,
    may_heap: BoolArray,
    sills: FloatArray,
    tracks: FloatArray,
    ends: FloatArray,
    hollows: FloatArray,
) -> None:
    """Burn one swale into a window; each cell by its nearest point of the lip."""
    rows, columns = finished_m.shape
    for row in range(rows):
        for column in range(columns):
            ground = ground_m[row, column] - level_m
            if near[row, column] > reach_m or np.isnan(ground):
                continue
            u, s = offset[row, column], along[row, column]
            z = _laid(
                u, s, ground, length, trench, mound, pegs, mounded, may_dig[row, column],
                may_heap[row, column], sills, tracks, ends, hollows,
            )  # fmt: skip
            if z < ground:
                finished_m[row, column] = min(finished_m[row, column], level_m + z)
            elif z > ground:
                finished_m[row, column] = max(finished_m[row, column], level_m + z)


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
    Each cell takes the section at the nearest point of the lip: where the plan has ponded ground
    and cut slope the lower of ground and trench, ends battered in from the lip's ends; where it has
    the mound the higher of ground and mound, upright at sills, with its returns beyond the lip's
    ends. Ponds and basins are dug too; pits are filled in again. Sills are cut to their level.
    Fords and causeways lie along their tracks, the sides of fills as steep as the mound's, those of
    cuts as the trench's. The sections are those of the plan's volumes.
    """
    for swale in plan.swales:
        mound = swale.mound
        reach = _reach_m(swale)
        west, south = swale.lip.min(axis=0) - reach
        east, north = swale.lip.max(axis=0) + reach
        top, left = (int(np.floor(v)) for v in grid.row_column(west, north))
        bottom, right = (int(np.ceil(v)) + 1 for v in grid.row_column(east, south))
        rows = slice(max(top, 0), max(min(bottom, grid.rows), 0))
        columns = slice(max(left, 0), max(min(right, grid.columns), 0))
        if rows.start >= rows.stop or columns.start >= columns.stop:
            continue
        own = replace(
            grid,
            rows=rows.stop - rows.start,
            columns=columns.stop - columns.start,
            west_m=grid.west_m + columns.start * grid.cell_m,
            north_m=grid.north_m - rows.start * grid.cell_m,
        )
        beside = swale.beside
        basins = [hollow.ground for hollow in swale.hollows if hollow.kind == "basin"]
        _burn(
            finished_m[rows, columns],
            ground_m[rows, columns],
            *_nearest(own.shape, own.west_m, own.north_m, own.cell_m, swale.lip, reach),
            reach,
            swale.level_m,
            swale.length_m,
            np.array([swale.trench.base_width_m, swale.trench.depth_m, swale.trench.batter]),
            np.array([
                mound.berm_m, mound.batter, swale.crest_height_m, swale.crest_width_m,
                mound.least_crest_m,
            ]),
            np.array([
                swale.chainage_m, beside.above_m, mound.borne_by(beside.fall),
            ]),
            swale.mound_edges(),
            _on([swale.dug_ground, *basins], own),
            _on([swale.mound_ground], own),
            _sills(swale),
            _tracks(swale),
            _ends(swale),
            hollow_rows(swale.hollows, swale.trench),
        )  # fmt: skip


def _on(grounds: Sequence[BaseGeometry], grid: Grid) -> BoolArray:
    """Cells whose middles lie on some ground."""
    own = [ground for ground in grounds if not ground.is_empty]
    if not own:
        return np.zeros(grid.shape, dtype=bool)
    return np.asarray(~geometry_mask(own, grid.shape, grid.transform))


def _sills(swale: Swale) -> FloatArray:
    """Start, end, level over the swale's, and reach downhill and uphill of the lip; (k, 5) m."""
    rows = []
    for sill in swale.sills:
        beside = swale.beside_at(np.array([(sill.start_m + sill.end_m) / 2.0]))
        level = sill.level_m - swale.level_m
        over = max(float(beside.above_m[0]) - level, 0.0)
        downhill = sill.width_m + 1.5 * over / max(float(beside.fall[0]), LEAST_FALL)
        rows.append([sill.start_m, sill.end_m, level, downhill, -swale.trench.batter * level])
    return np.array(rows, dtype=np.float64).reshape(-1, 5)


def _tracks(swale: Swale) -> FloatArray:
    """Start, end, 1 for a ford, lean, sine, and places and heights of the profile; (k, 15)."""
    rows = [
        [
            track.start_m, track.end_m, float(track.kind == "ford"), track.lean, track.sine,
            *track.at_m, *track.height_m,
        ]
        for track in swale.tracks
    ]  # fmt: skip
    return np.array(rows, dtype=np.float64).reshape(-1, 15)


def _ends(swale: Swale) -> FloatArray:
    """Rows of `section.returns` for both ends; nothing stands where the mound does not reach."""
    ends = np.zeros((2, 9))
    for at, end in swale.ends().items():
        ends[0 if at == 0.0 else 1] = end.rows(swale.mound)[0]
    return ends


def _reach_m(swale: Swale) -> float:
    """How far the works reach at most: the mound half as much again, since ground is uneven."""
    count = swale.chainage_m.size
    full = np.full(count, swale.trench.depth_m)
    offset = section_edges(swale, swale.beside, full, np.ones(count, dtype=bool))[0]
    tracks = [abs(float(at)) for track in swale.tracks for at in track.at_m]
    sills = [float(at) for at in _sills(swale)[:, 3]]
    ends = [float(end.uphill_m[0]) for end in swale.ends().values()]
    lip = shapely.LineString(swale.lip)
    corners = shapely.points(shapely.get_coordinates([own.ground for own in swale.hollows]))
    basin = float(np.max(shapely.distance(corners, lip), initial=0.0))
    return max([1.5 * float(np.max(np.abs(offset))), *tracks, *sills, *ends, basin]) + 1.0
