"""A lip with little room for safe sills: the head stays, and what goes elsewhere is told."""

from pathlib import Path

import numpy as np
import pandas as pd
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


def planned(folder: Path, uplift_pct: float) -> tuple[pd.DataFrame, ...]:
    """Spillways, routes and findings of the plan, with so much more rain."""
    dem, grid = sample(beside_a_gully, width_m=600.0, height_m=600.0, cell_m=2.0)
    run = {"terrain": {"drainage_area_ha": 0.5}, "rain": {"uplift_pct": uplift_pct}}
    run_file = write_run(folder, dem, grid, inset_m=40.0, run=run)
    make_plan(load_run_file(run_file), folder / "plan.gpkg", Progress())
    names = ("spillways", "overflow_routes", "findings")
    return tuple(pyogrio.read_dataframe(folder / "plan.gpkg", layer=own) for own in names)


def test_swales_above_spill_elsewhere_where_safe_ways_below_are_short(tmp_path: Path) -> None:
    """Laid for their own water alone, sills near the gully need no other way than into it.

    From the western lips none leads there: their water leaves over the edge below.
    """
    sills, routes, findings = planned(tmp_path, 0.0)
    assert (sills.check_head_m <= HEAD_M).all()
    assert not (findings.code == "sill_short").any()
    kinds = routes.groupby("swale_id").to_kind.agg(set)
    assert (kinds == {"drainage_line"}).sum() == 7
    west = set(kinds.index[kinds != {"drainage_line"}])
    assert set(findings.feature_id[findings.severity == "stop"]) == west
    assert len(west) == 4
    assert (kinds == {"property_edge"}).sum() == 1


def test_what_safe_ways_have_no_room_for_goes_elsewhere_and_is_told(tmp_path: Path) -> None:
    sills, routes, findings = planned(tmp_path, 60.0)
    assert (sills.check_head_m <= HEAD_M).all()
    assert not (findings.code == "sill_short").any()
    kinds = routes.groupby("swale_id").to_kind.agg(set)
    astray = set(kinds.index[kinds == {"drainage_line", "property_edge"}])
    told = findings[findings.message.str.contains("part of its overflow leaves over the property")]
    assert len(astray) == 1
    assert set(told.feature_id) == astray
    assert set(told.severity) == {"stop"}
