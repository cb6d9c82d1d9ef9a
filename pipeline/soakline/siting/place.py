"""From levels to lines: every piece of level line that a swale can be dug along."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import shapely

from soakline.grid import BoolArray, FloatArray, GroundArray
from soakline.siting.band import AIM_M
from soakline.siting.conflicts import meeting_stations
from soakline.siting.contours import level_lines
from soakline.siting.given import GivenLips
from soakline.siting.lines import (
    END_GAP_M,
    END_ROOM_M,
    LipLine,
    PlacingLimits,
    evenly,
    in_order,
    opened_at,
)
from soakline.siting.lip import lay_lips, point_step_m
from soakline.siting.split import split
from soakline.siting.stations import (
    BLOCKED,
    OPEN,
    Siteable,
    Stations,
    runs_of,
    stations_along,
    uphill_is_left,
)
from soakline.terrain.cells import cells_of

# A line keeps this share of its interval from lines that belong to another part of the land.
_SEAM_SHARE = 0.95

IndexArray = npt.NDArray[np.int64]


@dataclass(frozen=True, eq=False, slots=True)
class LevelSeries:
    """Levels laid at one interval over a part of the land.

    Parameters
    ----------
    levels_m : (n,) falling, m
    interval_m : m
    where : (rows, columns) bool; ground that the series is for
    group : part of the land; lines of different parts keep the lower one's interval from each other
    """

    levels_m: FloatArray
    interval_m: float
    where: BoolArray
    group: int = 0


def _is_closed(points: FloatArray) -> bool:
    return len(points) > 3 and bool(np.array_equal(points[0], points[-1]))


def _runs_of_level(
    series: LevelSeries, siteable: Siteable, ground_m: GroundArray, limits: PlacingLimits
) -> Iterator[LipLine]:
    """Points of the runs of each level line that the ground allows, evenly spaced."""
    grid = siteable.grid
    step_m = point_step_m(grid.cell_m)
    room = int(np.ceil(0.5 * END_GAP_M / step_m))
    everywhere = bool(series.where.all())
    wanted = series.where & (siteable.state == OPEN)
    traced = level_lines(ground_m, grid, series.levels_m + AIM_M, wanted)
    for level_m, lines in zip(series.levels_m, traced, strict=True):
        for line in lines:
            points = evenly(line, step_m)
            if len(points) * step_m < limits.min_length_m:
                continue
            state = siteable.of_lip(points[:, 0], points[:, 1])
            seam = np.zeros(len(points), dtype=bool)
            if not everywhere:
                cell = cells_of(grid, points[:, 0], points[:, 1])
                seam = ~series.where.ravel()[cell]
                state[seam] = BLOCKED
            if not (state == OPEN).any():
                continue
            closed = _is_closed(points)
            if closed and (state != OPEN).any():
                start = int(np.flatnonzero(state != OPEN)[0])
                points = np.vstack([points[start:-1], points[: start + 1]])
                state, seam = (
                    np.append(np.roll(of[:-1], -start), of[start]) for of in (state, seam)
                )
                closed = False
            for begin, end in runs_of(state, step_m, limits.gap_limit_m):
                # Beyond the seam another line may end: both leave room for trench and mound ends.
                first = begin + room if begin > 0 and seam[begin - 1] else begin
                last = end - room if end + 1 < len(seam) and seam[end + 1] else end
                if (last - first) * step_m < limits.min_length_m:
                    continue
                run = points[first : last + 1]
                run = run if uphill_is_left(run, ground_m, grid) else run[::-1]
                yield LipLine(float(level_m), series.interval_m, run, closed, series.group)


def _too_close_below(
    lines: list[LipLine], index: IndexArray, stations: Stations, siteable: Siteable
) -> BoolArray:
    """Stations of a line with a line of another part of the land less than its interval above."""
    close = np.zeros(index.size, dtype=bool)
    group = np.array([line.group for line in lines])
    if np.all(group == group[0]):
        return close
    interval = np.array([line.interval_m for line in lines])
    level = np.array([line.level_m for line in lines])
    cell = cells_of(siteable.grid, stations.easting_m, stations.northing_m)
    slope = np.maximum(np.nan_to_num(siteable.slope_pct.ravel()[cell]), 0.2) / 100.0
    reach = _SEAM_SHARE * interval[index] / slope
    ends = np.stack(
        [
            np.column_stack([stations.easting_m, stations.northing_m]),
            np.column_stack(
                [
                    stations.easting_m + reach * stations.left_east,
                    stations.northing_m + reach * stations.left_north,
                ]
            ),
        ],
        axis=1,
    )
    tree = shapely.STRtree([shapely.LineString(line.coordinates) for line in lines])
    own, other = tree.query(shapely.linestrings(ends), predicate="intersects")
    rise = level[other] - level[index[own]]
    too_close = (
        (group[other] != group[index[own]])
        & (rise > 0.0)
        & (rise < _SEAM_SHARE * interval[index[own]])
    )
    close[own[too_close]] = True
    return close


def _trimmed(
    lines: list[LipLine], siteable: Siteable, limits: PlacingLimits, given: GivenLips
) -> Iterator[LipLine]:
    """Lines cut back to where their footprints are clear of exclusions and of each other."""
    if not lines:
        return
    own = [stations_along(line.coordinates) for line in lines]
    index = np.repeat(np.arange(len(lines)), [s.along_m.size for s in own])
    together = Stations(
        *(
            np.concatenate([getattr(s, name) for s in own])
            for name in ("easting_m", "northing_m", "along_m", "left_east", "left_north")
        )
    )
    state = np.concatenate([siteable.worst_of_lip(stations) for stations in own])
    joins = index[1:] != index[:-1]
    step_blocked = siteable.footprint_blocked(together) & ~joins
    hard = np.zeros(index.size, dtype=bool)
    hard[:-1] |= step_blocked
    hard[1:] |= step_blocked
    hard |= state == BLOCKED
    hard |= given.too_close(lines, index, together, siteable)
    uphill, downhill = siteable.reach_at(together.easting_m, together.northing_m)
    closed = np.array([line.closed for line in lines])

    # Blocked ground is cut out first, so that it cannot win a conflict.
    live = np.flatnonzero(~hard)
    meets = meeting_stations(
        Stations(*(getattr(together, n)[live] for n in Stations.__slots__)),
        index[live],
        closed,
        uphill[live],
        downhill[live],
    )
    hard[live[meets]] = True
    hard |= _too_close_below(lines, index, together, siteable)
    state[hard] = BLOCKED

    starts = np.searchsorted(index, np.arange(len(lines) + 1))
    for i, line in enumerate(lines):
        here = slice(starts[i], starts[i + 1])
        along, ground, cut = own[i].along_m, state[here], hard[here]
        if line.closed and not (ground != OPEN).any():
            yield line
            continue
        opened = line
        if line.closed:
            at = int(np.flatnonzero(ground != OPEN)[0])
            opened = replace(line, coordinates=opened_at(line.coordinates, float(along[at])))
            ground = np.append(np.roll(ground[:-1], -at), ground[at])
            cut = np.append(np.roll(cut[:-1], -at), cut[at])
        step = float(along[1] - along[0])
        for first, last in runs_of(ground, step, limits.gap_limit_m):
            # Beside excluded ground the mound's end needs room of its own.
            from_m = along[first] + (END_ROOM_M if first > 0 and cut[first - 1] else 0.0)
            to_m = along[last] - (END_ROOM_M if last + 1 < along.size and cut[last + 1] else 0.0)
            if to_m - from_m >= limits.min_length_m:
                yield opened.part(float(from_m), float(to_m))


def place_lines(
    all_series: tuple[LevelSeries, ...],
    siteable: Siteable,
    ground_m: GroundArray,
    limits: PlacingLimits,
    given: GivenLips,
    radius_m: float,
) -> list[LipLine]:
    """Every piece of every level line along which a swale fits.

    Parameters
    ----------
    all_series : levels by part of the land
    siteable : Siteable
    ground_m : (rows, columns) float32, m
    limits : PlacingLimits
    given : swales that are there, from which lines keep their interval
    radius_m : least that lines may bend by, where the ground tolerance allows it, m

    Returns
    -------
    lines, highest level first, then from west to east; rings that are whole still closed
    """
    runs = [
        run for series in all_series for run in _runs_of_level(series, siteable, ground_m, limits)
    ]
    lips = lay_lips(
        [run.coordinates for run in runs],
        np.array([run.level_m for run in runs], dtype=float),
        np.array([run.closed for run in runs], dtype=bool),
        ground_m,
        siteable.grid,
        limits.ground_tolerance_m,
        radius_m,
    )
    laid = [replace(run, coordinates=lip) for run, lip in zip(runs, lips, strict=True)]
    pieces = [
        piece
        for line in _trimmed(laid, siteable, limits, given)
        for piece in split(line, siteable, limits)
    ]
    pieces = [p for p in pieces if p.length_m >= limits.min_length_m]
    return in_order(pieces)
