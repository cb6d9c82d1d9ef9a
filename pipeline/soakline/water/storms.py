"""Storms from a rain table: depths, patterns in time, and how fast they can shed water."""

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
import numpy.typing as npt

from soakline.grid import FloatArray
from soakline.inputs.frequencies import aep_pct
from soakline.inputs.rain_pattern import RainPattern
from soakline.inputs.types import RainTable
from soakline.water.curve_number import runoff_mm

Pattern = Literal["alternating", "uniform", "file"]
PatternChoice = Literal["both", "alternating", "uniform"]
Purpose = Literal["design", "check"]

RISE_STEP_S = 72.0
"""Length of the window over which the fastest rise is taken: a fifth of the shortest time of
concentration."""

# Places looked at inside a window's length, and again around the best of them.
_LATTICE = 64


@dataclass(frozen=True, slots=True)
class Storm:
    """One storm: its depth and how the depth builds up in time.

    Parameters
    ----------
    storm_id : such as `design-60min-alternating`
    frequency : head of the table's column, such as "10" or "10%"
    aep_pct : annual exceedance probability, %
    duration_min : minutes
    depth_mm : over the whole duration, uplift included
    pattern : "alternating", "uniform", or "file" for a pattern of one's own
    purpose : "design" or "check"
    times_min : breakpoints, rising from 0 to `duration_min`; rain is steady between them
    depths_mm : depth fallen by each breakpoint, from 0 to `depth_mm`
    """

    storm_id: str
    frequency: str
    aep_pct: float
    duration_min: float
    depth_mm: float
    pattern: Pattern
    purpose: Purpose
    times_min: tuple[float, ...]
    depths_mm: tuple[float, ...]

    def cumulative_depth_mm(self, times_min: npt.ArrayLike) -> FloatArray:
        """Depth fallen by given times: 0 before the storm, all of it after; any shape, mm."""
        times = np.asarray(times_min, dtype=np.float64)
        return np.asarray(np.interp(times, self.times_min, self.depths_mm))


def depth_mm(table: RainTable, column: int, duration_min: npt.ArrayLike) -> FloatArray:
    """Depth for any duration inside the table.

    Parameters
    ----------
    table : depths over 0
    column : of the frequency
    duration_min : any shape, minutes, from the table's shortest to its longest

    Returns
    -------
    same shape, mm

    Raises
    ------
    ValueError
        If a duration lies outside the table: depths are never extrapolated.

    Notes
    -----
    A straight line between logarithms of duration and depth.
    """
    asked = np.asarray(duration_min, dtype=np.float64)
    known, depths = table.duration_min, table.depth_mm[:, column]
    if np.any(asked < known[0]) or np.any(asked > known[-1]):
        raise ValueError(f"{asked} min is outside the table, {known[0]} to {known[-1]} min")
    found = np.exp(np.interp(np.log(asked), np.log(known), np.log(depths)))
    # a printed depth comes back as printed, not through a logarithm
    at = np.minimum(np.searchsorted(known, asked), len(known) - 1)
    return np.where(known[at] == asked, depths[at], found)


def alternating_blocks(
    table: RainTable, column: int, duration_min: float
) -> tuple[FloatArray, FloatArray]:
    """Breakpoints of a storm that holds the depth of every shorter duration at its centre.

    Blocks are as long as the table's shortest duration; a duration that is no multiple of it has
    one shorter block, at an end.

    Parameters
    ----------
    table, column : depths by duration
    duration_min : minutes, inside the table

    Returns
    -------
    times_min, depths_mm : (blocks + 1,) each, from 0

    Notes
    -----
    [Chow1988]_ section 14.4: the increments of depth with duration, the first at the centre, the
    next ones by turns after and before it. They are ranked by duration, not by size: where a table
    bends the wrong way the two differ, and only the rank by duration keeps the depth of each.
    """
    block_min = float(table.duration_min[0])
    blocks = max(1, math.ceil(duration_min / block_min - 1e-9))
    ends_min = np.minimum(block_min * np.arange(1, blocks + 1), duration_min)
    increments_mm = np.diff(depth_mm(table, column, ends_min), prepend=0.0)
    lengths_min = np.diff(ends_min, prepend=0.0)
    after = np.arange(1, blocks, 2)
    before = np.arange(2, blocks, 2)
    order = np.concatenate([before[::-1], [0], after])
    return (
        np.concatenate([[0.0], np.cumsum(lengths_min[order])]),
        np.concatenate([[0.0], np.cumsum(increments_mm[order])]),
    )


def storms_for(
    table: RainTable,
    design_column: int,
    check_column: int,
    pattern: PatternChoice | RainPattern,
    uplift_pct: float = 0.0,
) -> tuple[Storm, ...]:
    """Every storm a plan is tried with: each purpose, duration and pattern.

    Parameters
    ----------
    table : depths by duration and frequency
    design_column, check_column : of the table
    pattern : "both", "alternating" or "uniform", which are the same inside the shortest duration;
        or a pattern of one's own, beside which the uniform one is run
    uplift_pct : added to every depth, %

    Returns
    -------
    storms by purpose (design first), then duration, then pattern (the uniform one last)

    Raises
    ------
    ValueError
        If a pattern is named that is not there; the name of a file is no pattern.
    """
    if not isinstance(pattern, RainPattern) and pattern not in get_args(PatternChoice):
        raise ValueError(f"no pattern {pattern!r}; a file is read before it is given")
    storms = []
    factor = 1.0 + uplift_pct / 100.0
    columns: tuple[tuple[Purpose, int], ...] = (("design", design_column), ("check", check_column))
    for purpose, column in columns:
        frequency = table.frequency[column]
        for duration_min in map(float, table.duration_min):
            total_mm = float(depth_mm(table, column, duration_min))
            for name, times_min, depths_mm in _spread(table, column, duration_min, pattern):
                # Sums of blocks end a few units in the last place off: the storm's end is exact.
                times_min[-1], depths_mm[-1] = duration_min, total_mm
                storms.append(
                    Storm(
                        storm_id=f"{purpose}-{duration_min:g}min-{name}",
                        frequency=frequency,
                        aep_pct=aep_pct(frequency),
                        duration_min=duration_min,
                        depth_mm=total_mm * factor,
                        pattern=name,
                        purpose=purpose,
                        times_min=tuple(times_min.tolist()),
                        depths_mm=tuple((depths_mm * factor).tolist()),
                    )
                )
    return tuple(storms)


def _spread(
    table: RainTable, column: int, duration_min: float, pattern: PatternChoice | RainPattern
) -> Iterator[tuple[Pattern, FloatArray, FloatArray]]:
    """Each pattern's name and breakpoints, (n,) min and (n,) mm."""
    total_mm = depth_mm(table, column, duration_min)
    if isinstance(pattern, RainPattern):
        yield "file", pattern.duration_share * duration_min, pattern.cumulative_share * total_mm
    elif pattern != "uniform":
        yield "alternating", *alternating_blocks(table, column, duration_min)
    if pattern != "alternating":
        yield "uniform", np.array([0.0, duration_min]), np.array([0.0, float(total_mm)])


def largest_rain_rise_mm(storm: Storm, step_s: float = RISE_STEP_S) -> float:
    """Most rain that falls in any window of a given length, mm; see `largest_rise_mm`."""
    return largest_rise_mm(storm, 100.0, step_s)


def largest_rise_mm(storm: Storm, curve_number: float, step_s: float = RISE_STEP_S) -> float:
    """Largest rise of rainfall excess over any window of a given length.

    Times an area and divided by the window, it bounds the peak flow that the area can give: no
    lag, no storage.

    Parameters
    ----------
    storm : rain in time
    curve_number : of the ground; 100 gives the rain itself
    step_s : length of the window, which may start anywhere, s

    Returns
    -------
    mm
    """
    return largest_rise_of(
        storm, lambda at_min: runoff_mm(storm.cumulative_depth_mm(at_min), curve_number), step_s
    )


def largest_rise_of(
    storm: Storm, excess_mm: Callable[[FloatArray], FloatArray], step_s: float
) -> float:
    """Largest rise of any excess over a window of a given length; see `largest_rise_mm`.

    Parameters
    ----------
    storm : rain in time
    excess_mm : cumulative excess in mm at (n,) times in minutes, in any order
    step_s : length of the window, which may start anywhere, s

    Returns
    -------
    mm

    Notes
    -----
    Excess is a smooth rising function of rain, and rain is straight between breakpoints. While
    both ends of the window stand between breakpoints the rise is smooth, so it is largest where
    an end meets a breakpoint or, while the window straddles one, at some place between: those are
    tried on a lattice.
    """
    step_min = step_s / 60.0
    breaks_min = np.asarray(storm.times_min)
    lattice_min = np.linspace(-step_min, 0.0, _LATTICE + 1)
    starts_min = (breaks_min[:, None] + lattice_min[None, :]).ravel()

    def rises_mm(starts: FloatArray) -> FloatArray:
        return np.asarray(excess_mm(starts + step_min) - excess_mm(starts))

    rises = rises_mm(starts_min)
    # Between two places of the lattice the rise is smooth: the best of them is looked at closer.
    spacing_min = step_min / _LATTICE
    best_min = starts_min[int(rises.argmax())]
    closer_min = best_min + np.linspace(-spacing_min, spacing_min, 2 * _LATTICE + 1)
    return float(max(rises.max(), rises_mm(closer_min).max()))
