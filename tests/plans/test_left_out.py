"""Pieces of level line that could not spill are no swales."""

from pathlib import Path

import geopandas as gpd
import numpy as np
import pyogrio
import shapely

from soakline.grid import FloatArray
from soakline.runfile.load import load_run_file
from soakline.stages.plan import make_plan
from soakline.stages.progress import Progress
from tests.terrain_analytic.ground import (
    CENTRE_EASTING_M,
    CENTRE_NORTHING_M,
    from_centre,
    sample,
)
from tests.terrain_analytic.run_folder import write_run

HEIGHT_M = 5.1
GIVEN_M = 120.0 + 0.02 * 150.0


def dimpled(easting: FloatArray, northing: FloatArray) -> FloatArray:
    """A plane that falls 2 % to the south, with a hollow of 0.29 m in it, too shallow to keep."""
    east_m, north_m = from_centre(easting, northing)
    apart = east_m**2 + (north_m + 50.0) ** 2
    return 120.0 + 0.02 * north_m - 1.25 * np.exp(-apart / (2.0 * 22.0**2))


def test_no_swale_runs_round_a_shallow_hollow(tmp_path: Path) -> None:
    """The level below the given line lies in the hollow, where water leads back from all round."""
    dem, grid = sample(dimpled, width_m=400.0)
    at = CENTRE_NORTHING_M + 150.0
    line = shapely.LineString([(CENTRE_EASTING_M + 60.0, at), (CENTRE_EASTING_M - 60.0, at)])
    given = gpd.GeoDataFrame({"swale_id": ["G1"], "level_m": [GIVEN_M]}, geometry=[line])
    run = {"spacing": {"mature_tree_height_m": HEIGHT_M}}
    run_file = write_run(tmp_path, dem, grid, run=run, features={"given_swales": given})
    make_plan(load_run_file(run_file), tmp_path / "plan.gpkg", Progress())
    swales, sills, hollows, findings = (
        pyogrio.read_dataframe(tmp_path / "plan.gpkg", layer=own)
        for own in ("swales", "spillways", "hollows", "findings")
    )
    assert hollows.treatment.tolist() == ["filled"]
    told = findings[findings.code == "no_place_for_sill"]
    assert told.message.str.startswith("1 pieces").all()
    assert len(told) == 1
    assert set(sills.swale_id) == set(swales.swale_id)
    assert (swales.geometry.distance(hollows.geometry.iloc[0].centroid) > 20.0).all()
