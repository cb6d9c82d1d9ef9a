"""Volumes of the plan against the ground before and after, differenced cell by cell."""

from dataclasses import replace

import numpy as np
import pytest

from soakline.grid import Grid
from soakline.setout.finished import burn
from soakline.setout.plan import SetOutPlan, Swale
from tests.terrain_analytic.ground import plane

CELL_M = 0.1


def around(swale: Swale, margin_m: float, crs_wkt: str) -> Grid:
    """A grid of 0.1 m cells around one swale."""
    west, south = np.floor(swale.lip.min(axis=0) - margin_m)
    east, north = np.ceil(swale.lip.max(axis=0) + margin_m)
    rows, columns = round((north - south) / CELL_M), round((east - west) / CELL_M)
    return Grid(rows, columns, float(west), float(north), CELL_M, crs_wkt)


def differences(plan: SetOutPlan, swale: Swale) -> tuple[float, float]:
    """Cut and fill of one swale on the true plane, m³."""
    grid = around(swale, 15.0, plan.crs_wkt)
    row, column = np.meshgrid(np.arange(grid.rows), np.arange(grid.columns), indexing="ij")
    # Heights over the level are small, so that float32 loses nothing of them.
    ground = (plane(8.0, 180.0)(*grid.easting_northing(row, column)) - swale.level_m).astype(
        np.float32
    )
    finished = ground.copy()
    low = replace(swale, level_m=0.0, ground_m=swale.ground_m - swale.level_m)
    burn(finished, ground, grid, replace(plan, swales=(low,)))
    change = (finished - ground).astype(np.float64) * CELL_M**2
    return -change[change < 0].sum(), change[change > 0].sum()


def test_cut_and_fill_agree_with_the_finished_ground_to_2_percent(plan: SetOutPlan) -> None:
    assert plan.swales
    for swale in plan.swales:
        cut, fill = differences(plan, swale)
        assert cut == pytest.approx(swale.cut_m3, rel=0.02)
        mounded = sum(end - start for start, end in swale.mounded_m)
        # Spoil that finds no room beside long sills is left over, and told so by a finding.
        share = min(1.0, mounded / (0.8 * swale.length_m))
        assert fill == pytest.approx(swale.fill_m3 * share, rel=0.02)
