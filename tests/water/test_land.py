"""Classes of ground: which there are, how much of each drains to a swale, what they shed."""

import geopandas as gpd
import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely import box

from soakline.findings import Finding
from soakline.grid import BoolArray, FloatArray, Grid
from soakline.runfile.sections import LandKeys
from soakline.terrain.flow import flow_over
from soakline.terrain.hollows import fill_hollows
from soakline.terrain.paths import LabelArray, first_intercept
from soakline.water.curve_number import runoff_mm
from soakline.water.hydrographs import arriving_m3
from soakline.water.land import (
    GroundClass,
    Land,
    area_above_m2,
    area_by_class_m2,
    dry_area_m2,
)
from soakline.water.land_classes import land_of
from soakline.water.unit_hydrograph import unit_hydrographs

# 100 m by 100 m; strips of 25 m from the west: kinds are told by easting alone.
GRID = Grid(50, 50, 0.0, 100.0, 2.0, "")
PASTURE = LandKeys(cover="pasture-fair", hydrologic_group="B")  # 69: TR-55 Table 2-2c (confirmed)
ALL = np.ones(GRID.shape, dtype=bool)


def strips(**columns: list[object]) -> gpd.GeoDataFrame:
    count = len(next(iter(columns.values())))
    shapes = [box(25.0 * i, 0.0, 25.0 * (i + 1), 100.0) for i in range(count)]
    return gpd.GeoDataFrame(columns, geometry=shapes)


def soils(group: list[object], texture: list[object] | None = None) -> gpd.GeoDataFrame:
    return strips(hydrologic_group=group, texture=texture or [None] * len(group))


def covers(cover: list[object], number: list[float] | None = None) -> gpd.GeoDataFrame:
    return strips(cover=cover, curve_number=number or [np.nan] * len(cover))


def roofs(*shapes: shapely.Polygon) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame({"name": [None] * len(shapes)}, geometry=list(shapes))


def classes(
    keys: LandKeys | None = None,
    soil: gpd.GeoDataFrame | None = None,
    cover: gpd.GeoDataFrame | None = None,
    hard: gpd.GeoDataFrame | None = None,
    within: BoolArray = ALL,
) -> tuple[Land, tuple[Finding, ...]]:
    return land_of(
        keys or LandKeys(),
        "loam",
        soils([]) if soil is None else soil,
        covers([]) if cover is None else cover,
        roofs() if hard is None else hard,
        within,
        GRID,
    )


def at(land: Land, easting_m: float) -> GroundClass:
    """Class of the ground at an easting, half-way up the grid."""
    assert land.index is not None
    return land.classes[int(land.index[25, int(easting_m / 2.0)])]


def test_the_run_files_land_is_one_class_and_takes_no_raster() -> None:
    land, findings = classes()
    assert land.classes == (GroundClass("curve number 74, loam", 74.0, "loam"),)
    assert land.index is None
    assert findings == ()
    assert classes(PASTURE)[0].classes == (
        GroundClass("pasture-fair, group B, loam", 69.0, "loam"),
    )


def test_cover_and_soil_together_give_the_curve_number() -> None:
    """TR-55 Table 2-2c (confirmed): woods good on B 55, on D 77; meadow on B 58, on D 78."""
    land, findings = classes(
        soil=soils(["B", "D", "B", "D"], ["sand", "clay", None, "clay"]),
        cover=covers(["woods-good", "woods-good", "meadow", "meadow"]),
    )
    assert findings == ()
    found = [(own.curve_number, own.texture) for own in (at(land, e) for e in (10, 30, 60, 80))]
    assert found == [(55.0, "sand"), (77.0, "clay"), (58.0, "loam"), (78.0, "clay")]
    assert at(land, 30).label == "woods-good, group D, clay"
    assert land.index is not None
    assert land.index.dtype == np.uint8


def test_a_polygons_own_curve_number_goes_before_its_cover() -> None:
    land, _ = classes(soil=soils(["B"] * 4), cover=covers(["meadow"] * 4, [88.0] + 3 * [np.nan]))
    assert at(land, 10) == GroundClass("curve number 88, loam", 88.0, "loam")
    assert at(land, 30).curve_number == 58.0


def test_where_one_layer_tells_nothing_the_run_file_stands_in_for_it() -> None:
    """Pasture fair on B of the run file; meadow on B 58, pasture fair on D 84 (confirmed)."""
    land, findings = classes(
        PASTURE, soil=soils([None, "D", None, None]), cover=covers(["meadow", None, None, None])
    )
    assert [at(land, e).curve_number for e in (10, 30, 60, 80)] == [58.0, 84.0, 69.0, 69.0]
    assert [(f.code, f.severity) for f in findings] == [("land_not_covered", "note")]
    assert findings[0].message == (
        "50 % of the property has neither land_cover nor soils. There the run file stands in: "
        "pasture-fair on group B, curve number 69, and loam where no texture is given."
    )


def test_a_cover_without_a_group_takes_the_run_files_curve_number_and_is_told() -> None:
    """And so does a group without a cover; the eastern half of the grid is not the property's."""
    within = ALL.copy()
    within[:, 25:] = False
    land, findings = classes(
        soil=soils([None, "D"]), cover=covers(["meadow", None, None]), within=within
    )
    assert land.classes == (GroundClass("curve number 74, loam", 74.0, "loam"),)
    assert land.index is None
    assert len(findings) == 1
    assert findings[0].message.startswith(
        "on 100 % they give no curve number: a cover wants a hydrologic group"
    )
    assert "[land] of the run file, curve number 74" in findings[0].message


def test_ground_told_by_half_and_not_at_all_are_told_apart() -> None:
    _, findings = classes(soil=soils([None, None, None, "D"]), cover=covers(["meadow"]))
    assert findings[0].message.startswith(
        "50 % of the property has neither land_cover nor soils; on 50 % they give no curve number"
    )


def test_a_sliver_between_polygons_is_told_as_one() -> None:
    """One cell of 2500 is off both layers."""
    ground = gpd.GeoSeries([box(0, 0, 100, 100) - box(50, 50, 52, 52)])
    cover = gpd.GeoDataFrame({"cover": ["meadow"], "curve_number": [np.nan]}, geometry=ground)
    bed = gpd.GeoDataFrame({"hydrologic_group": ["B"], "texture": [None]}, geometry=ground)
    _, findings = classes(soil=bed, cover=cover)
    assert findings[0].message.startswith("under 0.1 % of the property has neither")


def test_land_that_is_told_of_in_full_needs_no_note() -> None:
    within = ALL.copy()
    within[:, 25:] = False
    _, findings = classes(soil=soils(["B", "B"]), cover=covers(["meadow", "meadow"]), within=within)
    assert findings == ()


def test_soils_that_tell_nothing_of_runoff_are_no_class() -> None:
    land, findings = classes(soil=soils([None, None]), cover=covers([None]))
    assert land.index is None
    assert findings == ()


def test_hard_surfaces_go_over_all_and_ask_for_no_other_layer() -> None:
    """98: TR-55 Table 2-2a, roofs and paving (confirmed)."""
    land, findings = classes(hard=roofs(box(10.0, 40.0, 20.0, 60.0), box(60.0, 40.0, 70.0, 60.0)))
    assert findings == ()
    assert at(land, 15) == at(land, 65) == GroundClass("hard surface", 98.0, "loam", hard=True)
    assert at(land, 30).curve_number == 74.0
    assert (land.curve_number[land.index] == 98.0).sum() == 2 * 5 * 10
    under, _ = classes(
        soil=soils(["B"] * 4), cover=covers(["meadow"] * 4), hard=roofs(box(0, 0, 100, 100))
    )
    assert [own.hard for own in under.classes] == [True]


def test_ground_that_sheds_alike_is_one_class_whatever_tells_so() -> None:
    land, _ = classes(PASTURE, soil=soils(["B", None]), cover=covers(["pasture-fair"]))
    assert len(land.classes) == 1
    assert land.index is None


def test_more_than_256_classes_keep_apart() -> None:
    shapes = [
        box(2.0 * (i % 50), 2.0 * (i // 50), 2.0 * (i % 50) + 2, 2.0 * (i // 50) + 2)
        for i in range(300)
    ]
    number = 30.05 + np.arange(300) / 5.0
    cover = gpd.GeoDataFrame({"cover": [None] * 300, "curve_number": number}, geometry=shapes)
    land, _ = classes(cover=cover)
    assert land.index is not None
    assert len(land.classes) == 301
    assert np.sort(land.curve_number[land.index][44:].ravel()) == pytest.approx(number)


def test_each_class_counts_its_cells_in_each_catchment() -> None:
    label = np.zeros(GRID.shape, dtype=np.int32)
    label[:, :20], label[:, 20:30], label[:, 30:] = 1, 3, -1
    land, _ = classes(soil=soils(["B"] * 4), cover=covers(["meadow", "meadow", "brush-good"]))
    area = area_by_class_m2(label, land, 3, GRID.cell_area_m2)
    numbers = land.curve_number.tolist()
    assert area.shape == (3, len(land.classes))
    # Meadow up to 50 m, brush up to 75 m: 40 m of meadow; then 10 m of it and 10 m of brush.
    assert area[0, numbers.index(58.0)] == area[0].sum() == 4000.0
    assert area[1].sum() == 0.0
    assert area[2, numbers.index(58.0)] == area[2, numbers.index(48.0)] == 1000.0


@pytest.mark.parametrize("seed", range(6))
def test_ground_above_some_cells_is_what_meets_them_first(seed: int) -> None:
    random = np.random.default_rng(seed)
    filled = fill_hollows(random.normal(50.0, 1.0, (40, 40)).astype(np.float32))
    direction = flow_over(filled.filled_m, filled.valid, filled.domain).direction
    goal = np.where(random.random(direction.shape) < 0.02, 2, 0).astype(np.int32)
    goal[10:13, 20:25] = 1
    index = random.integers(0, 3, goal.shape).astype(np.uint8)
    land = Land((GroundClass("", 74.0, "loam"),) * 3, index)
    met = first_intercept(direction, goal) == 1
    assert met.sum() > 15
    area = area_above_m2(direction, goal, np.flatnonzero(goal == 1), land, 4.0)
    assert area.tolist() == [4.0 * (met & (index == own)).sum() for own in range(3)]


labels = st.integers(0, 2**32 - 1).map(
    lambda seed: np.random.default_rng(seed).integers(-1, 5, (17, 13)).astype(np.int32)
)
lands = st.integers(1, 6).flatmap(
    lambda count: st.integers(0, 2**32 - 1).map(
        lambda seed: Land(
            tuple(GroundClass(str(i), 60.0 + i, "loam", i == 2) for i in range(count)),
            np.random.default_rng(seed).integers(0, count, (17, 13)).astype(np.uint8)
            if count > 1
            else None,
        )
    )
)


@given(labels, lands, st.sampled_from([0.25, 0.5, 1.0, 2.0, 5.0, 10.0]))
def test_classes_sum_to_the_catchments_area_exactly(
    label: LabelArray, land: Land, cell_m: float
) -> None:
    area = area_by_class_m2(label, land, 4, cell_m * cell_m)
    cells = np.array([(label == swale + 1).sum() for swale in range(4)])
    assert area.sum(axis=1).tolist() == (cells * cell_m * cell_m).tolist()
    for swale in range(4):
        for i in range(len(land.classes)):
            here = label == swale + 1
            own = here if land.index is None else here & (land.index == i)
            assert area[swale, i] == own.sum() * cell_m * cell_m


@given(labels, lands, st.floats(0.0, 80.0))
def test_water_takes_its_place_from_open_ground_and_no_more_than_there_is(
    label: LabelArray, land: Land, ponded_m2: float
) -> None:
    area = area_by_class_m2(label, land, 4, 1.0)
    dry = dry_area_m2(area, np.full(4, ponded_m2), land)
    assert (dry >= 0.0).all()
    assert (dry <= area + 1e-12).all()
    assert dry.sum(axis=1) == pytest.approx(np.maximum(area.sum(axis=1) - ponded_m2, 0.0), abs=1e-9)
    roomy = area[:, ~land.hard].sum(axis=1) >= ponded_m2
    assert dry[roomy][:, land.hard].tolist() == area[roomy][:, land.hard].tolist()


def test_in_one_class_the_dry_area_is_the_difference_to_the_bit() -> None:
    land, area = Land((GroundClass("", 74.0, "loam"),)), np.array([[1234.7], [0.0]])
    assert dry_area_m2(area, np.array([56.3, 0.0]), land).tolist() == [[1234.7 - 56.3], [0.0]]


def arriving_mm(area_m2: FloatArray, shed_mm: FloatArray) -> float:
    """What classes of ground, shedding at once, bring to a swale in all, over their area."""
    unit = unit_hydrographs([0.5], 360.0, "curvilinear")
    brought_m3 = float(arriving_m3(shed_mm[:, None], area_m2[None], unit).sum())
    return brought_m3 / area_m2.sum() * 1000.0 if area_m2.any() else brought_m3


def test_a_mean_curve_number_understates_runoff_fourteen_fold() -> None:
    """A tenth roofs (98) among pasture in good state on group A (39), 75 mm of rain.

    Curve numbers of TR-55 Tables 2-2a and c (confirmed), runoff by its eq. 2-3 (recomputed): the
    roofs alone shed 6.91 mm over the whole, the mean number of 44.9 sheds 0.49 mm.
    """
    area, numbers = np.array([1000.0, 9000.0]), np.array([98.0, 39.0])
    by_part = arriving_mm(area, runoff_mm(75.0, numbers))
    by_mean = float(runoff_mm(75.0, float(area @ numbers) / 10_000.0))
    assert by_part == pytest.approx(6.91, abs=0.005)
    assert by_mean == pytest.approx(0.494, abs=0.0005)
    assert by_part / by_mean == pytest.approx(14.0, abs=0.05)


def test_runoff_of_tr55s_first_example_by_part_is_more_than_by_its_mean_number() -> None:
    """TR-55 ex. 2-1 (case confirmed): 30 % pasture good on B (61), 70 % on C (74), 6 inches.

    Its mean number of 70 sheds 2.81 inches; the parts, by eq. 2-3 (recomputed), 2.83.
    """
    area, numbers = np.array([75.0, 175.0]), np.array([61.0, 74.0])
    by_part_mm = arriving_mm(area, runoff_mm(6.0 * 25.4, numbers))
    expected_in = 0.3 * q_in(6.0, 61.0) + 0.7 * q_in(6.0, 74.0)
    assert by_part_mm / 25.4 == pytest.approx(expected_in, rel=1e-12)
    assert by_part_mm / 25.4 > 2.815


def q_in(rain_in: float, number: float) -> float:
    """TR-55 eq. 2-3 and 2-4 in inches, where rain passes 0.2 S."""
    storage = 1000.0 / number - 10.0
    return (rain_in - 0.2 * storage) ** 2 / (rain_in + 0.8 * storage)


@given(
    st.lists(st.floats(30.0, 100.0), min_size=1, max_size=5),
    st.lists(st.just(0.0) | st.floats(1.0, 1e5), min_size=5, max_size=5),
    st.floats(0.0, 200.0),
)
def test_runoff_by_part_is_never_less_than_by_the_mean_curve_number(
    numbers: list[float], areas: list[float], rain_mm: float
) -> None:
    """Up to 200 mm: in larger storms [TR55]_ eq. 2-3 is not convex in the curve number any more."""
    number, area = np.array(numbers), np.array(areas[: len(numbers)])
    own = runoff_mm(rain_mm, number)
    depth = arriving_mm(area, own)
    if area.sum() == 0.0:
        assert depth == 0.0
        return
    assert own.min() - 1e-9 <= depth <= own.max() + 1e-9
    mean = float(np.clip(area @ number / area.sum(), 30.0, 100.0))
    assert depth >= float(runoff_mm(rain_mm, mean)) - 1e-6
