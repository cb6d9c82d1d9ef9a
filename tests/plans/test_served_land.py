"""How much of the level line that could carry a swale does carry one."""

import numpy as np
import pytest
import shapely
from contourpy import contour_generator

from soakline.siting.lip import AIM_M
from tests.plans.grounds import FORMS, PlanGround, Planned

pytestmark = pytest.mark.slow

LEAST_M = 20.0


def reach_m(planned: Planned) -> float:
    """Furthest that a footprint of this plan comes from its own lip."""
    lips = planned.swales.set_index("swale_id").geometry
    return max(
        float(shapely.distance(lips[name], shapely.points(shapely.get_coordinates(shape))).max())
        for name, shape in planned.footprints.items()
    )


def usable_m(planned: Planned) -> float:
    """Level line along which a footprint of the least length fits, between excluded ground.

    Judged by a band of even width along the line, nothing taken off for the gaps between swales.
    """
    grid = planned.grid
    easting, _ = grid.easting_northing(np.zeros(1), np.arange(grid.columns, dtype=float))
    _, northing = grid.easting_northing(np.arange(grid.rows, dtype=float), np.zeros(1))
    tracer = contour_generator(easting, northing, planned.ground_m)
    levels = planned.swales.level_m
    series = np.arange(levels.max(), planned.ground_m.min(), -8.0)
    lines = shapely.union_all(
        [shapely.linestrings(line) for level in series for line in tracer.lines(level + AIM_M)]
    )
    excluded = shapely.union_all(planned.layer("excluded_ground").geometry.array)
    land = planned.layer("property").geometry[0]
    free = shapely.difference(land, shapely.buffer(excluded, reach_m(planned)))
    pieces = shapely.get_parts(shapely.line_merge(shapely.intersection(lines, free)))
    length = shapely.length(pieces)
    return float(length[length >= LEAST_M].sum())


@pytest.mark.parametrize("name", FORMS)
def test_85_percent_of_the_usable_level_line_carries_a_swale(
    plan_ground: PlanGround, name: str
) -> None:
    planned = plan_ground(name)
    assert planned.swales.length_m.sum() >= 0.85 * usable_m(planned)
