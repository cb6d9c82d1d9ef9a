"""Long sills near the gap between two swales below: their water keeps to the property."""

from pathlib import Path

import numpy as np
import pyogrio

from soakline.grid import FloatArray
from soakline.runfile.load import load_run_file
from soakline.stages.plan import make_plan
from soakline.stages.progress import Progress
from tests.terrain_analytic.ground import from_centre, sample
from tests.terrain_analytic.run_folder import write_run


def tilted(easting: FloatArray, northing: FloatArray) -> FloatArray:
    """A plane that falls 8 % to the south and 1 % to the west."""
    east_m, north_m = from_centre(easting, northing)
    return 127.0 + 0.08 * north_m + 0.01 * east_m


def test_water_leaves_over_the_edge_from_the_lowest_swales_alone(tmp_path: Path) -> None:
    """Two swales on each level, those of the next one below nearly under them: sills of 24 m and
    more whose middle lies above the gap would lead through it and over the edge.
    """
    dem, grid = sample(tilted, width_m=600.0, cell_m=2.0)
    run = {"overflow": {"allow_property_edge": True, "neighbour_consent": "in writing"}}
    run_file = write_run(tmp_path, dem, grid, inset_m=60.0, run=run)
    make_plan(load_run_file(run_file), tmp_path / "plan.gpkg", Progress())
    names = ("swales", "overflow_routes")
    swales, routes = (pyogrio.read_dataframe(tmp_path / "plan.gpkg", layer=own) for own in names)
    levels = np.sort(swales.level_m.unique())
    assert (swales.level_m.value_counts() == 2).all()
    lowest = set(swales.swale_id[swales.level_m == levels[0]])
    leaving = set(routes.swale_id[routes.to_kind == "property_edge"])
    assert leaving == lowest
    assert (routes.swale_id.value_counts() > 1).any()
