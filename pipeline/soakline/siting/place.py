"""From levels to lines: every piece of level line that a swale can be dug along."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from soakline.grid import BoolArray, FloatArray, GroundArray
from soakline.siting.band import AIM_M
from soakline.siting.contours import level_lines
from soakline.siting.given import GivenLips
from soakline.siting.lines import (
    END_GAP_M,
    LipLine,
    PlacingLimits,
    evenly,
    in_order,
)
from soakline.siting.lip import lay_lips, point_step_m
from soakline.siting.split import split
from soakline.siting.stations import (
    BLOCKED,
    OPEN,
    Siteable,
    lies_beside,
    runs_of,
    uphill_is_left,
)
from soakline.siting.trimming import eased_pieces, trimmed
from soakline.terrain.cells import cells_of


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
                before, after = lies_beside(begin, end, seam)
                first, last = begin + room * before, end - room * after
                if (last - first) * step_m < limits.min_length_m:
                    continue
                run = points[first : last + 1]
                run = run if uphill_is_left(run, ground_m, grid) else run[::-1]
                yield LipLine(float(level_m), series.interval_m, run, closed, series.group)


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
        for _, line in trimmed(laid, siteable, limits, given)
        for piece in split(line, siteable, limits)
    ]
    pieces = [p for p in pieces if p.length_m >= limits.min_length_m]
    return in_order(eased_pieces(pieces, siteable, ground_m, limits, given, radius_m))
