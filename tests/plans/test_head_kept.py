"""A lip with little room for safe sills: the head stays, and what goes elsewhere is told."""

from pathlib import Path

import numpy as np
import pyogrio

from soakline.grid import FloatArray
from soakline.runfile.load import load_run_file
from soakline.stages.plan import make_plan
from soakline.stages.progress import Progress
from tests.terrain_analytic.ground import from_centre, sample
from tests.terrain_analytic.run_folder import write_run

HEAD_M = 0.10


def beside_a_gully(easting: FloatArray, northing: FloatArray) -> FloatArray:
    """A plane that falls 6 % to the south, with a gully down its eastern side."""
    east_m, north_m = from_centre(easting, northing)
    gully = np.maximum(0.0, 26.0 - np.abs(east_m - 200.0))
    return 127.0 + 0.06 * north_m - 0.12 * gully


def test_where_safe_ways_are_short_the_head_stays_and_what_goes_elsewhere_is_told(
    tmp_path: Path,
) -> None:
    """From most of the lowest lips water runs over the edge, from their last metres into the gully.

    The swale above one of them can reach the gully itself, and does.
    """
    dem, grid = sample(beside_a_gully, width_m=600.0, height_m=600.0, cell_m=2.0)
    run = {"terrain": {"drainage_area_ha": 0.5}}
    run_file = write_run(tmp_path, dem, grid, inset_m=40.0, run=run)
    make_plan(load_run_file(run_file), tmp_path / "plan.gpkg", Progress())
    names = ("spillways", "overflow_routes", "findings")
    sills, routes, findings = (
        pyogrio.read_dataframe(tmp_path / "plan.gpkg", layer=own) for own in names
    )
    assert (sills.check_head_m <= HEAD_M).all()
    assert not (findings.code == "sill_short").any()
    kinds = routes.groupby("swale_id").to_kind.agg(set)
    astray = set(kinds.index[kinds == {"drainage_line", "property_edge"}])
    told = findings[findings.message.str.contains("part of its overflow leaves over the property")]
    assert len(astray) == 1
    assert set(told.feature_id) == astray
    assert set(told.severity) == {"stop"}
    into = routes.swale_id[routes.to_id.isin(astray)]
    assert "drainage_line" not in set(routes.to_kind[routes.swale_id.isin(into)])
    assert (kinds == {"drainage_line"}).sum() == 2
