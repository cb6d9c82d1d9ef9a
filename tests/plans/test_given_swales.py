"""Swales that are given, and lips measured after digging, on grounds whose figures are known."""

import re
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest
import shapely
from shapely import LineString
from shapely.affinity import translate

from soakline import __version__
from soakline.problems import InputRefused
from soakline.runfile.load import load_run_file
from soakline.section.earthworks import end_batter_m3
from soakline.section.trench import Trench, cut_area_m2, trenches_of
from soakline.stages.plan import make_plan
from soakline.stages.progress import Progress
from soakline.store.stage_store import StageStore
from soakline.verify.plan import verify_plan
from tests.terrain_analytic.ground import (
    CENTRE_EASTING_M,
    CENTRE_HEIGHT_M,
    CENTRE_NORTHING_M,
    Height,
    plane,
    sample,
    v_valley,
)
from tests.terrain_analytic.run_folder import write_run

pytestmark = pytest.mark.slow

SLOPE, INTERVAL_M = 0.08, 4.0
BASE_M, DEPTH_M, BATTER = 1.5, 0.5, 1.5
KEYS = {
    "spacing": {"mature_tree_height_m": INTERVAL_M},
    "section": {"base_width_m": BASE_M, "depth_m": DEPTH_M, "batter": BATTER},
}
LAYERS = (
    "swales", "findings", "quantities", "spillways", "overflow_routes", "swale_catchments", "pegs",
    "swale_ground",
)  # fmt: skip
Plan = dict[str, pd.DataFrame]


def planned(
    folder: Path,
    height: Height | None = None,
    store: StageStore | None = None,
    levels: str = "",
    run: dict[str, Any] | None = None,
    **features: gpd.GeoDataFrame,
) -> Plan:
    """Layers of a plan of 300 m by 300 m; `levels` are the rows of `as_built`."""
    dem, grid = sample(height or plane(100.0 * SLOPE), width_m=300.0)
    keys: dict[str, Any] = {**KEYS, **(run or {})}
    if levels:
        keys["earthworks"] = {**keys.get("earthworks", {}), "as_built": "lips.csv"}
    run_file = write_run(folder, dem, grid, run=keys, features=features)
    if levels:
        (folder / "lips.csv").write_text(f"swale_id,chainage_m,level_m\n{levels}\n")
    out = folder / "plan.gpkg"
    make_plan(load_run_file(run_file), out, Progress(), store=store)
    return {name: pyogrio.read_dataframe(out, layer=name) for name in LAYERS}


def at(east_m: float, north_m: float) -> tuple[float, float]:
    return CENTRE_EASTING_M + east_m, CENTRE_NORTHING_M + north_m


def level_line(north_m: float, from_m: float, to_m: float) -> LineString:
    """On the plane that falls south; its uphill side is on the left where it runs west to east."""
    return LineString([at(from_m, north_m), at(to_m, north_m)])


def given(*shapes: LineString, **columns: Any) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(columns, geometry=list(shapes))


def of_code(plan: Plan, code: str) -> pd.DataFrame:
    return plan["findings"][plan["findings"].code == code]


def by_id(plan: Plan) -> pd.DataFrame:
    return plan["swales"].set_index("swale_id")


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> Plan:
    """The plane without a given swale: 300 m by 300 m, 4 m of trees."""
    return planned(tmp_path_factory.mktemp("plain"))


def test_a_plans_own_swales_given_back_are_the_same_plan(tmp_path: Path, plain: Plan) -> None:
    """Lines, levels, ids and figures to the bit; none is added between them."""
    again = planned(tmp_path, given_swales=plain["swales"])
    assert len(plain["swales"]) == 5
    assert set(again["swales"].state) == {"fixed"}
    assert set(plain["swales"].state) == {"planned"}
    same = [name for name in plain["swales"].columns if name not in ("state", "geometry")]
    pd.testing.assert_frame_equal(again["swales"][same], plain["swales"][same])
    assert shapely.equals_identical(
        again["swales"].geometry.to_numpy(), plain["swales"].geometry.to_numpy()
    ).all()
    assert not again["findings"].code.str.startswith("given_").any()


def test_swales_moved_split_and_deleted_come_back_as_they_are(tmp_path: Path, plain: Plan) -> None:
    """5 m down a slope of 8 % is 0.40 m lower; lines are laid 0.015 m into the ground.

    The freed id goes to the line that is laid anew.
    """
    edited = plain["swales"].copy()
    assert list(edited.swale_id[:4]) == ["S001", "S002", "S003", "S004"]
    edited.geometry = [
        translate(shape, 0.0, -5.0) if own == "S002" else shape
        for own, shape in zip(edited.swale_id, edited.geometry, strict=True)
    ]
    whole = edited.geometry[2]
    halves = [shapely.ops.substring(whole, 0.0, 100.0), shapely.ops.substring(whole, 106.0, 1e4)]
    pieces = edited.iloc[[2, 2]].set_geometry(halves, crs=edited.crs)
    kept = edited[~edited.swale_id.isin(["S003", "S004"])]
    edited = pd.concat([kept, pieces], ignore_index=True)
    plan = planned(tmp_path, given_swales=edited)
    swales = by_id(plan)
    before = plain["swales"].set_index("swale_id")
    assert swales.state.to_dict() == {
        **dict.fromkeys(["S001", "S002", "S003", "S003-2"], "fixed"), "S004": "planned",
        **dict.fromkeys([own for own in before.index if own > "S004"], "fixed"),
    }  # fmt: skip
    for own, shape in zip(edited.swale_id, edited.geometry, strict=True):
        name = "S003-2" if shape.equals(halves[1]) else own
        assert shapely.equals_exact(
            shapely.force_2d(swales.geometry[name]), shapely.force_2d(shape), 1e-9
        )
    assert (swales.level_m["S002"], swales.level_m["S003-2"]) == (
        before.level_m["S002"], before.level_m["S003"],
    )  # fmt: skip
    (moved,) = of_code(plan, "given_swale_off_level").itertuples()
    assert (moved.feature_id, moved.severity) == ("S002", "caution")
    (lowest,) = re.findall(r"from (-\d\.\d\d) m at", moved.message)
    assert float(lowest) == pytest.approx(-0.385, abs=0.011)
    assert of_code(plan, "given_swale_split").feature_id.tolist() == ["S003-2"]
    # Where S004 was taken out the rule lays it again, on its level and within its ends.
    assert swales.level_m["S004"] == before.level_m["S004"]
    assert swales.length_m["S004"] == pytest.approx(before.length_m["S004"])


@pytest.mark.parametrize("level_m", [None, 397.33])
def test_planned_lines_keep_their_interval_from_a_given_one(
    tmp_path: Path, level_m: float | None
) -> None:
    """A line of 100 m on the ground's level of 397.33 m, given with and without that level."""
    north_m = (397.33 - CENTRE_HEIGHT_M) / SLOPE
    line = level_line(north_m, 50.0, -50.0)
    plan = planned(tmp_path, given_swales=given(line, swale_id=["old"], level_m=[level_m]))
    swales = by_id(plan)
    old, others = swales.loc["old"], swales[swales.index != "old"]
    # The least of float32 heights, to the millimetre below.
    assert old.level_m == pytest.approx(397.33, abs=0.0011)
    assert old.geometry.coords[0][0] < old.geometry.coords[-1][0]
    assert of_code(plan, "given_swale_turned").feature_id.tolist() == ["old"]
    assert set(others.state) == {"planned"}
    assert list(others.index) == [f"S{k + 1:03d}" for k in range(len(others))]
    steps = (others.level_m - old.level_m) / INTERVAL_M
    assert steps.to_numpy() == pytest.approx(np.rint(steps), abs=1e-3)
    assert set(np.rint(steps)) == {-1.0, 0.0, 1.0, 2.0, 3.0}
    beside = others[np.rint(steps) == 0.0]
    assert len(beside) == 2
    assert all(5.0 <= shape.distance(old.geometry) <= 12.0 for shape in beside.geometry)
    assert old.interval_above_m == pytest.approx(INTERVAL_M, abs=0.002)
    assert old.spacing_above_m == pytest.approx(INTERVAL_M / SLOPE, abs=0.5)
    works = plan["swale_ground"].dissolve("swale_id").geometry
    assert works.drop("old").distance(works["old"]).min() >= 1.0 - 1e-6


def test_a_given_line_between_the_levels_clears_the_slope_above_and_below_it(
    tmp_path: Path, plain: Plan
) -> None:
    """Levels run from most length of given lips: one between them is kept clear of, too."""
    series = given(
        *plain["swales"].geometry.iloc[:2], level_line(-60.0, -40.0, 40.0),
        swale_id=["a", "b", "c"], level_m=[*plain["swales"].level_m.iloc[:2], None],
    )  # fmt: skip
    swales = by_id(planned(tmp_path, given_swales=series))
    own = swales.loc["c"]
    others = swales[swales.state == "planned"]
    lowest, highest = plain["swales"].level_m.min(), plain["swales"].level_m.max()
    assert set(others.level_m) <= set(plain["swales"].level_m)
    assert lowest in set(others.level_m)
    assert highest == swales.level_m.max()
    near = others[(others.level_m - own.level_m).abs() < INTERVAL_M - 0.002]
    assert len(near) > 0
    west, _, east, _ = own.geometry.bounds
    for shape in near.geometry:
        assert shape.bounds[2] < west or shape.bounds[0] > east


def test_the_mound_above_gives_way_to_a_given_swale_that_is_cut_deep_into_the_hill(
    tmp_path: Path,
) -> None:
    """It runs up the hill at one end, where 3 m stand over its level: the face is met far uphill.

    A planned line comes by there; its lip is no part of what is dug.
    """
    uphill = LineString([at(-110.0, 0.0), at(0.0, 0.0), at(110.0, 38.0)])
    level = CENTRE_HEIGHT_M
    layers = planned(tmp_path, given_swales=given(uphill, swale_id=["G1"], level_m=[level]))
    ground = layers["swale_ground"]
    own = shapely.union_all(ground.geometry[ground.swale_id == "G1"].array)
    others = ground[ground.swale_id != "G1"]
    assert shapely.distance(own, shapely.union_all(others.geometry.array)) < 0.5
    assert shapely.area(shapely.intersection(own, others.geometry.array)).max() < 0.01


def test_the_section_and_works_of_a_built_swale_are_as_it_was_dug(tmp_path: Path) -> None:
    """Base 2.1 m, depth 0.4 m, batter 1: the lip's 120 m less 0.8 m are the base's length.

    With battered ends it holds (b B + m (b + B) d + 4/3 m² d²) d.
    """
    section = {"base_width_m": [2.1, 2.1], "depth_m": [0.4, 0.4], "batter": [1.0, 1.0]}
    lines = given(
        level_line(20.0, -60.0, 60.0), level_line(-50.0, -60.0, 60.0),
        swale_id=["dug", "to dig"], state=["built", "fixed"], **section,
    )  # fmt: skip
    plan = planned(
        tmp_path, given_swales=lines, run={"earthworks": {"phase": "year", "swales_per_year": 2}}
    )
    swales = by_id(plan)
    dug = swales.loc["dug"]
    assert (dug.base_width_m, dug.depth_m, dug.batter) == (2.1, 0.4, 1.0)
    assert swales.base_width_m["to dig"] == BASE_M
    base = 120.0 - 2.0 * 0.4
    held = (2.1 * base + (2.1 + base) * 0.4 + 4.0 / 3.0 * 0.4**2) * 0.4
    assert dug.capacity_m3 == pytest.approx(held)
    left = swales[swales.state != "built"]
    amount = plan["quantities"].set_index("item").amount
    assert amount["swales"] == len(left) == len(swales) - 1
    assert amount["cut"] == pytest.approx(left.cut_m3.sum())
    assert amount["lip"] == pytest.approx(left.length_m.sum())
    assert amount["water held"] == pytest.approx(swales.capacity_m3.sum())
    assert dug.cut_m3 > 0.0
    assert (dug.machine_h, dug.build_order, dug.phase) == (0.0, 1, 0)
    assert left.phase.value_counts().max() == 2
    (note,) = of_code(plan, "built_not_counted").message
    assert f"1 of {len(swales)} swales are built" in note


def held_m3(length_m: float, water_m: float) -> float:
    """Water in the trench of this module up to a depth, its ends battered."""
    base = length_m - 2.0 * BATTER * DEPTH_M
    y = water_m
    return BASE_M * base * y + BATTER * (BASE_M + base) * y**2 + 4.0 / 3.0 * BATTER**2 * y**3


def test_a_built_swale_wider_than_any_planned_one_is_cut_as_far_as_it_goes_into_the_hill(
    tmp_path: Path,
) -> None:
    """12 m of base, 1 m deep, 3 to 1: the batter meets 8 % at 23.7 m, with a face of 2.89 m."""
    section = {"base_width_m": [12.0], "depth_m": [1.0], "batter": [3.0]}
    old = given(level_line(0.0, -40.0, 40.0), state=["built"], **section)
    own = planned(tmp_path, given_swales=old)["swales"].query("base_width_m == 12").iloc[0]
    trench = trenches_of([Trench(12.0, 1.0, 3.0)])
    area = cut_area_m2(trench, np.zeros(1), np.array([SLOPE]))
    ends = end_batter_m3(trench, area, area)
    assert own.cut_m3 == pytest.approx(float((own.length_m * area - ends)[0]), rel=1e-3)
    assert own.face_height_m == pytest.approx(1.0 + SLOPE * 18.0 / (1.0 - 3.0 * SLOPE), abs=1e-3)


@pytest.mark.parametrize("state", ["planned", "built"])
def test_a_lip_holds_water_to_its_lowest_place_and_spills_there(
    tmp_path: Path, plain: Plan, state: str
) -> None:
    """0.10 m low at 40 m: (b + m (d − 0.1)) (d − 0.1) a metre, the ends' batter taken off."""
    level, length = by_id(plain).level_m["S002"], by_id(plain).length_m["S002"]
    rows = [f"S002,{x},{level + dz:.3f}" for x, dz in ((0, 0.3), (40, -0.1), (90.5, 0.02))]
    rows.append(f"S003,12,{by_id(plain).level_m['S003'] + 0.04:.3f}")
    features = {} if state == "planned" else {"given_swales": plain["swales"].assign(state=state)}
    plan = planned(tmp_path, levels="\n".join(rows), **features)
    swales = by_id(plan)
    own = swales.loc["S002"]
    assert own.level_m == level
    assert own.capacity_m3 == pytest.approx(held_m3(length, DEPTH_M - 0.1))
    per_metre = (BASE_M + BATTER * (DEPTH_M - 0.1)) * (DEPTH_M - 0.1)
    assert own.capacity_m3 == pytest.approx(per_metre * length, rel=0.01)
    assert own.capacity_lost_m3 == pytest.approx(by_id(plain).capacity_m3["S002"] - own.capacity_m3)
    assert (own.first_spill_m, own.lip_low_m) == (40.0, pytest.approx(level - 0.1))
    (spillway,) = plan["spillways"][plan["spillways"].swale_id == "S002"].itertuples()
    assert spillway.sill_level_m == pytest.approx(level - 0.1)
    middle = shapely.line_locate_point(own.geometry, spillway.geometry)
    assert middle == pytest.approx(40.0, abs=spillway.sill_length_m / 2.0)
    (route,) = plan["overflow_routes"][plan["overflow_routes"].swale_id == "S002"].itertuples()
    assert (route.to_kind, route.to_id) == ("swale", "S003")
    assert route.geometry.coords[0] == spillway.geometry.coords[0]
    (told,) = of_code(plan, "as_built_low").itertuples()
    assert told.feature_id == "S002"
    assert "chainage 40.0 m" in told.message
    assert f"{own.capacity_lost_m3:.0f} m³ are lost" in told.message
    # A lip that lies high holds what was planned, and one that was not measured tells nothing.
    assert swales.capacity_m3["S003"] == by_id(plain).capacity_m3["S003"]
    assert swales.capacity_lost_m3["S003"] == 0.0
    assert np.isnan(swales.lip_low_m["S001"])
    assert of_code(plan, "as_built_holds").message.str.contains("S003").all()
    lines = verify_plan(tmp_path / "plan.gpkg", (), __version__)
    assert [line.what for line in lines if line.holds is False] == []


def test_a_low_place_that_leads_to_no_safe_end_is_a_stop(tmp_path: Path, plain: Plan) -> None:
    """Water from 40 m along the upper lip runs straight south, into a house's ground."""
    start = plain["swales"].geometry.iloc[0].coords[0]
    house = shapely.Point(start[0] + 40.0, start[1] - 38.0).buffer(2.0)
    buildings = given(house)
    plan = planned(tmp_path / "before", buildings=buildings)
    upper = plan["swales"].iloc[0]
    at_m = float(
        shapely.line_locate_point(upper.geometry, shapely.Point(house.centroid.x, start[1]))
    )
    rows = f"{upper.swale_id},{at_m:.2f},{upper.level_m - 0.2:.3f}"
    low = planned(tmp_path / "low", levels=rows, buildings=buildings)
    assert upper.swale_id in set(plan["spillways"].swale_id)
    assert upper.swale_id not in set(low["spillways"].swale_id)
    assert upper.swale_id in set(of_code(low, "no_safe_end").feature_id)


def test_levels_that_are_not_of_this_plan_are_refused_together_and_nothing_is_written(
    tmp_path: Path, plain: Plan
) -> None:
    level = by_id(plain).level_m
    rows = {
        "S0011,0,400": ("row 2, column swale_id", '"S0011"', "the nearest is S001"),
        "S001,900,400": ("row 3, column chainage_m", "900 m", "the length of S001"),
        f"S002,5,{level['S002'] - DEPTH_M}": ("row 4, column level_m", "over its base"),
        "S003,5,9000": ("row 5, column level_m", "9000 m", "not 2 m over its level"),
    }
    with pytest.raises(InputRefused) as refused:
        planned(tmp_path, levels="\n".join(rows))
    for name in (
        "lips.csv",
        "earthworks.as_built",
        *(own for names in rows.values() for own in names),
    ):
        assert name in str(refused.value)
    assert not (tmp_path / "plan.gpkg").exists()


@pytest.mark.parametrize(
    ("apart_m", "words"),
    [(0.0, "b: found a line that runs along a"), (0.4, "shares each of its cells")],
)
def test_a_given_line_without_ground_of_its_own_is_refused(
    apart_m: float, words: str, tmp_path: Path
) -> None:
    """A second one in the same cells of 1 m; no water would meet it first."""
    lines = given(level_line(0.2, -40, 40), level_line(0.2 + apart_m, -40, 40), swale_id=["a", "b"])
    with pytest.raises(InputRefused) as refused:
        planned(tmp_path, given_swales=lines)
    for name in ("features.gpkg", "property.features, layer given_swales, ", words):
        assert name in str(refused.value)
    assert not (tmp_path / "plan.gpkg").exists()


def test_given_swales_where_none_may_lie_stay_and_are_told(tmp_path: Path) -> None:
    """On ground kept free by wish, by a house, over the edge, across each other, straight down.

    The last falls 20 m at 8 % from its level: at its lower end it would be a dam of 1.6 m.
    """
    lines = given(
        level_line(80.0, -60.0, 0.0), level_line(10.0, -60.0, 0.0), level_line(-60.0, 80.0, 140.0),
        LineString([at(-100.0, -90.0), at(-40.0, -95.0)]),
        LineString([at(-100.0, -95.0), at(-40.0, -90.0)]),
        LineString([at(80.0, 40.0), at(80.0, 20.0)]),
        swale_id=["wish", "house", "edge", "one", "two", "downhill"],
        level_m=[None] * 5 + [CENTRE_HEIGHT_M + SLOPE * 40.0],
    )  # fmt: skip
    plan = planned(
        tmp_path,
        given_swales=lines,
        no_swales=given(shapely.box(*at(-40.0, 70.0), *at(-20.0, 90.0))),
        buildings=given(shapely.box(*at(-35.0, 4.0), *at(-28.0, 8.0))),
    )
    assert set(plan["swales"].swale_id) >= set(lines.swale_id)
    told = of_code(plan, "given_swale_on_excluded_ground").set_index("feature_id")
    assert told.severity.to_dict() == {"wish": "caution", "house": "stop", "edge": "stop"}
    assert "by_wish" in told.message["wish"]
    assert "building" in told.message["house"]
    assert "beyond the property's edge" in told.message["edge"]
    off = of_code(plan, "given_swale_off_level").set_index("feature_id")
    assert off.severity.to_dict() == {"one": "caution", "two": "caution", "downhill": "stop"}
    assert "from -1.60 m at chainage" in off.message["downhill"]
    assert "a dam" in off.message["downhill"]
    (met,) = of_code(plan, "given_swales_meet").itertuples()
    assert met.severity == "stop"
    assert {met.feature_id, *met.message.split()} >= {"one", "two"}


def test_a_given_swale_across_a_valley_is_a_dam_and_is_told(tmp_path: Path) -> None:
    across = given(LineString([at(-50.0, 0.0), at(50.0, 0.0)]), swale_id=["dam"], level_m=[402.0])
    keys = {"terrain": {"drainage_area_ha": 1.0}}
    plan = planned(tmp_path, v_valley(8.0, 2.0), run=keys, given_swales=across)
    told = of_code(plan, "given_swale_across_drainage_line")
    assert (told.feature_id.tolist(), told.severity.tolist()) == (["dam"], ["stop"])


def test_a_rerun_with_levels_and_other_lines_gives_what_a_cold_run_gives(
    tmp_path: Path, plain: Plan
) -> None:
    """Levels are in the key of no stage that is kept, given lines in that of all."""
    store = StageStore(tmp_path / "work", 1.0, False, pytest.fail)
    folder = tmp_path / "run"
    case: dict[str, Any] = {
        "levels": f"S002,30,{by_id(plain).level_m['S002'] - 0.15:.3f}",
        "given_swales": plain["swales"].iloc[1:],
    }
    planned(folder, store=store)
    warm = planned(folder, store=store, **case)
    cold = planned(tmp_path / "cold", **case)
    for name in LAYERS:
        pd.testing.assert_frame_equal(warm[name], cold[name])
