"""How much of the level line that could carry a swale does carry one."""

import numpy as np
import pytest
import shapely
from contourpy import contour_generator

from soakline.siting.band import AIM_M
from tests.plans.grounds import FORMS, REAL, PlanGround, Planned

pytestmark = pytest.mark.slow

LEAST_M = 20.0
LEAST_CATCHMENT_M2 = 200.0


def reach_m(planned: Planned) -> float:
    """Furthest that a footprint of this plan comes from its own lip."""
    lips = planned.swales.set_index("swale_id").geometry
    return max(
        float(shapely.distance(lips[name], shapely.points(shapely.get_coordinates(shape))).max())
        for name, shape in planned.footprints.items()
    )


def too_little_above(line: shapely.LineString) -> bool:
    """Whether a line is a ring around less ground than a swale is worth digging for."""
    return line.is_closed and shapely.Polygon(line).area < LEAST_CATCHMENT_M2


def usable_m(planned: Planned, interval_m: float) -> float:
    """Level line along which a footprint of the least length fits, between excluded ground.

    Judged by a band of even width along the line, nothing taken off for the gaps between swales.
    """
    grid = planned.grid
    easting, _ = grid.easting_northing(np.zeros(1), np.arange(grid.columns, dtype=float))
    _, northing = grid.easting_northing(np.arange(grid.rows, dtype=float), np.zeros(1))
    tracer = contour_generator(easting, northing, planned.ground_m)
    levels = planned.swales.level_m
    series = np.arange(levels.max(), planned.ground_m.min(), -interval_m)
    lines = shapely.union_all(
        [shapely.linestrings(line) for level in series for line in tracer.lines(level + AIM_M)]
    )
    excluded = planned.layer("excluded_ground")
    lip_only = excluded.reason.isin(["too_steep", "wet"])
    off_footprint = shapely.union_all(excluded.geometry[~lip_only].array)
    free = shapely.difference(
        planned.layer("property").geometry[0],
        shapely.union_all(
            [
                shapely.buffer(off_footprint, reach_m(planned)),
                *excluded.geometry[lip_only],
            ]
        ),
    )
    pieces = shapely.get_parts(shapely.line_merge(shapely.intersection(lines, free)))
    return sum(p.length for p in pieces if p.length >= LEAST_M and not too_little_above(p))


@pytest.mark.parametrize("name", FORMS)
def test_85_percent_of_the_usable_level_line_carries_a_swale(
    plan_ground: PlanGround, name: str
) -> None:
    planned = plan_ground(name)
    assert planned.swales.length_m.sum() >= 0.85 * usable_m(planned, 8.0)


@pytest.mark.parametrize("name", REAL)
def test_85_percent_does_on_a_real_hillside(plan_ground: PlanGround, name: str) -> None:
    planned = plan_ground(name)
    interval_m = REAL[name].run["spacing"]["mature_tree_height_m"]
    usable = usable_m(planned, interval_m)
    assert usable > 100.0
    assert planned.swales.length_m.sum() >= 0.85 * usable
