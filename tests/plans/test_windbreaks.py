"""Windbreaks of a whole plan: a plane that falls to the south, wind from the south, lips across."""

import numpy as np
import pytest
import shapely

from tests.plans.grounds import PlanGround

pytestmark = pytest.mark.slow
NAME = "plane, wind"


@pytest.mark.parametrize(("name", "every"), [(NAME, 8), ("plane, wind, every 6th", 6)])
def test_windbreaks_stand_so_many_levels_apart_and_meet_the_wind(
    plan_ground: PlanGround, name: str, every: int
) -> None:
    swales = plan_ground(name).swales
    windbreak = swales[swales.role == "windbreak"]
    levels = np.unique(windbreak.level_m.round(1))
    assert len(levels) >= 1
    # Trees of 2 m lay levels 2 m apart: every level of the series that there is has one.
    assert np.diff(levels).tolist() == pytest.approx([2.0 * every] * (len(levels) - 1), abs=0.1)
    laid = np.unique(swales.level_m.round(1))
    assert levels[0] - laid[0] < 2.0 * every - 0.1
    assert laid[-1] - levels[-1] < 2.0 * every - 0.1
    whole = swales[swales.level_m.round(1).isin(levels)]
    assert set(whole.role) == {"windbreak"}
    # Only the south wind prevails; it comes over lower land, square to every lip.
    assert swales.wind_met_pct.to_numpy() == pytest.approx(100.0, abs=2.0)


def test_on_a_crest_the_swale_nearest_it_on_the_windward_side_is_the_windbreak(
    plan_ground: PlanGround,
) -> None:
    """Fewer levels than eight: the ridge alone. The crest keeps the south wind off its north side.

    Trees of 5 m lay levels 5 m apart, 62.5 m on 8 %.
    """
    planned = plan_ground("crest, wind")
    swales, crest_north_m = planned.swales, 90.0
    north = np.array([planned.north(shapely.get_coordinates(line)).mean()
                      for line in swales.geometry])  # fmt: skip
    south = north < crest_north_m
    assert 2 <= len(np.unique(swales.level_m.round(1))) < 8
    assert south.any()
    assert not south.all()
    windbreak = (swales.role == "windbreak").to_numpy()
    highest = swales.level_m >= swales.level_m[south].max() - 0.1
    assert windbreak.any()
    assert np.array_equal(windbreak, south & highest.to_numpy())
    # It stands less than a whole interval below the crest.
    assert np.all(crest_north_m - north[windbreak] < 62.5 + 1.0)
    trees = planned.layer("trees")
    own = trees[trees.swale_id.isin(swales.swale_id[windbreak])]
    assert "windbreak" in set(own.group)


def test_shelter_is_what_stands_upwind_within_ten_heights(plan_ground: PlanGround) -> None:
    """Wind from the south: a swale is sheltered by a windbreak below it, over what overtops it."""
    planned = plan_ground(NAME)
    swales, trees = planned.swales, planned.layer("trees")
    windbreak = swales[swales.role == "windbreak"]
    tall = trees[trees.group == "windbreak"].groupby("swale_id").height_m.min()
    middle = shapely.get_coordinates(
        shapely.line_interpolate_point(
            shapely.force_2d(np.asarray(swales.geometry.array)), 0.5, normalized=True
        )
    )
    checked = 0
    for place, level, role, sheltered in zip(
        middle, swales.level_m, swales.role, swales.sheltered_pct, strict=True
    ):
        if role == "windbreak":
            continue
        expected = 0.0
        for row in windbreak.itertuples():
            points = shapely.get_coordinates(row.geometry)
            west, east = points[:, 0].min(), points[:, 0].max()
            far = place[1] - points[:, 1].mean()
            over = tall[row.swale_id] - max(level - row.level_m, 0.0)
            if west + 30.0 < place[0] < east - 30.0 and 0.0 < far < 10.0 * over - 5.0:
                expected = 100.0
        if expected:
            checked += 1
            assert sheltered > 50.0
    assert checked > 0


def test_windbreaks_and_shelter_are_counted_in_quantities(plan_ground: PlanGround) -> None:
    planned = plan_ground(NAME)
    swales, trees = planned.swales, planned.layer("trees")
    amount = planned.layer("quantities").set_index("item").amount
    windbreak = swales.role == "windbreak"
    assert amount["windbreaks"] == windbreak.sum() > 0
    sheltered = (~windbreak & (swales.sheltered_pct >= 50.0 - 1e-6)).sum()
    assert amount["production swales in shelter"] == sheltered > 0
    on = trees.swale_id.isin(swales.swale_id[windbreak])
    assert set(trees.group[on]) <= {"windbreak", "nitrogen fixer"}
    assert not (trees.group[~on] == "windbreak").any()
    codes = planned.layer("findings").code.to_list()
    assert "windbreaks_chosen" in codes
    assert "no_windbreak" not in codes


def test_without_a_table_of_wind_no_swale_is_a_windbreak(plan_ground: PlanGround) -> None:
    planned = plan_ground("plane")
    assert set(planned.swales.role) == {"tree"}
    assert planned.swales[["wind_met_pct", "sheltered_pct"]].isna().all(axis=None)
    assert "windbreaks" not in set(planned.layer("quantities").item)
