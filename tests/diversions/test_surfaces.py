"""Roofs and paving: by themselves, by a given drain, or by one to be dug."""

import re

import geopandas as gpd
import numpy as np
import pytest
import shapely
from shapely.geometry.base import BaseGeometry

from soakline.diversions.digging import Digging
from soakline.diversions.diversion import NONE
from soakline.diversions.lay import Diversions, lay_diversions
from soakline.siting.lines import LipLine, numbered
from soakline.terrain.condition import Terrain
from tests.diversions.hillside import (
    SLOPE_PCT,
    at,
    catchments,
    free_ways,
    line,
    lip,
    terrain_from,
)
from tests.terrain_analytic.ground import plane


@pytest.fixture(scope="module")
def terrain() -> Terrain:
    return terrain_from(plane(SLOPE_PCT))


def roof(east_m: float, north_m: float) -> BaseGeometry:
    """A roof of 180 m² that stands on its lowest corner, which lies there."""
    corners = [(0.0, 0.0), (4.0, 6.0), (10.0, 6.0), (10.0, 14.0), (-10.0, 14.0), (-10.0, 6.0)]
    corners.append((-4.0, 6.0))
    return shapely.Polygon([at(east_m + e, north_m + n) for e, n in corners])


def laid(
    terrain: Terrain,
    lines: list[LipLine],
    roofs: list[BaseGeometry | None],
    named: list[str | None] | None = None,
    drawn: list[BaseGeometry] | None = None,
    grade: float = 1.0 / 300.0,
) -> Diversions:
    drawn = drawn or []
    names = ["shed", "barn", "yard", "house"][: len(roofs)]
    crs = terrain.grid.crs_wkt
    return lay_diversions(
        gpd.GeoDataFrame({"name": [None] * len(drawn)}, geometry=drawn, crs=crs),
        gpd.GeoDataFrame(
            {"name": names, "swale_id": named or [None] * len(roofs)}, geometry=roofs, crs=crs
        ),
        catchments(lines, terrain),
        Digging(numbered(lines), terrain, free_ways(terrain), 3.0, grade),
    )


def codes(result: Diversions) -> list[str]:
    return [finding.code for finding in result.findings]


# The shed at 400 m stands above a gap between two swales half a metre lower.
WEST, EAST = lip(399.5, -150.0, -60.0), lip(399.7, 40.0, 150.0)
BELOW = lip(392.0, -150.0, 150.0)


def test_a_roof_whose_water_meets_a_swale_needs_no_drain(terrain: Terrain) -> None:
    result = laid(terrain, [EAST, WEST, BELOW], [roof(0.0, 0.0)])
    assert [(s.swale, s.diversion) for s in result.surfaces] == [(2, NONE)]
    assert result.drains == ()
    assert codes(result) == ["hard_surface_drains"]
    assert "shed to S003" in result.findings[0].message
    assert result.findings[0].severity == "note"


def test_a_roof_that_meets_none_has_a_drain_traced_to_the_nearest(terrain: Terrain) -> None:
    """Closed form: it comes within 3 m of the eastern lip's end, 40 m off, at about 38 m.

    The western lip lies 0.5 m lower, which takes 78 m at 1 in 300 to within 3 m of it.
    """
    result = laid(terrain, [EAST, WEST], [roof(0.0, 0.0)])
    (drain,) = result.drains
    assert (drain.name, drain.source, drain.swale) == ("shed", "traced", 0)
    assert drain.length_m == pytest.approx(38.0, abs=1.5)
    assert drain.grade == pytest.approx(1.0 / 300.0, rel=1e-9)
    assert [(s.swale, s.diversion) for s in result.surfaces] == [(0, 0)]
    # It begins at the lowest corner of the roof.
    assert drain.coordinates[0, :2] == pytest.approx(at(0.0, 0.0), abs=1e-6)
    assert codes(result) == []
    # The roof's own 180 m² count for the drain and for the swale, with the land above the drain.
    lips = catchments([EAST, WEST], terrain)
    gained = result.diverted.catchments.area_m2[0] - lips.area_m2[0]
    assert gained >= 180.0
    assert gained == lips.bypass_m2 - result.diverted.catchments.bypass_m2
    assert result.diverted.own_m2[0] >= gained


def test_a_named_swale_is_traced_to_though_another_is_met(terrain: Terrain) -> None:
    result = laid(terrain, [EAST, WEST, BELOW], [roof(0.0, 0.0)], ["S002"])
    (drain,) = result.drains
    assert drain.swale == 1
    assert drain.coordinates[-1, 0] < drain.coordinates[0, 0]
    assert result.surfaces[0].swale == 1


def test_the_swale_that_is_met_may_be_named(terrain: Terrain) -> None:
    result = laid(terrain, [EAST, WEST, BELOW], [roof(0.0, 0.0)], ["S003"])
    assert result.drains == ()
    assert result.surfaces[0].swale == 2


def test_a_name_that_is_no_swales_is_told_with_those_that_are(terrain: Terrain) -> None:
    result = laid(terrain, [EAST, WEST, BELOW], [roof(0.0, 0.0)], ["S07"])
    assert codes(result) == ["hard_surface_swale_unknown", "hard_surface_drains"]
    (finding, _) = result.findings
    assert (finding.severity, finding.layer, finding.feature_id) == (
        "caution",
        "hard_surfaces",
        "shed",
    )
    assert "S07" in finding.message
    assert "S001 to S003" in finding.message
    assert result.surfaces[0].swale == 2


def test_a_roof_that_no_drain_can_help_is_told_with_what_stopped_it(terrain: Terrain) -> None:
    result = laid(terrain, [lip(392.0, 100.0, 150.0)], [roof(-100.0, 0.0)])
    assert codes(result) == ["hard_surface_undrained"]
    (finding,) = result.findings
    assert (finding.severity, finding.feature_id) == ("caution", "shed")
    assert "at 1 in 300" in finding.message
    assert "to the east it leaves the property" in finding.message
    assert "to the west it leaves the property" in finding.message
    assert "runs off unused" in finding.message
    assert [(s.swale, s.diversion) for s in result.surfaces] == [(NONE, NONE)]
    assert result.drains == ()


def test_the_gentlest_grade_that_would_do_is_told(terrain: Terrain) -> None:
    """The swale lies 2 m lower and begins 110 m further east: 1.76 m of fall to its trench.

    1 in 300 falls 0.6 m in the 180 m that it has, 1 in 100 falls 1.8 m.
    """
    result = laid(terrain, [lip(398.0, 60.0, 188.0)], [roof(-10.0, 0.0)])
    (finding,) = result.findings
    assert finding.code == "hard_surface_undrained"
    assert "at 1 in 100 would come to swale S001" in finding.advice


def test_a_drain_that_a_steeper_grade_would_halve_is_told(terrain: Terrain) -> None:
    """Its swale lies 0.6 m lower: 0.36 m to the trench, 108 m at 1 in 300 and 36 m at 1 in 100."""
    lines = [lip(399.4, 5.0, 188.0)]
    result = laid(terrain, lines, [roof(0.0, 0.0)])
    (drain,) = result.drains
    assert drain.length_m == pytest.approx(108.0, abs=1.5)
    (finding,) = result.findings
    assert (finding.code, finding.severity) == ("diversion_could_be_shorter", "note")
    assert re.search(r"10\d m long at 1 in 300", finding.message)
    assert re.search(r"at 1 in 100 it would be 3[5-8] m, to swale S001", finding.message)
    assert codes(laid(terrain, lines, [roof(0.0, 0.0)], grade=1.0 / 100.0)) == []


def test_a_roof_off_the_property_is_not_drained(terrain: Terrain) -> None:
    result = laid(terrain, [EAST, WEST], [roof(-20.0, 192.0)], ["S001"])
    assert codes(result) == ["hard_surface_undrained"]
    assert result.findings[0].message.count("leaves the property at once") == 2
    assert result.drains == ()


@pytest.mark.parametrize(
    ("shape", "code"),
    [
        (None, "feature_without_geometry"),
        (shapely.Polygon(), "feature_without_geometry"),
    ],
    ids=["none", "empty"],
)
def test_what_is_no_polygon_on_the_dem_is_left_out_and_told(
    terrain: Terrain, shape: BaseGeometry | None, code: str
) -> None:
    result = laid(terrain, [EAST, WEST], [shape])
    assert codes(result) == [code]
    assert result.findings[0].layer == "hard_surfaces"
    assert "shed" in result.findings[0].message
    assert result.surfaces == ()


def test_a_part_off_the_dem_is_told_and_a_roof_wholly_off_it_was_told_when_read(
    terrain: Terrain,
) -> None:
    off = roof(900.0, 900.0)
    result = laid(terrain, [EAST, WEST], [off])
    assert (result.surfaces, result.findings) == ((), ())
    both = laid(terrain, [EAST, WEST], [shapely.MultiPolygon([roof(0.0, 0.0), off])])
    assert "feature_off_dem" in codes(both)
    assert len(both.surfaces) == 1


def test_a_roof_drains_by_the_line_that_begins_at_it(terrain: Terrain) -> None:
    drawn = line((0.0, 0.0), (-80.0, -8.0))
    result = laid(terrain, [EAST, WEST, BELOW], [roof(0.0, 0.0)], drawn=[drawn])
    (drain,) = result.drains
    assert (drain.name, drain.source, drain.swale) == ("feature 1", "given", 1)
    assert [(s.swale, s.diversion) for s in result.surfaces] == [(1, 0)]
    assert codes(result) == []


def test_a_line_at_the_roof_outdoes_the_swale_that_is_named(terrain: Terrain) -> None:
    drawn = line((0.0, 0.0), (-80.0, -8.0))
    result = laid(terrain, [EAST, WEST, BELOW], [roof(0.0, 0.0)], ["S003"], [drawn])
    assert result.surfaces[0].swale == 1
    assert codes(result) == ["hard_surface_undrained"]
    assert "names swale S003" in result.findings[0].message
    assert "leads to S002" in result.findings[0].message


def test_a_roof_above_another_ones_drain_needs_none_of_its_own(terrain: Terrain) -> None:
    """Whichever comes first in the file: the lower one is drained first."""
    low, high = roof(0.0, 0.0), roof(25.0, 60.0)
    for roofs in ([low, high], [high, low]):
        result = laid(terrain, [EAST, WEST], roofs)
        assert len(result.drains) == 1
        assert [(s.swale, s.diversion) for s in result.surfaces] == [(0, 0), (0, 0)]
        # The order of the file stands.
        assert [s.shape for s in result.surfaces] == roofs


def test_a_second_drain_joins_the_first(terrain: Terrain) -> None:
    """The barn stands 60 m west and 0.205 m higher: its drain falls 0.2 m on the way to the shed's.

    Drains of one grade run side by side on a plane, so it comes to the shed's at its upper end.
    """
    far = lip(399.5, 100.0, 150.0)
    shed, barn = roof(0.0, 0.0), roof(-60.0, 0.205 / 0.08)
    result = laid(terrain, [far], [shed, barn], grade=1.0 / 300.0)
    first, second = result.drains
    assert (first.name, second.name) == ("shed", "barn")
    assert (first.into, second.into) == (NONE, 0)
    assert second.swale == 0
    assert second.length_m < first.length_m
    assert result.diverted.catchment_m2[0] == result.diverted.own_m2.sum()


def test_no_drain_is_dug_through_another_roof(terrain: Terrain) -> None:
    """A yard in the way to the east; in the west the swale is further off, and free to reach."""
    in_the_way = shapely.box(*at(20.0, -30.0), *at(26.0, 30.0))
    result = laid(terrain, [EAST, WEST], [roof(0.0, 0.0), in_the_way])
    shed = next(drain for drain in result.drains if drain.name == "shed")
    assert shed.swale == 1
    assert not shapely.LineString(shed.coordinates[:, :2]).intersects(in_the_way)


def test_areas_stay_disjoint_and_whole(terrain: Terrain) -> None:
    roofs = [roof(0.0, 0.0), roof(-60.0, 1.2), roof(100.0, 60.0), roof(-150.0, -120.0)]
    result = laid(terrain, [EAST, WEST], roofs, drawn=[line((170.0, 60.0), (120.0, 0.0))])
    own = result.diverted.catchments
    assert own.area_m2.sum() + own.bypass_m2 == terrain.valid.sum() * terrain.grid.cell_area_m2
    counts = np.bincount(own.label[own.label > 0], minlength=3)[1:]
    assert own.area_m2 == pytest.approx(counts * terrain.grid.cell_area_m2)
