"""Ground where trench and mound fit beside the lip."""

import numpy as np
import pytest
import shapely

from soakline.siting.room import roomy_ground
from soakline.siting.stations import OPEN
from tests.siting.land import (
    excluded_of,
    features_of,
    layer,
    property_of,
    reach,
    siteable_of,
    terrain_of,
)
from tests.terrain_analytic.ground import CENTRE_EASTING_M, CENTRE_NORTHING_M, plane, sample

SLOPE_PCT = 8.0


@pytest.mark.parametrize("aspect_deg", [180.0, 0.0, 213.0])
def test_room_ends_where_trench_or_mound_would_reach_excluded_ground(aspect_deg: float) -> None:
    """A protected square, side 30 m, on a plane: no lip within its reach up and down the fall."""
    dem, grid = sample(plane(SLOPE_PCT, aspect_deg), width_m=120.0)
    terrain = terrain_of(dem, grid)
    kept = shapely.box(
        CENTRE_EASTING_M - 15, CENTRE_NORTHING_M - 15, CENTRE_EASTING_M + 15, CENTRE_NORTHING_M + 15
    )
    features = features_of(grid, protected=layer(grid, kept))
    siteable = siteable_of(terrain, excluded_of(terrain, features, property_of(grid)))
    roomy = roomy_ground(siteable, terrain.ground_m)
    open_ground = siteable.state == OPEN
    assert not roomy[~open_ground].any()
    (uphill,), (downhill,) = reach().at(np.array([SLOPE_PCT]))
    fall = np.array([np.sin(np.radians(aspect_deg)), np.cos(np.radians(aspect_deg))])
    row, column = np.nonzero(open_ground)
    place = np.column_stack(
        [grid.west_m + (column + 0.5) * grid.cell_m, grid.north_m - (row + 0.5) * grid.cell_m]
    )
    across = shapely.linestrings(np.stack([place - uphill * fall, place + downhill * fall], axis=1))
    barred = shapely.union_all([kept, shapely.difference(shapely.box(*grid.bounds),
                                                         siteable.excluded.inner)])  # fmt: skip
    found = roomy[row, column]
    # Cells tell to within their own size.
    clearly = shapely.distance(across, barred) > grid.cell_m
    well_in = shapely.length(shapely.intersection(across, barred)) > 1.5 * grid.cell_m
    assert clearly.any()
    assert well_in.any()
    assert found[clearly].all()
    assert not found[well_in].any()
