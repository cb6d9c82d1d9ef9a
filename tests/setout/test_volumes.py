"""Volumes of the plan against the ground before and after, differenced cell by cell."""

from dataclasses import replace

import numpy as np
import pytest

from soakline.grid import Grid
from soakline.section.mound import MoundShape
from soakline.section.trench import Trench
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


@pytest.mark.parametrize(
    ("trench", "mound", "crest_m"),
    [
        (Trench(0.6, 1.2, 1.0), MoundShape(0.6, 2.0, 0.5), 1.5),
        (Trench(3.0, 0.3, 2.5), MoundShape(0.0, 3.0, 1.0), 1.0),
        (Trench(1.5, 0.5, 1.5), MoundShape(0.3, 1.5, 0.5), 2.5),
    ],
)
def test_other_shapes_have_the_volumes_of_their_sections(
    plan: SetOutPlan, trench: Trench, mound: MoundShape, crest_m: float
) -> None:
    """Method 4: cut per metre for e = 0 is A + T² s / (2 (1 − s m)), less the battered ends."""
    # Ground falls to the south: uphill, on the left, is north of a line that runs east.
    lip = np.array([[600_000.0, 6_000_000.0], [600_060.0, 6_000_000.0]])
    level = float(plane(8.0, 180.0)(lip[:1, 0], lip[:1, 1])[0])
    swale = replace(
        plan.swales[0],
        lip=lip,
        level_m=level,
        sill_level_m=level,
        trench=trench,
        slope=0.08,
        crest_height_m=0.3,
        crest_width_m=crest_m,
        gaps_m=((0.0, 6.0), (30.0, 34.0)),
        chainage_m=np.array([0.0, 60.0]),
        ground_m=np.array([level, level]),
    )
    cut, fill = differences(replace(plan, mound=mound), swale)
    m, top = trench.batter, trench.top_width_m
    per_metre = trench.area_m2 + top**2 * 0.08 / (2 * (1 - 0.08 * m))
    ends = trench.area_m2 * 60.0 - float(trench.capacity_m3(60.0))
    assert cut == pytest.approx(per_metre * (60.0 - ends / trench.area_m2), rel=0.02)
    # The mound by its corners (shoelace), on ground that falls at 8 %.
    start = -0.08 * mound.berm_m
    rise = mound.batter * (0.3 - start)
    end = mound.berm_m + rise + crest_m
    toe = (mound.batter * 0.3 + end) / (1 - 0.08 * mound.batter)
    x = np.array([mound.berm_m, mound.berm_m + rise, end, toe])
    y = np.array([start, 0.3, 0.3, -0.08 * toe])
    area = abs(np.dot(x, np.roll(y, 1)) - np.dot(y, np.roll(x, 1))) / 2.0
    assert fill == pytest.approx(area * 50.0, rel=0.02)
