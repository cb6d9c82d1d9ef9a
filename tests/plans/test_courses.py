"""Hydrographs of the plan against the volumes, peaks and levels that it tells of the same storm."""

import numpy as np
import pandas as pd
import pyogrio
import pytest

from tests.plans.grounds import PlanGround

pytestmark = pytest.mark.slow


@pytest.mark.parametrize("name", ["valley", "plane, wind"])
def test_courses_come_to_the_volumes_of_the_governing_storm(
    plan_ground: PlanGround, name: str
) -> None:
    """To the error that straight lines between moments may have: common practice, no source."""
    path = plan_ground(name).path
    swales, storms, courses = (
        pd.DataFrame(pyogrio.read_dataframe(path, layer=layer, read_geometry=False))
        for layer in ("swales", "swale_storms", "storm_courses")
    )
    told = storms.set_index(["swale_id", "storm_id"])
    governing = dict(zip(swales["swale_id"], swales["governing_storm_id"], strict=True))
    assert dict(courses.groupby("swale_id")["storm_id"].first()) == governing
    for (swale, storm), own in courses.groupby(["swale_id", "storm_id"]):
        seconds = 60.0 * own["after_min"].to_numpy()
        assert (np.diff(seconds) > 0.0).all()
        row = told.loc[(swale, storm)]
        inflow = np.trapezoid(own["inflow_m3s"], seconds)
        spill = np.trapezoid(own["spill_m3s"], seconds)
        assert inflow == pytest.approx(row["inflow_m3"], rel=0.05)
        assert spill == pytest.approx(row["overflow_m3"], abs=0.05 * row["inflow_m3"])
        assert own["spill_m3s"].max() <= row["peak_spill_m3s"] * (1.0 + 1e-6)
        assert own["spill_m3s"].max() == pytest.approx(row["peak_spill_m3s"], rel=0.1, abs=1e-4)
        assert own["level_m"].max() <= row["max_level_m"] + 1e-6
        assert own["level_m"].max() == pytest.approx(row["max_level_m"], abs=0.01)
