"""How far apart swales stand: what each rule gives."""

import numpy as np

from soakline.grid import BoolArray, FloatArray, Grid, GroundArray
from soakline.inputs.types import Features
from soakline.siting.given import GivenLips
from soakline.siting.levels import first_level_m
from soakline.siting.place import LevelSeries
from soakline.terrain.cells import burn
from soakline.terrain.flow import Uint8Array

_WETTEST_MM, _DRIEST_MM = 1200.0, 250.0
_NARROWEST, _WIDEST = 3.0, 20.0


def width_ratio(annual_mm: float) -> float:
    """Gap between swales as a multiple of their top width, by annual rain.

    Notes
    -----
    3 at 1200 mm and over, 20 at 250 mm and under, linear between: common practice, no source.

    Examples
    --------
    >>> width_ratio(1200.0), width_ratio(100.0), width_ratio(725.0)
    (3.0, 20.0, 11.5)
    """
    return float(np.interp(annual_mm, [_DRIEST_MM, _WETTEST_MM], [_WIDEST, _NARROWEST]))


def tree_spacing_m(tree_height_m: FloatArray | float, slope_pct: FloatArray) -> FloatArray:
    """Distance in plan at which a level line from a tree's top meets the hill: H / tan(slope)."""
    return np.asarray(tree_height_m) * 100.0 / np.maximum(slope_pct, 1e-6)


def level_series(
    ground_m: GroundArray,
    slope_pct: GroundArray,
    direction: Uint8Array,
    allowed: BoolArray,
    roomy: BoolArray,
    grid: Grid,
    interval_m: float,
    interval_factor: float,
    features: Features,
    max_spacing_m: float,
    given: GivenLips,
) -> tuple[LevelSeries, ...]:
    """Levels of every part of the land.

    Parameters
    ----------
    ground_m, slope_pct : (rows, columns) m and %
    direction : (rows, columns) uint8
    allowed : (rows, columns) bool; ground where a lip may lie
    roomy : (rows, columns) bool; allowed ground where trench and mound fit beside it
    grid : Grid
    interval_m : of the land outside planting blocks
    interval_factor : interval over tree height, applied to the blocks' own heights
    features : planting blocks carry their own tree height
    max_spacing_m : 0 for none; else intermediate levels are laid on ground gentler than the
        interval over this
    given : swales that are there; where there are any, the levels run from theirs

    Returns
    -------
    series, the land outside the blocks first; each block's levels start anew from its highest line
    """
    blocks = features.planting_blocks
    outside = np.ones(grid.shape, dtype=bool)
    parts: list[tuple[BoolArray, float]] = []
    for shape, height in zip(
        blocks.geometry, blocks["mature_tree_height_m"].astype(float), strict=True
    ):
        mask = burn(np.array([shape], dtype=object), grid) & outside
        outside &= ~mask
        parts.append((mask, float(height) * interval_factor))
    series = []
    for group, (where, interval) in enumerate([(outside, interval_m), *parts]):
        own = allowed & where
        from_m = given.level_of(group, interval)
        top = (
            first_level_m(ground_m, direction, own, roomy & where, grid.cell_m, interval)
            if from_m is None
            else _highest_m(ground_m, own, from_m, interval)
        )
        if top is None:
            continue
        lowest = float(ground_m.min(where=own, initial=np.inf))
        levels = np.round(top - interval * np.arange(int((top - lowest) / interval) + 1), 3)
        series.append(LevelSeries(levels, interval, where, group))
        if max_spacing_m > 0:
            series += _between(slope_pct, where, top, lowest, interval, group, max_spacing_m, grid)
    return tuple(series)


def _highest_m(
    ground_m: GroundArray, own: BoolArray, from_m: float, interval_m: float
) -> float | None:
    """Highest level on some ground of a series that one level belongs to; None where is none."""
    if not own.any():
        return None
    highest = float(ground_m.max(where=own, initial=-np.inf))
    steps = np.floor((highest - from_m) / interval_m)
    return round(from_m + interval_m * float(steps), 3)


def _between(
    slope_pct: GroundArray,
    where: BoolArray,
    top_m: float,
    lowest_m: float,
    interval_m: float,
    group: int,
    max_spacing_m: float,
    grid: Grid,
) -> list[LevelSeries]:
    """Intermediate levels, at halves, quarters and eighths, where the ground is gentle enough."""
    from scipy import ndimage  # noqa: PLC0415 - slow to load, no rerun needs it

    size = max(3, round(max_spacing_m / 2.0 / grid.cell_m) | 1)
    mean_slope = ndimage.uniform_filter(np.nan_to_num(slope_pct), size)
    series = []
    for parts in (2, 4, 8):
        gentle = where & (mean_slope < 100.0 * interval_m / (max_spacing_m * parts / 2.0))
        if not gentle.any():
            break
        step = interval_m / parts
        odd = np.arange(1, int((top_m - lowest_m) / step) + 1, 2)
        series.append(LevelSeries(np.round(top_m - step * odd, 3), step, gentle, group))
    return series
