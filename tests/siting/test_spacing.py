"""Distances that the rules give, and the levels that lines take."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from soakline.grid import Grid
from soakline.inputs.types import Features
from soakline.siting.place import LevelSeries
from soakline.siting.spacing import _between, level_series
from soakline.terrain.condition import Terrain
from tests.siting.land import NONE_GIVEN, features_of, layer, terrain_of
from tests.terrain_analytic.ground import CENTRE_EASTING_M, centred_grid, plane, sample


def series_on(
    terrain: Terrain, features: Features, max_spacing_m: float, factor: float = 1.0
) -> tuple[LevelSeries, ...]:
    allowed = np.zeros(terrain.grid.shape, dtype=bool)
    allowed[5:-5, 5:-5] = True
    return level_series(
        terrain.ground_m,
        terrain.slope_pct,
        terrain.flow.direction,
        allowed,
        allowed,
        terrain.grid,
        8.0 * factor,
        factor,
        features,
        max_spacing_m,
        NONE_GIVEN,
    )


def land(slope_pct: float, width_m: float = 300.0) -> tuple[Terrain, Grid]:
    dem, grid = sample(plane(slope_pct), width_m=width_m)
    return terrain_of(dem, grid), grid


def test_levels_go_down_by_the_interval_to_the_lowest_ground() -> None:
    terrain, grid = land(12.0)
    (series,) = series_on(terrain, features_of(grid), 0.0)
    allowed = terrain.ground_m[5:-5, 5:-5]
    assert np.diff(series.levels_m) == pytest.approx(-8.0)
    assert allowed.max() - 8.0 < series.levels_m[0] <= allowed.max()
    assert allowed.min() <= series.levels_m[-1] < allowed.min() + 8.0


@pytest.mark.parametrize(("slope_pct", "step_m"), [(2.0, 2.0), (3.0, 4.0), (1.0, 1.0), (8.0, 8.0)])
def test_on_gentle_ground_levels_between_bring_lines_within_the_greatest_spacing(
    slope_pct: float, step_m: float
) -> None:
    """8 m of tree, at most 150 m: halves under 5.3 %, quarters under 2.7 %, eighths under 1.3 %."""
    terrain, grid = land(slope_pct, 1100.0)
    series = series_on(terrain, features_of(grid), 150.0)
    levels = np.sort(np.concatenate([own.levels_m for own in series]))
    assert np.diff(levels) == pytest.approx(step_m)
    allowed = terrain.ground_m[5:-5, 5:-5]
    assert levels[0] < allowed.min() + step_m
    assert all(own.where[5:-5, 5:-5].all() for own in series)
    assert series[-1].interval_m == step_m


def test_levels_between_go_down_to_the_lowest_ground() -> None:
    """From 100 m down to 87.5 m by 8 m: the halves, then the quarters between those."""
    slope = np.full((20, 20), 2.0, np.float32)
    where = np.ones(slope.shape, dtype=bool)
    found = _between(slope, where, 100.0, 87.5, 8.0, 3, 150.0, centred_grid(20.0, 20.0))
    assert [series.levels_m.tolist() for series in found] == [[96.0, 88.0], [98.0, 94.0, 90.0]]
    assert {series.group for series in found} == {3}


def test_levels_between_are_laid_on_gentle_ground_alone() -> None:
    """8 % in the west, 2 % in the east, blurred over half of the greatest spacing."""
    terrain, grid = land(2.0, 400.0)
    slope = terrain.slope_pct.copy()
    slope[:, :200] = 8.0
    allowed = np.isfinite(slope)
    levels = level_series(
        terrain.ground_m, slope, terrain.flow.direction, allowed, allowed, grid, 8.0, 1.0,
        features_of(grid), 150.0, NONE_GIVEN,
    )  # fmt: skip
    assert levels[0].where.all()
    assert [own.interval_m for own in levels] == [8.0, 4.0, 2.0]
    for own in levels[1:]:
        assert own.where[:, 240:].all()
        assert not own.where[:, :160].any()


def test_a_planting_block_has_the_levels_of_its_own_trees_and_the_first_block_holds() -> None:
    terrain, grid = land(8.0)
    west_m, south_m, _, north_m = grid.bounds
    west = shapely.box(west_m, south_m, CENTRE_EASTING_M, north_m)
    fig = layer(grid, west, mature_tree_height_m=4.0, species="fig")
    oak = layer(grid, west, mature_tree_height_m=6.0, species="oak")
    both = gpd.GeoDataFrame(pd.concat([fig, oak], ignore_index=True))
    outside, inside = series_on(terrain, features_of(grid, planting_blocks=both), 0.0, 0.5)
    assert (outside.interval_m, inside.interval_m) == (4.0, 2.0)
    assert np.diff(inside.levels_m) == pytest.approx(-2.0)
    assert inside.where[:, :150].all()
    assert outside.where[:, 150:].all()
    assert not (inside.where & outside.where).any()
    assert (outside.group, inside.group) == (0, 1)
