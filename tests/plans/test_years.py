"""Years of whole plans, from the file: they close, tell with and without, and are kept."""

from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest
import shapely

from soakline import tables
from soakline.inputs.species import read_species
from soakline.problems import InputRefused
from soakline.runfile.load import load_run_file
from soakline.stages import following
from soakline.stages.plan import make_plan
from soakline.stages.progress import Progress
from soakline.store.stage_store import StageStore
from soakline.years.balance import followed
from tests.plans.test_new_rain import store_in
from tests.terrain_analytic.ground import plane, sample
from tests.terrain_analytic.run_folder import DEFAULT_RAIN, write_run

pytestmark = pytest.mark.slow

YEARS = 12
MONTHS = "month,rain_mm,wet_days,tmin_c,tmax_c\n" + "".join(
    f"{month},{rain},{rain / 9:.2f},{warm - 6},{warm + 7}\n"
    for month, (rain, warm) in enumerate(
        zip(
            (110, 100, 90, 70, 50, 40, 30, 30, 40, 60, 80, 100),
            (24, 24, 21, 17, 13, 10, 9, 10, 13, 16, 19, 22),
            strict=True,
        ),
        start=1,
    )
)
# Clay soaks slowly: water stands, and some of it spills.
RUN: dict[str, Any] = {
    "soil": {"texture": "clay-loam"},
    "land": {"curve_number": 84},
    "section": {"base_width_m": 1.5, "depth_m": 0.4},
    "planting": {"trees": True},
    "climate": {"monthly": "months.csv", "years": YEARS, "silt_kg_m3": 20},
}


def run_folder(
    place: Path, features: dict[str, gpd.GeoDataFrame] | None = None, **changed: dict[str, Any]
) -> Path:
    dem, grid = sample(plane(8.0), width_m=300.0)
    run_file = write_run(place, dem, grid, run={**RUN, **changed}, features=features)
    (place / "months.csv").write_text(MONTHS, encoding="utf-8")
    return run_file


def planned(run_file: Path, store: StageStore | None = None, rain: Path | None = None) -> Path:
    out = run_file.with_name("plan.gpkg")
    make_plan(load_run_file(run_file), out, Progress(), rain_table=rain, store=store)
    return out


def table(plan: Path, name: str) -> pd.DataFrame:
    return pyogrio.read_dataframe(plan, layer=name, read_geometry=False)


def more_in_design_storms(factor: float) -> str:
    """The usual table with more rain in the design storms alone: sills stay, and trees off them."""
    head, *rows = DEFAULT_RAIN.splitlines()
    at = head.split(",").index("10")
    cells = [row.split(",") for row in rows]
    for own in cells:
        own[at] = f"{factor * float(own[at]):.3f}"
    return "\n".join([head, *map(",".join, cells)]) + "\n"


@pytest.fixture(scope="module")
def plan(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return planned(run_folder(tmp_path_factory.mktemp("years")))


def test_every_swale_has_every_year_and_closes(plan: Path) -> None:
    years, swales = table(plan, "water_years"), table(plan, "swales")
    assert len(years) == YEARS * len(swales)
    assert set(years.swale_id) == set(swales.swale_id)
    for _, own in years.groupby("swale_id"):
        assert own.year.tolist() == list(range(1, YEARS + 1))
        held = np.diff(own.held_m3, prepend=0.0)
        into = own.runoff_m3 + own.received_m3
        gone = own.soaked_m3 + own.evaporated_m3 + own.spilled_m3
        assert np.allclose(into, gone + held, rtol=0.0, atol=1e-6)
        comes = (own.rain_in_bands_m3 + own.soaked_m3)[1:]
        goes = (own.tree_use_m3 + own.cover_use_m3 + own.drained_m3)[1:]
        assert np.allclose(comes - goes, np.diff(own.stored_m3), rtol=0.0, atol=1e-6)


def test_the_years_are_plausible(plan: Path) -> None:
    years = table(plan, "water_years")
    year = years.groupby("year").mean(numeric_only=True)
    assert year.rain_mm.mean() == pytest.approx(800.0, rel=0.15)
    # Trees use more year by year, and more with swales than without.
    assert year.tree_use_m3[12] > 5.0 * year.tree_use_m3[2]
    assert (years.tree_use_m3 >= years.tree_use_without_m3 - 1e-9).all()
    assert years.tree_use_m3.sum() > 1.02 * years.tree_use_without_m3.sum()
    assert years.stress_days.sum() < 0.98 * years.stress_days_without.sum()
    assert (years.drained_m3 >= years.drained_without_m3 - 1e-9).all()
    assert (years.dry_days <= years.dry_days_without).all()
    assert (years.wet_days + years.dry_days <= 366).all()
    # No crop takes more than open water: bands of a year.
    used_mm = 1000.0 * (years.tree_use_m3 + years.cover_use_m3) / years.rooted_m2
    assert used_mm.max() < 1.05 * years.et0_mm.max()
    assert 0.0 < years.silt_pct.max() <= 100.0
    assert years.desilted.astype(bool).equals(years.silt_pct >= 20.0)


def test_findings_tell_the_figures_of_the_table(plan: Path) -> None:
    findings, years = table(plan, "findings"), table(plan, "water_years")
    told = findings.set_index("code").message
    assert "seed 1" in told["years_rough"]
    assert "Hargreaves" in told["years_rough"]
    total = years.groupby("year").sum(numeric_only=True)
    added = total.drained_m3 - total.drained_without_m3
    over = added[added > total.tree_use_m3]
    assert f"{over.iloc[0]:.0f} m³ beyond" in told["watertable_may_rise"]
    assert "20 % of the capacity" in told["silt_takes_room"]
    first = int(years.year[years.silt_pct >= 20.0].min())
    assert f"in year {first}" in told["silt_takes_room"]
    assert "stock reach leaves" in told["grazing_waits"]
    long = findings[findings.code == "water_stands_long"]
    longest = years.groupby("swale_id").longest_wet_h.max()
    assert set(long.feature_id) == set(longest.index[longest > 72.0])
    assert len(long) > 0
    for row in long.itertuples():
        assert f"for {longest[row.feature_id]:.1f} h" in row.message
    record = table(plan, "run_record").set_index("key").value
    assert record["weather_years"] == "12, from 2001-01-01"
    assert record["reference_evapotranspiration"].startswith("Hargreaves")
    assert "sha256" in record["input:monthly"]


def test_without_weather_the_table_is_empty_and_nothing_is_said(tmp_path: Path) -> None:
    plan = planned(run_folder(tmp_path, climate={}))
    assert len(table(plan, "water_years")) == 0
    codes = set(table(plan, "findings").code)
    assert not codes & {"years_rough", "watertable_may_rise", "silt_takes_room", "grazing_waits"}
    assert "timing_years_s" not in set(table(plan, "run_record").key)


def test_without_trees_the_cover_has_the_water(tmp_path: Path) -> None:
    plan = planned(run_folder(tmp_path, planting={"trees": False}))
    years = table(plan, "water_years")
    assert (years.tree_use_m3 == 0.0).all()
    assert (years.cover_use_m3 > years.cover_use_without_m3).any()
    told = table(plan, "findings").set_index("code").message
    assert "no trees are planned" in told["watertable_may_rise"]
    assert "grazing_waits" not in told


def test_trees_between_swales_are_followed_on_rain_alone(plan: Path, tmp_path: Path) -> None:
    other = planned(run_folder(tmp_path, planting={"between": True}))
    years, bare = table(other, "water_years"), table(plan, "water_years")
    of_between = [name for name in years if name.startswith("between_")]
    assert years.drop(columns=of_between).equals(bare.drop(columns=of_between))
    assert (bare[of_between] == 0.0).all(axis=None)
    trees = table(other, "trees")
    crowns_m2 = np.pi / 4.0 * trees.crown_m[trees.band == "between"].pow(2).sum()
    assert years.between_rooted_m2[years.year == 1].sum() == pytest.approx(crowns_m2)
    for _, own in years.groupby("swale_id"):
        goes = own.between_tree_use_m3 + own.between_cover_use_m3 + own.between_drained_m3
        left = (own.between_rain_m3 - goes)[1:]
        assert np.allclose(left, np.diff(own.between_stored_m3), rtol=0.0, atol=1e-6)
    last = years[years.year == YEARS]
    dry = np.average(last.between_stress_days, weights=last.between_rooted_m2)
    beside = np.average(last.stress_days, weights=last.rooted_m2)
    found = table(other, "findings").set_index("code").message["between_on_rain"]
    assert f"they use {last.between_tree_use_m3.sum():.0f} m³" in found
    assert f"on {dry:.0f} days, those beside swales on {beside:.0f}" in found
    assert "between_on_rain" not in set(table(plan, "findings").code)


def test_a_dam_gives_its_swale_water_in_its_months(plan: Path, tmp_path: Path) -> None:
    _, grid = sample(plane(8.0), width_m=300.0)
    west, south, _, _ = grid.bounds
    beyond = shapely.Point(west + 2.0, south + 2.0)  # off the property, so that no line moves
    dams = gpd.GeoDataFrame(
        {
            "release_swale": ["S001", "S999"],
            "release_m3_day": [2.0, 1.0],
            "release_from_month": [12, 1],
            "release_to_month": [1, 1],
        },
        geometry=[beyond, beyond],
    )
    fed = planned(run_folder(tmp_path, {"dams": dams}))
    more = table(fed, "water_years").runoff_m3 - table(plan, "water_years").runoff_m3
    own = table(plan, "water_years").swale_id == "S001"
    assert more[own].to_numpy() == pytest.approx(2.0 * 62)
    assert more[~own].to_numpy() == pytest.approx(0.0, abs=1e-9)
    told = table(fed, "findings").set_index("code").message
    assert '"S999"' in told["dam_release_unknown"]


def test_drains_and_releases_are_water_of_every_day(tmp_path: Path) -> None:
    """Caught is what all land that comes to a swale sheds, by drains too, and what dams give."""
    _, grid = sample(plane(8.0), width_m=300.0)
    west, south, east, north = grid.bounds
    middle = (south + north) / 2.0
    # East of the swales nothing stands: only the drain takes what falls there to the upper one.
    beside = shapely.box(east - 70.0, south, east, north)
    drain = shapely.LineString([(east - 23.0, middle + 90.0), (east - 110.0, middle + 77.0)])
    dam = gpd.GeoDataFrame(
        {"release_swale": ["S002"], "release_m3_day": [3.0]},
        geometry=[shapely.Point(west + 2.0, south + 2.0)],
    )
    features = {
        "no_swales": gpd.GeoDataFrame({"name": ["east"]}, geometry=[beside]),
        "diversions": gpd.GeoDataFrame({"name": ["drain"]}, geometry=[drain]),
        "dams": dam,
    }
    fed = planned(run_folder(tmp_path, features))
    assert table(fed, "diversions").swale_id.tolist() == ["S001"]
    land = pyogrio.read_dataframe(fed, layer="swale_catchments").set_index("swale_id")
    assert land.geometry["S001"].contains(shapely.Point(east - 40.0, middle + 120.0))
    for swale_id, own in table(fed, "water_years").groupby("swale_id"):
        area_m2, ponded_m2 = land.area_m2[swale_id], land.ponded_m2[swale_id]
        shed_m = own.runoff_without_m3 / area_m2
        days = np.where(own.year % 4 == 0, 366, 365)  # from 2001 on
        caught = shed_m * (area_m2 - ponded_m2) + own.rain_mm / 1000.0 * ponded_m2
        given = caught + 3.0 * days * (swale_id == "S002")
        assert own.runoff_m3.to_numpy() == pytest.approx(given.to_numpy(), rel=1e-9)
        gone = own.soaked_m3 + own.evaporated_m3 + own.spilled_m3
        left = own.runoff_m3 + own.received_m3 - gone - np.diff(own.held_m3, prepend=0.0)
        assert left.to_numpy() == pytest.approx(0.0, abs=1e-6)


def test_years_are_made_anew_only_where_what_they_depend_on_changed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = []

    def counted(*args: Any) -> Any:
        made.append(1)
        return followed(*args)

    monkeypatch.setattr(following, "followed", counted)
    run_file = run_folder(tmp_path)
    more = tmp_path / "more.csv"
    more.write_text(more_in_design_storms(1.1), encoding="utf-8")
    first = table(planned(run_file, store_in(tmp_path)), "water_years")
    again = table(planned(run_file, store_in(tmp_path), more), "water_years")
    assert len(made) == 1
    pd.testing.assert_frame_equal(first, again)
    run_folder(tmp_path, section={"base_width_m": 1.2, "depth_m": 0.4})
    other = table(planned(run_file, store_in(tmp_path)), "water_years")
    assert len(made) == 2
    assert not other.spilled_m3.equals(first.spilled_m3)
    (tmp_path / "months.csv").write_text(MONTHS.replace("1,110,", "1,90,", 1), encoding="utf-8")
    planned(run_file, store_in(tmp_path))
    assert len(made) == 3


def test_weather_that_cannot_be_is_refused_and_nothing_is_written(tmp_path: Path) -> None:
    run_file = run_folder(tmp_path)
    (tmp_path / "months.csv").write_text(MONTHS.replace("110", "-110", 1), encoding="utf-8")
    with pytest.raises(InputRefused) as refused:
        planned(run_file)
    (problem,) = refused.value.problems
    assert "row 2, column rain_mm" in problem.key
    assert not run_file.with_name("plan.gpkg").exists()


def test_the_calendar_digs_in_the_dry_and_plants_what_is_counted(plan: Path) -> None:
    calendar, trees = table(plan, "calendar"), table(plan, "trees")
    quantities = table(plan, "quantities").set_index("item").amount
    assert calendar.sort_values(["year", "month"], kind="stable").equals(calendar)
    by_task = calendar.set_index("task")
    assert by_task.amount["dig"] == pytest.approx(quantities["cut"])
    assert by_task.amount["seed bare earth"] == pytest.approx(quantities["bare earth to seed"])
    # After the cool, dry months, before summer brings rain that comes to half of evaporation.
    assert (by_task.year["dig"], by_task.month["dig"]) == (1, 8)
    assert (by_task.year["seed bare earth"], by_task.month["seed bare earth"]) == (1, 9)
    planted = calendar[calendar.task.str.startswith("plant ")]
    assert planted.amount.sum() == len(trees)
    first = planted[planted.task.isin(["plant pioneer trees", "plant nitrogen fixer trees"])]
    main = planted.drop(first.index)
    at = calendar.year * 12 + calendar.month
    assert at[main.index].min() - at[first.index].max() == 24
    assert at[first.index].min() > at[calendar.task == "seed bare earth"].max()
    inspected = calendar[calendar.task == "inspect after storms"]
    assert len(inspected) == YEARS
    assert (inspected.amount == len(table(plan, "swales"))).all()


def test_pioneers_are_thinned_when_the_first_trees_bear(plan: Path) -> None:
    """In the rest before: by the table that ships trees of year 3 bear in year 7 and later."""
    calendar, trees = table(plan, "calendar"), table(plan, "trees")
    bearing = {own.species: own.bearing_years for own in read_species(tables.table("species.csv"))}
    main = trees[trees.group.isin(["fruit", "nut", "timber"])]
    crops = (main.year + main.species.map(bearing)).groupby(main.swale_id).min()
    crops = np.fmin(crops - 1, table(plan, "swales").set_index("swale_id").crowns_close_year)
    pioneers = trees[trees.group == "pioneer"].groupby("swale_id").size()
    thinned = calendar[calendar.task == "thin pioneers"]
    assert len(thinned) > 0
    assert thinned.amount.sum() == pioneers[crops[pioneers.index] <= YEARS].sum()
    first = int(crops[pioneers.index].min())
    at, dug = thinned.iloc[0], calendar[calendar.task == "dig"].iloc[0]
    # In the rest after that year of the works, which begins with the digging.
    assert 0 <= at.year * 12 + at.month - ((first + 1) * 12 + dug.month) < 12


def test_desilting_comes_in_the_dry_season_after_it_is_due(plan: Path) -> None:
    calendar, years = table(plan, "calendar"), table(plan, "water_years")
    due = years[years.desilted.astype(bool)]
    dug = calendar[calendar.task == "desilt and reshape"]
    dry = calendar.month[calendar.task == "dig"].iloc[0]
    assert len(due) > 0
    assert set(dug.year) == set(due.year + 1)
    assert (dug.month == dry).all()
    capacity = table(plan, "swales").set_index("swale_id").capacity_m3
    silt_m3 = (due.silt_pct / 100.0 * capacity[due.swale_id].to_numpy()).sum()
    assert dug.amount.sum() == pytest.approx(silt_m3)
