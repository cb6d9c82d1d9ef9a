"""Volumes of plans on real and on rough ground against the finished ground at 0.1 m."""

import numpy as np
import pyogrio
import pytest

from soakline.setout.read import read_setout
from soakline.terrain.ground import sample
from tests.plans.grounds import PlanGround
from tests.setout.test_volumes import differences

GROUNDS = [
    "hillside, 3 m trees, 15 %", "hillside, 6 m trees, 20 %", "hillside, 8 m trees, 20 %",
    "cone", "knoll", "saddle", "valley, noisy",
]  # fmt: skip


@pytest.mark.parametrize("name", GROUNDS)
def test_cut_and_fill_of_every_swale_agree_with_its_finished_ground_to_2_percent(
    plan_ground: PlanGround, name: str
) -> None:
    planned = plan_ground(name)
    plan = read_setout(planned.path)
    earth = pyogrio.read_dataframe(planned.path, layer="earthworks").set_index("swale_id")

    def height(easting: np.ndarray, northing: np.ndarray) -> np.ndarray:
        own = sample(planned.dem_m, planned.grid, easting.ravel(), northing.ravel())
        return own.reshape(easting.shape)

    told, found = [], []
    for swale in plan.swales:
        own = earth.loc[swale.swale_id]
        told.append(
            (
                own.cut_m3 + own.cut_between_m3 + own.cut_sill_m3,
                own.made_up_m3 + own.mound_m3 + own.returns_m3,
            )
        )
        found.append(differences(plan, swale, height))
    out = earth.made_up_m3 + earth.mound_m3 + earth.returns_m3 + earth.track_fill_m3
    out += earth.spread_m3 + earth.left_over_m3
    assert (earth.spoil_m3 + earth.short_m3).to_numpy() == pytest.approx(out.to_numpy(), abs=1e-6)
    assert np.array(found) == pytest.approx(np.array(told), rel=0.02)
    assert np.sum(found, axis=0) == pytest.approx(np.sum(told, axis=0), rel=0.01)
