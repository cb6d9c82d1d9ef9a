"""Drains as drawn: which way they run, which swale they come to, what is said of them."""

import re

import numpy as np
import pytest
import shapely
from shapely.geometry.base import BaseGeometry

from soakline.diversions.diversion import NONE, Diversion
from soakline.diversions.given import given_diversions
from soakline.findings import Finding
from soakline.siting.lines import LipLine, numbered
from soakline.terrain.condition import Terrain
from tests.diversions.hillside import SLOPE_PCT, at, catchments, line, lip, terrain_from
from tests.terrain_analytic.ground import Height, hollow, plane

HILL = plane(SLOPE_PCT)
# 400 m stands at the centre: lips at 396 m lie 50 m south of it.
UPPER, LOWER = lip(396.0, -100.0, 20.0), lip(388.0, -150.0, 150.0)


def given(
    shapes: list[BaseGeometry | None], lines: list[LipLine], terrain: Terrain
) -> tuple[tuple[Diversion, ...], tuple[Finding, ...]]:
    own = np.empty(len(shapes), dtype=object)
    own[:] = shapes
    names = [f"drain {i}" for i in range(len(shapes))]
    return given_diversions(own, names, numbered(lines), catchments(lines, terrain), terrain)


def codes(findings: tuple[Finding, ...]) -> list[str]:
    return [finding.code for finding in findings]


@pytest.fixture(scope="module")
def terrain() -> Terrain:
    return terrain_from(HILL)


def test_a_line_that_crosses_a_lip_is_cut_there_and_leads_to_its_swale(terrain: Terrain) -> None:
    (drain,), findings = given([line((100.0, -20.0), (-20.0, -60.0))], [UPPER, LOWER], terrain)
    assert (drain.swale, drain.into, drain.source) == (0, NONE, "given")
    # 30 m of the 40 m south of its start lie above the lip.
    assert drain.coordinates[-1, :2] == pytest.approx(at(10.0, -50.0), abs=1e-6)
    assert drain.length_m == pytest.approx(0.75 * np.hypot(120.0, 40.0), abs=1e-6)
    assert drain.drop_m == pytest.approx(30.0 * 0.08, abs=0.01)
    assert drain.grade_pct == pytest.approx(100.0 * 2.4 / drain.length_m, rel=0.01)
    assert findings == ()


@pytest.mark.parametrize(("gap_m", "leads_to"), [(1.8, 0), (4.0, 1)])
def test_a_line_that_ends_within_two_cells_of_a_lip_has_come_to_it(
    gap_m: float, leads_to: int
) -> None:
    """It ends beside the upper swale's end: two cells off it counts, further off it passes by."""
    terrain = terrain_from(HILL)
    drawn = line((90.0, -30.0), (20.0 + gap_m, -49.5))
    (drain,), _ = given([drawn], [UPPER, LOWER], terrain)
    assert drain.swale == leads_to
    assert drain.coordinates[-1, :2] == pytest.approx(at(20.0 + gap_m, -49.5))


def test_water_of_a_line_that_ends_short_runs_down_to_the_first_swale(terrain: Terrain) -> None:
    (drain,), findings = given([line((150.0, 20.0), (60.0, -20.0))], [UPPER, LOWER], terrain)
    assert drain.swale == 1
    assert codes(findings) == ["diversion_ends_short"]
    # From 20 m south of the centre to the lip 150 m south of it.
    assert "130 m over the ground" in findings[0].message
    assert "swale S002" in findings[0].message
    assert findings[0].severity == "note"


def test_a_line_that_runs_uphill_is_left_out(terrain: Terrain) -> None:
    drains, findings = given([line((-20.0, -120.0), (0.0, -40.0))], [UPPER, LOWER], terrain)
    assert drains == ()
    assert codes(findings) == ["diversion_uphill"]
    (finding,) = findings
    assert (finding.severity, finding.layer) == ("caution", "diversions")
    assert finding.feature_id == "drain 0"
    assert "begins at 390.40 m and comes to 396.80 m" in finding.message
    assert "has to come lower" in finding.message


def test_a_line_that_dips_and_then_climbs_above_its_beginning_runs_uphill() -> None:
    terrain = terrain_from(hollow(HILL, 3.0, 20.0, -20.0, -120.0))
    drains, findings = given(
        [line((-30.0, -125.0), (-20.0, -120.0), (0.0, -70.0))], [LOWER], terrain
    )
    assert drains == ()
    assert codes(findings) == ["diversion_uphill"]


def test_a_line_that_misses_every_swale_is_left_out(terrain: Terrain) -> None:
    drains, findings = given([line((150.0, -100.0), (170.0, -140.0))], [UPPER, LOWER], terrain)
    assert drains == ()
    assert codes(findings) == ["diversion_misses"]
    assert "drain 0" in findings[0].message


def test_without_any_swale_every_line_misses(terrain: Terrain) -> None:
    drains, findings = given([line((100.0, -20.0), (-20.0, -60.0))], [], terrain)
    assert drains == ()
    assert codes(findings) == ["diversion_misses"]


def test_a_lip_that_water_has_come_down_below_is_not_met() -> None:
    """A line that dips below the upper lip's level and then crosses it from below, over a bank."""
    dip = hollow(HILL, 6.0, 25.0, 60.0, -30.0)
    terrain = terrain_from(dip)
    drawn = line((120.0, 30.0), (60.0, -30.0), (10.0, -40.0), (5.0, -60.0))
    (drain,), findings = given([drawn], [UPPER, LOWER], terrain)
    assert drain.swale == 1
    assert "diversion_uneven" in codes(findings)
    assert np.all(np.diff(drain.coordinates[:, 2]) <= 0.0)


@pytest.mark.parametrize(("depth_m", "told"), [(1.0, False), (3.5, True)])
def test_ground_that_rises_over_what_came_before_is_told_with_place_and_height(
    depth_m: float, told: bool
) -> None:
    """Along the line the plane falls 0.04 m a metre; a bowl makes it rise where it is deep."""
    form = hollow(HILL, depth_m, 30.0, 40.0, -10.0)
    terrain = terrain_from(form)
    drawn = line((150.0, 30.0), (40.0, -10.0), (-60.0, -60.0))
    (drain,), findings = given([drawn], [UPPER, LOWER], terrain)
    assert ("diversion_uneven" in codes(findings)) == told
    assert drain.ground_max_m == pytest.approx(rise_over_lowest(form, drain), abs=0.1)
    if told:
        (told_m,) = re.findall(r"ground (\d\.\d\d) m above", findings[0].message)
        assert float(told_m) == pytest.approx(rise_over_lowest(form, drain), abs=0.1)


def rise_over_lowest(form: Height, drain: Diversion) -> float:
    """The same from the closed form, at steps of 0.1 m."""
    own = shapely.LineString(drain.coordinates[:, :2])
    places = shapely.get_coordinates(shapely.segmentize(own, 0.1))
    height = form(places[:, 0], places[:, 1])
    return float((height - np.minimum.accumulate(height)).max())


def test_a_line_that_ends_on_another_runs_into_it(terrain: Terrain) -> None:
    main = line((140.0, 0.0), (-20.0, -55.0))
    side = line((60.0, 80.0), (60.5, -26.0))
    (first, second), findings = given([main, side], [UPPER, LOWER], terrain)
    assert (first.swale, first.into) == (0, NONE)
    assert (second.swale, second.into) == (0, 0)
    assert findings == ()


def test_a_line_that_ends_just_below_another_does_not_run_up_into_it(terrain: Terrain) -> None:
    """On the same side line, 1.8 m below the main one at its end, and 0.9 m above it."""
    main = line((140.0, 1.0), (40.0, 0.0), (-20.0, -55.0))
    for end_north_m, into in ((0.6 - 1.8, NONE), (0.6 + 0.9, 0)):
        side = line((180.0, 10.0), (160.0, 2.0), (100.0, end_north_m))
        drains, _ = given([main, side], [LOWER], terrain)
        assert [drain.into for drain in drains] == [NONE, into]


def test_lines_that_stay_are_counted_without_those_left_out(terrain: Terrain) -> None:
    away = line((150.0, -100.0), (170.0, -140.0))
    main = line((140.0, 0.0), (-20.0, -55.0))
    side = line((60.0, 80.0), (60.5, -26.0))
    drains, findings = given([away, side, main], [UPPER, LOWER], terrain)
    assert [(drain.name, drain.into) for drain in drains] == [("drain 1", 1), ("drain 2", NONE)]
    assert codes(findings) == ["diversion_misses"]


def test_water_that_runs_down_on_to_another_line_goes_with_it(terrain: Terrain) -> None:
    main = line((140.0, 0.0), (-20.0, -55.0))
    short = line((90.0, 80.0), (60.0, 60.0))
    (second, first), findings = given([short, main], [UPPER, LOWER], terrain)
    assert (first.swale, first.into) == (0, NONE)
    assert (second.swale, second.into) == (0, 1)
    assert codes(findings) == ["diversion_ends_short"]


def test_what_only_reaches_a_line_that_is_left_out_finds_another_way(terrain: Terrain) -> None:
    """The lower one leads away from every swale; the upper one's water then runs on by itself."""
    away = line((120.0, -60.0), (185.0, -100.0))
    over = line((100.0, 0.0), (140.0, -20.0))
    (drain,), findings = given([away, over], [UPPER, LOWER], terrain)
    assert drain.name == "drain 1"
    assert (drain.swale, drain.into) == (1, NONE)
    assert sorted(codes(findings)) == ["diversion_ends_short", "diversion_misses"]


def test_two_lines_that_end_on_each_other_do_not_send_water_round(terrain: Terrain) -> None:
    """Both end at one place: neither takes the other's water, and both run down to the swale."""
    west = line((-60.0, -60.0), (60.0, -100.0))
    east = line((140.0, -60.0), (60.0, -100.0))
    drains, _ = given([west, east], [LOWER], terrain)
    assert [(d.swale, d.into) for d in drains] == [(0, NONE), (0, NONE)]


def test_lines_that_would_feed_each_other_pass_each_other_by() -> None:
    """Over a bowl each line climbs again to end above the other: drawn, it would be a circle."""
    form = hollow(HILL, 4.0, 40.0, 0.0, 0.0)
    terrain = terrain_from(form)
    first = line((-60.0, 40.0), (0.0, 0.0), (30.0, 12.0))
    second = line((60.0, 40.0), (0.0, 2.0), (-30.0, 12.0))
    drains, _ = given([first, second], [LOWER], terrain)
    assert drains
    for k, drain in enumerate(drains):
        steps = 0
        while drain.into != NONE:
            drain = drains[drain.into]  # noqa: PLW2901
            steps += 1
            assert steps <= len(drains), f"drain {k} comes round"
        assert drain.swale == 0


def test_each_part_of_a_broken_line_is_a_drain_of_its_own(terrain: Terrain) -> None:
    parts = shapely.MultiLineString(
        [line((100.0, -20.0), (-20.0, -60.0)), line((-60.0, 0.0), (-90.0, -60.0))]
    )
    drains, _ = given([parts], [UPPER, LOWER], terrain)
    assert [drain.name for drain in drains] == ["drain 0", "drain 0"]
    assert [drain.swale for drain in drains] == [0, 0]


def test_parts_that_join_are_one_line(terrain: Terrain) -> None:
    parts = shapely.MultiLineString(
        [line((100.0, -20.0), (40.0, -40.0)), line((40.0, -40.0), (-20.0, -60.0))]
    )
    assert len(given([parts], [UPPER, LOWER], terrain)[0]) == 1


@pytest.mark.parametrize(
    ("shape", "code"),
    [
        (None, "feature_without_geometry"),
        (shapely.LineString(), "feature_without_geometry"),
        (line((10.0, 10.0), (10.0, 10.0)), "feature_without_geometry"),
        (line((100.0, 20.0), (900.0, -60.0)), "feature_off_dem"),
    ],
    ids=["none", "empty", "without length", "off the DEM"],
)
def test_what_is_no_line_on_the_dem_is_left_out_and_told(
    terrain: Terrain, shape: BaseGeometry | None, code: str
) -> None:
    drains, findings = given([shape], [UPPER, LOWER], terrain)
    assert drains == ()
    assert codes(findings) == [code]
    assert findings[0].layer == "diversions"
    assert "drain 0" in findings[0].message
