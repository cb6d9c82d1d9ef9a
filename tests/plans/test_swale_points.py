"""Ponds, basins and pits along the swales of a plane, clay above sand: read from the plans."""

from collections.abc import Callable
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest
import shapely

from soakline import __version__
from soakline.runfile.load import load_run_file
from soakline.section.points import pond_m3
from soakline.section.trench import Trench, cut_area_m2
from soakline.stages.plan import make_plan
from soakline.stages.progress import Progress
from soakline.verify.plan import verify_plan
from tests.plans.grounds import clay_over_sand
from tests.terrain_analytic.ground import CENTRE_EASTING_M, CENTRE_NORTHING_M, plane, sample
from tests.terrain_analytic.run_folder import write_run

SLOPE = 0.08
NAMES = ("swale_points", "swale_point_ground", "swales", "spillways", "quantities", "findings")
UNTOUCHED = ("swales", "swale_ground", "swale_catchments", "spillways", "overflow_routes", "pegs",
             "crossings", "swale_storms")  # fmt: skip
SUGGESTED = {"ponds": "suggested", "basins": "suggested", "organic_pit_every_m": 20}

Layers = dict[str, pd.DataFrame]
Features = dict[str, gpd.GeoDataFrame]


def planned(
    folder: Path, points: dict[str, Any], features: Features | None = None, **run: Any
) -> Callable[[str], pd.DataFrame]:
    """Layers of a plan of the plane, by name."""
    dem, grid = sample(plane(100.0 * SLOPE), width_m=270.0)
    settings = {"spacing": {"mature_tree_height_m": 4}, "swale_points": points, **run}
    given = {"soils": clay_over_sand(), **(features or {})}
    run_file = write_run(folder, dem, grid, features=given, run=settings)
    make_plan(load_run_file(run_file), folder / "plan.gpkg", Progress())
    return cache(lambda name: pyogrio.read_dataframe(folder / "plan.gpkg", layer=name))


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], pd.DataFrame]:
    return planned(tmp_path_factory.mktemp("plain"), {})


@pytest.fixture(scope="module")
def suggested(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], pd.DataFrame]:
    return planned(tmp_path_factory.mktemp("suggested"), SUGGESTED)


def of_code(layers: Callable[[str], pd.DataFrame], code: str) -> pd.DataFrame:
    found = layers("findings")
    return found[found.code == code]


def points_of(layers: Callable[[str], pd.DataFrame], kind: str) -> pd.DataFrame:
    """Points of one kind beside their swales."""
    points = layers("swale_points")
    swales = layers("swales").drop(columns="geometry")
    return points[points.kind == kind].merge(swales, on="swale_id", suffixes=("", "_swale"))


def chosen(*points: tuple[str, float, float], **sizes: list[float]) -> Features:
    """Chosen points by kind, metres east and north of the centre."""
    kind, east, north = zip(*points, strict=True)
    at = gpd.points_from_xy(np.array(east) + CENTRE_EASTING_M, np.array(north) + CENTRE_NORTHING_M)
    return {"swale_points": gpd.GeoDataFrame({"kind": kind, **sizes}, geometry=at)}


def test_nothing_is_dug_and_nothing_told_unless_asked_for(
    plain: Callable[[str], pd.DataFrame],
) -> None:
    assert len(plain("swale_points")) == len(plain("swale_point_ground")) == 0
    assert not plain("quantities").item.str.contains("pond|basin|pit").any()
    assert "swale_points" not in set(plain("findings").layer)


def test_level_sill_capacity_and_storms_are_those_without_points(
    plain: Callable[[str], pd.DataFrame], suggested: Callable[[str], pd.DataFrame]
) -> None:
    """All but the hours that their digging takes."""
    for name in UNTOUCHED:
        before, after = plain(name), suggested(name)
        if name == "swales":
            assert (after.machine_h >= before.machine_h).all()
            before, after = (own.drop(columns="machine_h") for own in (before, after))
        pd.testing.assert_frame_equal(pd.DataFrame(before), pd.DataFrame(after), check_exact=True)


def test_each_soil_has_its_own_kind_one_a_swale(suggested: Callable[[str], pd.DataFrame]) -> None:
    ponds, basins = points_of(suggested, "pond"), points_of(suggested, "basin")
    assert set(ponds.texture) == {"clay"}
    assert set(basins.texture) == {"sand"}
    assert ponds.swale_id.is_unique
    assert basins.swale_id.is_unique
    # Every swale of this plane is longer than 40 m and has room.
    assert set(ponds.swale_id) | set(basins.swale_id) == set(suggested("swales").swale_id)
    assert of_code(suggested, "swale_point_on_other_soil").empty
    assert of_code(suggested, "passage_interrupted").empty
    assert set(ponds.source) == {"suggested"}


def test_a_suggested_point_lies_in_the_middle_of_the_longest_clear_reach(
    suggested: Callable[[str], pd.DataFrame],
) -> None:
    """2 m off sills and off the slope at the trench's ends; common practice, no source."""
    swales, sills = suggested("swales").set_index("swale_id"), suggested("spillways")
    points = suggested("swale_points")
    for own in points[points.kind != "organic_pit"].itertuples():
        swale = swales.loc[own.swale_id]
        line = shapely.force_2d(swale.geometry)
        end = swale.batter * swale.depth_m + 2.0
        edges = [(0.0, end), (swale.length_m - end, swale.length_m)]
        for sill in sills[sills.swale_id == own.swale_id].itertuples():
            at, half = line.project(sill.geometry), sill.sill_length_m / 2.0 + 2.0
            edges.append((at - half, at + half))
        taken = shapely.union_all([shapely.box(a, 0.0, b, 1.0) for a, b in edges])
        free = shapely.get_parts(shapely.box(0.0, 0.0, swale.length_m, 1.0) - taken)
        longest = max(free, key=shapely.area)
        assert own.chainage_m == pytest.approx(longest.centroid.x, abs=0.01)
        assert own.length_m <= longest.area


def test_a_pond_holds_what_is_dug_for_it_and_says_how_long(
    suggested: Callable[[str], pd.DataFrame],
) -> None:
    """Clay soaks 0.6 mm/h (Rawls 1982), half of it once clogged: 0.3 m in 1000 h."""
    ponds = points_of(suggested, "pond")
    volume = pond_m3(ponds.base_width_m, ponds.batter, 6.0, 0.3, 3.0)
    assert ponds.storage_m3.to_numpy() == pytest.approx(volume)
    assert (ponds.cut_m3 == ponds.storage_m3).all()
    assert ponds.seep_h.to_numpy() == pytest.approx(1000.0)
    floor = ponds.level_m - ponds.depth_m_swale - 0.3
    assert ponds.floor_level_m.to_numpy() == pytest.approx(floor.to_numpy())
    told = of_code(suggested, "pond_stands")
    assert set(told.feature_id) == set(ponds.point_id)
    assert told.message.str.contains("42 days.*drown a child.*mosquitoes").all()


def test_a_basin_is_cut_as_the_difference_of_two_sections(
    suggested: Callable[[str], pd.DataFrame],
) -> None:
    """A + T² s / (2 (1 − s m)) and what the ground stands over the level, with base b + 1 and b."""
    for own in points_of(suggested, "basin").itertuples():
        above = np.array([(own.ground_min_m + own.ground_max_m) / 2.0])
        plain, wide = (
            cut_area_m2(
                Trench(own.base_width_m + added, own.depth_m_swale, own.batter),
                above,
                np.array([SLOPE]),
            )[0]
            for added in (0.0, own.width_m)
        )
        slope_m = own.batter * own.depth_m_swale
        assert own.cut_m3 == pytest.approx((wide - plain) * (own.length_m - slope_m), rel=0.005)
        area = own.width_m * own.depth_m_swale
        assert own.storage_m3 == pytest.approx(area * (own.length_m - slope_m))
        assert own.area_m2 == pytest.approx(own.width_m * (own.length_m - 2.0 * slope_m))


def test_outlines_keep_off_other_swales_and_a_basin_reaches_uphill_from_the_water(
    suggested: Callable[[str], pd.DataFrame],
) -> None:
    ground = suggested("swale_point_ground").set_index("point_id")
    swales = suggested("swales").set_index("swale_id")
    for own in suggested("swale_points").itertuples():
        outline, swale = ground.geometry[own.point_id], swales.loc[own.swale_id]
        assert ground.area_m2[own.point_id] == pytest.approx(outline.area)
        lip = shapely.force_2d(swale.geometry)
        near, far = lip.distance(outline), lip.hausdorff_distance(outline)
        assert far > near
        slope_m = swale.batter * swale.depth_m
        if own.kind == "basin":
            assert near == pytest.approx(swale.top_width_m, abs=0.01)
        elif own.kind == "pond":
            assert near == pytest.approx(slope_m, abs=0.01)
            assert outline.area == pytest.approx(own.length_m * swale.base_width_m, rel=0.01)
        else:
            assert near == pytest.approx(slope_m + (swale.base_width_m - 0.6) / 2.0, abs=0.01)
        assert own.geometry.within(outline.convex_hull) or own.kind == "basin"
        others = swales.drop(own.swale_id).geometry
        assert others.distance(outline).min() > 1.0


def test_pits_stand_at_even_steps_and_keep_off_sills_and_other_points(
    suggested: Callable[[str], pd.DataFrame],
) -> None:
    pits, sills = points_of(suggested, "organic_pit"), suggested("spillways")
    assert ((pits.chainage_m - 10.0) % 20.0).to_numpy() == pytest.approx(0.0, abs=1e-6)
    assert (pits.organic_m3 == pits.cut_m3).all()
    assert pits.organic_m3.to_numpy() == pytest.approx(1.5 * 0.6 * 0.5)
    lines = suggested("swales").set_index("swale_id").geometry
    for swale_id, own in suggested("swale_points").groupby("swale_id"):
        spans = sorted(zip(own.chainage_m - own.length_m / 2.0, own.length_m, strict=True))
        for (start, length), (following, _) in pairwise(spans):
            assert following - start - length >= 2.0 - 1e-9
        line = shapely.force_2d(lines[swale_id])
        for sill in sills[sills.swale_id == swale_id].itertuples():
            away = (own.chainage_m - line.project(sill.geometry)).abs()
            assert (away >= (own.length_m + sill.sill_length_m) / 2.0 + 2.0 - 1e-6).all()
    told = of_code(suggested, "organic_pits_settle")
    assert len(told) == 1
    assert f"{len(pits)} pits take {pits.organic_m3.sum():.1f} m³" in told.message.iloc[0]


def test_what_they_take_and_hold_is_in_the_quantities_and_in_the_hours(
    plain: Callable[[str], pd.DataFrame], suggested: Callable[[str], pd.DataFrame]
) -> None:
    """Swell 25 % and settlement 10 %: the run file's defaults."""
    points, rows = suggested("swale_points"), suggested("quantities").set_index("item").amount
    kinds = points.kind.value_counts()
    assert rows["seasonal ponds"] == kinds["pond"]
    assert rows["infiltration basins"] == kinds["basin"]
    assert rows["organic pits"] == kinds["organic_pit"]
    cut = rows["cut of ponds, basins and pits"]
    assert cut == pytest.approx(points.cut_m3.sum())
    assert rows["spoil of ponds, basins and pits, settled"] == pytest.approx(cut * 1.25 * 0.9)
    assert rows["water held in ponds and basins"] == pytest.approx(points.storage_m3.sum())
    assert rows["organic fill of pits"] == pytest.approx(points.organic_m3.sum())
    before = plain("quantities").set_index("item").amount
    for item in ("cut", "fill, settled", "footprint", "water held"):
        assert rows[item] == before[item]
    hours = [own[own.index.str.startswith("machine hours")].sum() for own in (before, rows)]
    assert hours[1] / hours[0] == pytest.approx(1.0 + cut / before["cut"], rel=0.05)
    message = of_code(suggested, "swale_points_not_counted").message.iloc[0]
    assert f"hold {points.storage_m3.sum():.1f} m³" in message


def test_the_search_says_where_it_found_no_place(
    suggested: Callable[[str], pd.DataFrame], tmp_path: Path
) -> None:
    ponds = len(points_of(suggested, "pond"))
    swales = len(suggested("swales"))
    told = of_code(suggested, "swale_points_suggested").message
    assert f"ponds are suggested on {ponds} swales" in told.iloc[0]
    assert f"{swales - ponds} lie on soil that asks for none" in told.iloc[0]
    layers = planned(
        tmp_path,
        {"ponds": "suggested", "pond_depth_m": 0.6, "basins": "suggested", "least_swale_m": 300},
    )
    messages = of_code(layers, "swale_points_suggested").message
    assert messages.str.contains(f"on 0 swales.*{swales} are shorter than 300 m").all()
    deep = planned(
        tmp_path / "deep", {"ponds": "suggested", "pond_depth_m": 0.9, "pond_length_m": 8}
    )
    (message,) = of_code(deep, "swale_points_suggested").message
    assert "on 0 swales, one each" in message
    assert f"{ponds} have a base too narrow for the depth" in message


def test_the_layer_given_back_makes_the_same_points(
    suggested: Callable[[str], pd.DataFrame], tmp_path: Path
) -> None:
    points = suggested("swale_points")
    again = planned(tmp_path, {}, {"swale_points": points})("swale_points")
    assert set(again.source) == {"given"}
    assert of_code(suggested, "swale_point_left_out").empty
    for column in ("point_id", "kind"):
        assert again[column].tolist() == points[column].tolist()
    for column in ("chainage_m", "length_m", "width_m", "depth_m", "storage_m3", "cut_m3"):
        assert again[column].to_numpy() == pytest.approx(
            points[column].to_numpy(), abs=1e-3, nan_ok=True
        )


def test_chosen_points_are_built_or_say_why_not(
    suggested: Callable[[str], pd.DataFrame], tmp_path: Path
) -> None:
    """One good pond in clay, one in sand, one too deep, one over a sill, two that meet, one far."""
    swales = suggested("swales").set_index("swale_id")
    pond, basin = points_of(suggested, "pond").iloc[0], points_of(suggested, "basin").iloc[0]
    sills = suggested("spillways")
    sill = sills[sills.swale_id == pond.swale_id].geometry.iloc[0]
    lip = shapely.force_2d(swales.geometry[pond.swale_id])
    beside = lip.interpolate(pond.chainage_m + 20.0)
    places = [
        pond.geometry,
        basin.geometry,
        beside,
        shapely.Point(sill.x, sill.y),
        lip.interpolate(pond.chainage_m + 3.0),
        shapely.Point(CENTRE_EASTING_M, CENTRE_NORTHING_M + 500.0),
        lip.interpolate(pond.chainage_m - 20.0),
    ]
    given = gpd.GeoDataFrame(
        {
            "kind": ["pond", "Pond", "pond", "pond", "basin", "organic pit", "basin"],
            "depth_m": [0.4, np.nan, 1.0, np.nan, np.nan, np.nan, np.nan],
            "length_m": [8.0] * 5 + [np.nan, 8.0],
        },
        geometry=places,
    )
    layers = planned(tmp_path, {}, {"swale_points": given})
    points = layers("swale_points").sort_values(["swale_id", "chainage_m"])
    # Three of the clay swale, one of the sandy one.
    assert sorted(points.kind) == ["basin", "pond", "pond", "pond"]
    good = points[(points.swale_id == pond.swale_id) & (points.depth_m == 0.4)]
    assert good.length_m.tolist() == [8.0]
    other = dict(zip(*of_code(layers, "swale_point_on_other_soil")[["feature_id", "message"]]
                     .to_numpy().T, strict=True))  # fmt: skip
    kinds = points.set_index("point_id").kind
    assert sorted(kinds[list(other)]) == ["basin", "pond"]
    assert any("here is clay that soaks 0.3 mm/h" in message for message in other.values())
    assert any("here is sand that soaks 105 mm/h" in message for message in other.values())
    shallower = of_code(layers, "pond_shallower")
    assert len(shallower) == 1
    base = swales.loc[pond.swale_id]
    fits = (base.base_width_m - 0.3) / (2.0 * base.batter)
    row = points[points.point_id == shallower.feature_id.iloc[0]].iloc[0]
    assert row.depth_m == pytest.approx(fits)
    (message,) = of_code(layers, "swale_point_left_out").message
    assert message.startswith("3 of the chosen points are left out")
    assert "feature 4 (pond): it would lie over a sill" in message
    assert "feature 5 (basin): it would meet another point" in message
    assert "feature 6 (organic_pit): the nearest swale is" in message


def test_a_basin_that_would_reach_excluded_ground_is_left_out(
    suggested: Callable[[str], pd.DataFrame], tmp_path: Path
) -> None:
    """A house stands 10 m above the plain swale's cut: the basin's would come nearer."""
    basin = points_of(suggested, "basin").iloc[0]
    swale = suggested("swales").set_index("swale_id").loc[basin.swale_id]
    ground = suggested("swale_point_ground").set_index("point_id").geometry[basin.point_id]
    north = ground.bounds[3] - 0.3
    house = shapely.box(basin.geometry.x - 3, north + 10.0, basin.geometry.x + 3, north + 13.0)
    features = {
        "buildings": gpd.GeoDataFrame({"name": ["shed"]}, geometry=[house]),
        "swale_points": gpd.GeoDataFrame({"kind": ["basin"]}, geometry=[basin.geometry]),
    }
    setback = {"siting": {"setback_m": {"building": 10, "building_below": 0}}}
    layers = planned(tmp_path, {}, features, **setback)
    assert swale.level_m in set(layers("swales").level_m)
    assert len(layers("swale_points")) == 0
    (message,) = of_code(layers, "swale_point_left_out").message
    assert "it would reach excluded ground or the works of another swale" in message


def test_rock_and_water_close_below_a_floor_are_told_and_kept_off(tmp_path: Path) -> None:
    """0.3 m of soil over rock, 1 m over the water table: method §3."""
    soils = clay_over_sand()
    soils["rock_m"] = [1.0, np.nan]
    soils["watertable_m"] = [np.nan, 2.0]
    features = {"soils": soils, **chosen(("pond", -50.0, 80.0), ("basin", -50.0, -70.0))}
    section = {"section": {"base_width_m": 1.5, "depth_m": 0.5}}
    points = {"ponds": "suggested", "organic_pit_every_m": 50, "organic_pit_depth_m": 0.6}
    layers = planned(tmp_path, points, features, **section)
    told = of_code(layers, "swale_point_too_deep").set_index("feature_id").message
    rows = layers("swale_points").set_index("point_id")
    # A floor of 0.8 m wants rock below 1.1 m, one of 1.1 m water below 2.1 m.
    clay = set(rows.index[(rows.texture == "clay") & (rows.kind != "basin")])
    sand = set(rows.index[(rows.texture == "sand") & (rows.kind == "organic_pit")])
    assert "given" in set(rows.source[rows.kind == "pond"])
    assert "suggested" not in set(rows.source[rows.kind == "pond"])
    assert clay
    assert sand
    assert set(told.index) == clay | sand
    assert told[list(clay)].str.contains("rock lies 1 m down").all()
    assert told[list(sand)].str.contains("the water table lies 2 m down, the floor 1.10 m").all()


def test_faces_and_machine_are_measured_from_the_deeper_floor(tmp_path: Path) -> None:
    """1.2 m: a way out is usually asked for (29 CFR 1926.651(c)(2), 4 ft); by hand 1.2 m is dug."""
    section = {"base_width_m": 2.4, "depth_m": 0.6, "passage": "tractor"}
    run = {"section": section, "earthworks": {"machine": "hand"}}
    points = {"ponds": "suggested", "pond_depth_m": 0.8, "pond_length_m": 8}
    layers = planned(tmp_path, points, **run)
    ponds = points_of(layers, "pond")
    assert len(ponds) > 0
    assert (ponds.face_height_m - ponds.face_height_m_swale).to_numpy() == pytest.approx(
        0.8, abs=0.01
    )
    (message,) = of_code(layers, "passage_interrupted").message
    assert message.startswith(f"{len(ponds)} ponds and 0 pits")
    for code, words in (("trench_safety", "over 1.5 m"), ("machine_unfit", "digs 1.2 m deep")):
        told = of_code(layers, code)
        told = told[told.layer == "swale_points"]
        assert set(told.feature_id) == set(ponds.point_id)
        assert told.message.str.contains(words).all()


HIGH = {
    "pond": {"ponds": "suggested"},
    "basin": {"basins": "suggested", "basin_width_m": 3},
    "organic_pit": {"organic_pit_every_m": 20},
}


@pytest.mark.parametrize("kind", HIGH)
def test_mounds_begin_0_6_m_from_lips_whose_ponds_and_basins_have_faces_over_1_2_m(
    kind: str, tmp_path: Path
) -> None:
    """Method 4, mound; 2 ft: 29 CFR 1926.651(j)(2). Pits are filled on the day they are dug."""
    section = {"base_width_m": 2.0, "depth_m": 0.7}
    plain = planned(tmp_path / "plain", {}, section=section)
    layers = planned(tmp_path / kind, HIGH[kind], section=section)
    swales = layers("swales").set_index("swale_id")
    dug = points_of(layers, kind).groupby("swale_id").face_height_m.max()
    high = dug.reindex(swales.index).fillna(0.0) > 1.2
    assert high.any()
    assert (swales.face_height_m < 1.2).all()
    told = of_code(layers, "trench_safety")
    assert set(told.layer) == {"swale_points"}
    if kind == "organic_pit":
        assert (swales.berm_m == 0.0).all()
        assert told.advice.str.contains("0.6 m off their edges, fill each").all()
        return
    assert swales.berm_m.tolist() == np.where(high, 0.6, 0.0).tolist()
    assert told.advice.str.contains("the mound begins 0.6 m from the lip").all()
    lines = {
        line.what: line.holds
        for line in verify_plan(tmp_path / kind / "plan.gpkg", (), __version__)
    }
    assert [what for what, holds in lines.items() if holds is False] == []
    assert lines["mound off the lip where the cut face is over 1.2 m"]
    # Nothing of the water, and nothing that is dug along the lip, is other than without them.
    before = plain("swales").set_index("swale_id")
    for column in ("level_m", "capacity_m3", "cut_m3", "design_overflow_m3", "mound_height_m"):
        assert swales[column].tolist() == before[column].tolist()
    for name in ("spillways", "swale_storms", "pegs"):
        pd.testing.assert_frame_equal(
            pd.DataFrame(plain(name)), pd.DataFrame(layers(name)), check_exact=True
        )


def test_a_basin_in_volcanic_soil_is_told_by_its_rate_and_treated_as_the_base_is(
    tmp_path: Path,
) -> None:
    """Loam that was measured to soak 100 mm/h; gravel 0.1 m: common practice, no source."""
    soils = clay_over_sand().assign(texture="loam", ksat_mm_h=100.0)
    run = {"soil": {"amendment": "gravel"}, "section": {"base_width_m": 1.5, "depth_m": 0.5}}
    layers = planned(tmp_path, {"basins": "suggested"}, {"soils": soils}, **run)
    basins, swales = points_of(layers, "basin"), layers("swales")
    assert set(basins.swale_id) == set(swales.swale_id)
    assert set(basins.texture) == {"loam"}
    base_m2 = (1.5 * (swales.length_m - 2.0 * swales.batter * 0.5)).sum() + basins.area_m2.sum()
    rows = layers("quantities").set_index("item").amount
    assert rows["gravel"] == pytest.approx(0.1 * base_m2)


def test_a_basin_that_would_come_to_the_swale_above_is_not_dug(tmp_path: Path) -> None:
    """Swales 16.9 m apart in sand: 5 m more base leave no metre between works but at the top."""
    soils = clay_over_sand().assign(texture="sand")
    section = {"base_width_m": 2.4, "depth_m": 0.4}
    close = {"spacing": {"mature_tree_height_m": 1.35}, "section": section}
    points = {"basins": "suggested", "basin_width_m": 5}
    layers = planned(tmp_path, points, {"soils": soils}, **close)
    swales, works = layers("swales"), layers("swale_ground")
    assert swales.level_m.nunique() > 5
    highest = set(swales.swale_id[swales.level_m == swales.level_m.max()])
    basins = layers("swale_point_ground")
    assert set(basins.swale_id) == highest
    for own in basins.itertuples():
        assert works[works.swale_id != own.swale_id].distance(own.geometry).min() >= 1.0
    (message,) = of_code(layers, "swale_points_suggested").message
    assert f"{len(swales) - len(highest)} have no room for one" in message
